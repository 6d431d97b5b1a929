"""The events of assessed nights as a plan sees them: what is heard of each, moment by moment, and whence."""

import re
from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, on_model_bands
from sleepnoise.planning.first_plan import HeardEvent, heard_events
from sleepnoise.planning.problem import A_WEIGHTS, PlannedEvents

INSIDE, UNKNOWN = "inside", "unknown"
"""Origins beside the sides of a room: within it or through the structure; and not known."""

MOMENTS_U_DB = 0.3
"""Standard uncertainty of LAFmax behind a loss, from the moments of an event. Chosen: 0.2 dB were measured
with synthesised doors, trams, steps and crates, really filtered, 0.6 dB at worst; four kinds are no proof."""

NO_MOMENTS_U_DB = 1.2
"""The same without them, from old assessments. Chosen: 0.9 dB were measured likewise, 2.5 dB at worst."""

_BANDS = len(MODEL_BANDS_HZ)


class NightEvent(HeardEvent, Protocol):
    """One event of an assessed night."""

    @property
    def number(self) -> int:
        """From 1."""

    @property
    def label(self) -> str:
        """What it is; empty when nobody said."""

    @property
    def lafmax(self) -> float:
        """With its background, dB."""

    @property
    def lae(self) -> float:
        """With its background, dB."""

    @property
    def duration_s(self) -> float:
        """How long it lasts, s."""

    @property
    def spectrum_at_max(self) -> Spectrum:
        """Heard at the moment of its maximum; without bands where that is not known."""

    @property
    def equivalent_spectrum(self) -> Spectrum:
        """Equivalent levels over the event; likewise."""

    @property
    def loudest_moments(self) -> Sequence[Spectrum]:
        """Heard at every moment that may be the loudest behind a loss; none where that is not known."""


class HeardNight(Protocol):
    """An assessed night."""

    @property
    def name(self) -> str:
        """Of its folder."""

    @property
    def recorded_s(self) -> float:
        """Length of what was judged, s."""

    @property
    def background_spectrum(self) -> Spectrum:
        """Equivalent levels outside of all events."""

    @property
    def events(self) -> Sequence[NightEvent]:
        """Events in order of time."""


def planned_events(
    nights: Sequence[HeardNight], origins: Sequence[str], given: Mapping[str, str]
) -> PlannedEvents:
    """Return the events of all nights.

    Parameters
    ----------
    nights : sequence of HeardNight
    origins : sequence of str
        Where a sound may come from, ``UNKNOWN`` last.
    given : mapping
        Origins by event or label, as in ``RoomWishes``.

    Raises
    ------
    SettingsError
        If there is no such origin, event or label.
    """
    all_events = [(place, event) for place, night in enumerate(nights) for event in night.events]
    signal_db, background_db = heard_events([event for _, event in all_events])
    known = ~(np.isnan(signal_db) | np.isnan(background_db))
    beside = energy(np.where(known, background_db, -np.inf)) @ A_WEIGHTS
    maxima = energy([event.lafmax for _, event in all_events]) - beside
    exposures = energy([event.lae for _, event in all_events]) - beside * [
        event.duration_s for _, event in all_events
    ]
    return PlannedEvents(
        names=tuple(_name(nights, place, event) for place, event in all_events),
        sources=tuple(event.label for _, event in all_events),
        nights=np.array([place for place, _ in all_events], dtype=np.int64),
        origin=_origins(all_events, origins, given),
        signal_db=np.where(known, signal_db, -np.inf),
        background_db=np.where(known, background_db, -np.inf),
        max_dba=level(np.maximum(maxima, 0.0)),
        exposure_dba=level(np.maximum(exposures, 0.0)),
        **_in_time([event for _, event in all_events], np.where(known, signal_db, -np.inf)),
    )


def _in_time(events: Sequence[NightEvent], signal_db: FloatArray) -> dict[str, FloatArray]:
    """Return what events are like moment by moment and in all; see ``PlannedEvents``."""
    found = [_moments(event, alone_db) for event, alone_db in zip(events, signal_db, strict=True)]
    moments = np.zeros((len(events), max(map(len, found), default=1), _BANDS))
    for row, own in zip(moments, found, strict=True):
        row[: len(own)] = own
    exposed = [
        _spread(_alone(event.equivalent_spectrum, event), A_WEIGHTS * energy(alone_db))
        for event, alone_db in zip(events, signal_db, strict=True)
    ]
    return {
        "moments": moments,
        "exposed": np.array(exposed).reshape(len(events), _BANDS),
        "max_u_db": np.array(
            [MOMENTS_U_DB if event.loudest_moments else NO_MOMENTS_U_DB for event in events]
        ),
    }


def _moments(event: NightEvent, alone_db: FloatArray) -> FloatArray:
    """Return the moments of one event, shape (moments, bands), the strongest adding up to 1."""
    of_maxima = _spread(A_WEIGHTS * energy(alone_db), np.zeros(_BANDS))
    moments = np.array([_alone(moment, event) for moment in event.loudest_moments]).reshape(-1, _BANDS)
    strongest = moments.sum(axis=1).max(initial=0.0)
    if strongest > 0.0:
        return np.asarray(moments / strongest)
    # The moment of the maximum bounds it from below; band maxima do where that one is not the loudest.
    return np.array([_spread(_alone(event.spectrum_at_max, event), of_maxima), of_maxima])


def _alone(heard: Spectrum, event: NightEvent) -> FloatArray:
    """Return A-weighted energies of what is heard less the event's background, shape (bands,)."""
    both = [np.nan_to_num(energy(on_model_bands(each))) for each in (heard, event.background_spectrum)]
    return np.asarray(A_WEIGHTS * np.maximum(both[0] - both[1], 0.0))


def _spread(energies: FloatArray, otherwise: FloatArray) -> FloatArray:
    """Return energies as parts of their sum; those of *otherwise* where there are none."""
    used = energies if energies.sum() > 0.0 else otherwise
    total = used.sum()
    # What has no known band is put where walls and doors take off least, not left out.
    return np.asarray(used / total) if total > 0.0 else np.eye(_BANDS)[0]


def _name(nights: Sequence[HeardNight], place: int, event: NightEvent) -> str:
    night = f"{place + 1}:" if len(nights) > 1 else ""
    return f"{night}{event.number}" + (f" {event.label}" if event.label else "")


def _origins(
    all_events: Sequence[tuple[int, NightEvent]], origins: Sequence[str], given: Mapping[str, str]
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    found = np.full(len(all_events), origins.index(UNKNOWN), dtype=np.int64)
    for name, origin in given.items():
        if origin not in origins[:-1]:
            raise SettingsError(
                f"where event {name} comes from: must be {', '.join(origins[:-1])}, got {origin!r:.40}.",
                remedy="Name a side of the room, or 'inside' for sounds in it or through the structure.",
            )
        match = re.fullmatch(r"(?:(\d+):)?(\d+)", name)
        rows = [
            row
            for row, (place, event) in enumerate(all_events)
            if (event.label == name if match is None else _is(match, place, event))
        ]
        if not rows:
            raise SettingsError(
                f"where event {name} comes from: no such event or label.",
                remedy="Take the number from events.csv; for several nights NIGHT:NUMBER, such as 2:14.",
            )
        found[rows] = origins.index(origin)
    return found


def _is(match: re.Match[str], place: int, event: NightEvent) -> bool:
    night = 1 if match[1] is None else int(match[1])
    return (place + 1, event.number) == (night, int(match[2]))
