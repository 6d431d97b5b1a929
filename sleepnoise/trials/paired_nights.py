"""Two microphones, one night: from the recordings to the isolation that the night's own noise shows."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np

from sleepnoise.assessing.assess import Progress
from sleepnoise.assessing.calibrating import NightCalibration, calibration_files, night_calibration
from sleepnoise.assessing.listening import HeardNight, listen
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError, SettingsError, StartTimeError
from sleepnoise.evidence.plain import CONVENTIONS, plain_value
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.night.events import find_events
from sleepnoise.pairing.alignment import SAME_CLOCK, Alignment, SoundLag, align_histories, line_through
from sleepnoise.pairing.in_situ import OTHER_SIDE_S, BandDifference, band_differences, judged_events
from sleepnoise.pairing.paired import PairedEvent, common_bands, look_for, paired_events
from sleepnoise.pairing.sound_lag import sound_lags
from sleepnoise.recording.sequence import NightSound, open_night

Scale = Literal["calibrated", "same gain", "shape only"]
"""What makes the levels of both recordings comparable."""

SCHEMA_NAME = "sleepnoise/two-microphones"
SCHEMA_VERSION = 1
"""Version of the document's layout. Chosen: rises whenever a reader would have to change."""

CLOCKS_WITHIN_S = 600.0
"""How far apart two recorders' clocks may be set, s. Chosen: more than a year's loss of a cheap clock."""

SHARES = (0.4, 0.4, 0.2)
"""Parts of the time that hearing each and comparing their sound take. Chosen: measured, roughly."""

_ANY_START, _ANY_ZONE = "2000-01-01T00:00", "UTC"

CAUTIONS = (
    "A difference of levels between two places on real noise, one place each: it is no standard test of a "
    "wall or door, for which ISO 16283 asks for a loudspeaker and several positions.",
    "An outdoor microphone close to a wall reads 3 dB more than in the open, on its surface up to 6 dB "
    "(common practice, no source): say where it was.",
    "A microphone in a hall or outdoors records other people's voices: ask them first, and keep no more than "
    "you need.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairSettings:
    """What a user may decide.

    Attributes
    ----------
    outer, pillow : AssessSettings
        Channel and calibration of each side, and the zone if time stamps are to be believed.
    same_gain : bool
        Both microphones are alike and were recorded with the same gain in one file.
    """

    outer: AssessSettings = field(default_factory=AssessSettings)
    pillow: AssessSettings = field(default_factory=AssessSettings)
    same_gain: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairedNights:
    """What two microphones say together.

    Attributes
    ----------
    one_file : bool
        Both are channels of one recording.
    scale : Scale
    expanded_uncertainty_db : float, dB
        U (k = 2) that both calibrations contribute to every difference; ``nan`` if not known.
    alignment : Alignment or None
        None if the recordings share no sound that was found: nothing can be told then.
    nominal_hz : tuple of float
        Third octaves of both recordings, as in the rows of events.
    events : tuple of PairedEvent
        All of the outer side.
    bands : tuple of BandDifference
        Empty if nothing can be told.
    remarks : tuple of str
        What people should know.
    provenance : Provenance
    """

    one_file: bool
    scale: Scale
    expanded_uncertainty_db: float
    alignment: Alignment | None
    nominal_hz: tuple[float, ...]
    events: tuple[PairedEvent, ...]
    bands: tuple[BandDifference, ...]
    remarks: tuple[str, ...]
    provenance: Provenance

    @property
    def used(self) -> int:
        """Events that count."""
        return sum(event.outcome == "used" for event in self.events)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Side:
    """One recording, opened; ``heard`` once it was listened to."""

    sound: NightSound
    settings: AssessSettings
    calibrated: NightCalibration
    inputs: tuple[FileMark, ...]

    def listened(self, on_progress: Callable[[float], None]) -> HeardNight:
        return listen(self.sound, self.calibrated, self.settings, self.inputs, on_progress)


def compare_microphones(
    outer: Path,
    pillow: Path | None = None,
    settings: PairSettings | None = None,
    on_progress: Progress | None = None,
) -> PairedNights:
    """Compare what a microphone outside or in the hall heard with what arrived at the pillow.

    Parameters
    ----------
    outer : Path
        A sound file, or a folder with the parts of one night.
    pillow : Path, optional
        Likewise; left out if *outer* has both in two channels.
    settings : PairSettings, optional
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    PairedNights

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause, two recordings of different times among it.
    """
    settings = settings or PairSettings()
    _check_channels(pillow, settings)
    sides = (_opened(outer, settings.outer, "outer"), _opened(pillow or outer, settings.pillow, "pillow"))
    one_file = pillow is None
    lags_s = (0.0, 0.0) if one_file else _possible_lags_s(*sides)
    report = on_progress or (lambda _: None)
    heard = (
        sides[0].listened(lambda share: report(SHARES[0] * share)),
        sides[1].listened(lambda share: report(SHARES[0] + SHARES[1] * share)),
    )
    _check_different(sides, heard)
    scale = _scale(sides, settings)
    alignment, events = _paired(sides, heard, lags_s, scale, one_file=one_file)
    report(1.0)
    nominal_hz = common_bands(heard[0].history, heard[1].history)
    known = scale != "shape only"
    return PairedNights(
        one_file=one_file,
        scale=scale,
        expanded_uncertainty_db=math.hypot(
            *(side.calibrated.calibration.expanded_uncertainty_db for side in sides)
        ),
        alignment=alignment,
        nominal_hz=nominal_hz,
        events=events,
        bands=band_differences(events, nominal_hz, same_scale=known) if alignment else (),
        remarks=_remarks(sides, heard, events, alignment if one_file else None),
        provenance=Provenance(
            inputs=tuple(dict.fromkeys(mark for side in sides for mark in side.inputs)),
            versions=library_versions(),
        ),
    )


def _check_channels(pillow: Path | None, settings: PairSettings) -> None:
    if pillow is None and settings.outer.channel == settings.pillow.channel:
        raise SettingsError(
            f"two microphones: one recording must hold them in two channels, got channel "
            f"{settings.outer.channel} for both.",
            remedy="Give the channel of each, or two recordings.",
        )
    if pillow is not None and settings.same_gain:
        raise SettingsError(
            "two microphones: the same gain (--same-gain) can be told of two channels of one recording only, "
            "got two recordings.",
            remedy="Calibrate both recorders, or leave the option out: the shape is still valid.",
        )


def _opened(where: Path, settings: AssessSettings, role: str) -> _Side:
    sound = _sound(where, settings)
    calibrated = night_calibration(settings, sound.start.utc.astimezone(ZoneInfo(sound.start.zone)).date())
    files = [
        *((part.audio.path, f"recording, {role} microphone") for part in sound.parts),
        *((path, f"{what}, {role} microphone") for path, what in calibration_files(settings)),
    ]
    inputs = tuple(file_mark(path, what) for path, what in files)
    return _Side(sound=sound, settings=settings, calibrated=calibrated, inputs=inputs)


def _sound(where: Path, settings: AssessSettings) -> NightSound:
    if settings.zone is None and settings.calibration_file is not None:
        raise SettingsError(
            f"{settings.calibration_file}: whether it was valid that night can be told only if the zone of "
            "the recorders' clocks (--zone) is given.",
            remedy="Give --zone, or another calibration.",
        )
    if settings.zone is None:
        # Sound alone aligns the recordings: any start will do.
        return open_night(where, given=_ANY_START, zone=_ANY_ZONE)
    try:
        return open_night(where, zone=settings.zone)
    except StartTimeError as error:
        remedy = "Leave --zone out: the sound alone then aligns the recordings."
        raise StartTimeError(error.complaint, remedy=remedy) from error


def _possible_lags_s(outer: _Side, pillow: _Side) -> tuple[float, float]:
    """Return the lags that the time stamps allow, s; refuse recordings of different times."""
    if outer.settings.zone is None or pillow.settings.zone is None:
        return -math.inf, math.inf
    stamped_s = (outer.sound.start.utc - pillow.sound.start.utc).total_seconds()
    apart_s = max(stamped_s - pillow.sound.seconds, -stamped_s - outer.sound.seconds)
    if apart_s > CLOCKS_WITHIN_S:
        raise RecordingError(
            f"{pillow.sound.parts[0].audio.path}: both microphones must have recorded at the same time; by "
            f"their time stamps {apart_s / 3600:.1f} h lie between the recordings.",
            remedy="Give two recordings of the same night.",
        )
    return stamped_s - CLOCKS_WITHIN_S, stamped_s + CLOCKS_WITHIN_S


def _check_different(sides: Sequence[_Side], heard: Sequence[HeardNight]) -> None:
    if np.array_equal(heard[0].history.laeq, heard[1].history.laeq):
        raise RecordingError(
            f"{sides[1].sound.parts[0].audio.path}: both microphones recorded the very same samples.",
            remedy="Give the two recordings, or the two channels, that really differ.",
        )


def _scale(sides: Sequence[_Side], settings: PairSettings) -> Scale:
    if all(side.calibrated.calibration.absolute for side in sides):
        return "calibrated"
    return "same gain" if settings.same_gain else "shape only"


def _paired(
    sides: tuple[_Side, _Side],
    heard: tuple[HeardNight, HeardNight],
    lags_s: tuple[float, float],
    scale: Scale,
    *,
    one_file: bool,
) -> tuple[Alignment | None, tuple[PairedEvent, ...]]:
    outer, pillow = (each.history for each in heard)
    spans = [(event.first_tick, event.last_tick) for event in find_events(outer)]
    coarse = SAME_CLOCK if one_file else align_histories(outer, pillow, lags_s)
    if coarse is None:
        return None, ()
    events = paired_events(outer, pillow, spans, coarse)
    lags = _sound_lags(sides, heard, events, coarse)
    alignment = line_through(lags, one_clock=one_file)
    if alignment is None:
        return None, events
    known = scale != "shape only"
    for _ in range(2):
        # Once more without the events that came from the other side, and bent the line a little.
        events = paired_events(outer, pillow, spans, alignment)
        events = judged_events(events, lags, alignment, same_scale=known)
        counting = [lag for lag, event in zip(lags, events, strict=True) if event.outcome == "used"]
        alignment = line_through(counting, one_clock=one_file) or alignment
    return alignment, events


def _sound_lags(
    sides: tuple[_Side, _Side],
    heard: tuple[HeardNight, HeardNight],
    events: tuple[PairedEvent, ...],
    coarse: Alignment,
) -> list[SoundLag]:
    bands = common_bands(heard[0].history, heard[1].history)
    looks = [look_for(heard[0].history, event, bands) for event in events]
    here, there = (
        side.sound.blocks(side.calibrated.calibration, channel=side.settings.channel) for side in sides
    )
    return list(sound_lags(here, there, looks, coarse))


def _remarks(
    sides: Sequence[_Side],
    heard: Sequence[HeardNight],
    events: Sequence[PairedEvent],
    one_clock: Alignment | None,
) -> tuple[str, ...]:
    said = [remark for each in heard for remark in each.remarks]
    said += [remark for side in sides for remark in side.calibrated.remarks]
    inside = sum(event.outcome == "made in the bedroom" for event in events)
    early = one_clock is not None and one_clock.lag_s < -OTHER_SIDE_S
    if early or inside > sum(event.outcome == "used" for event in events):
        said.append(
            "Most sounds were louder or earlier at the pillow: were the microphones given in the wrong order?"
        )
    return tuple(dict.fromkeys(said))


def paired_document(result: PairedNights) -> dict[str, Any]:
    """Return the result as plain values, ready for JSON."""
    parts = {
        "schema": {"name": SCHEMA_NAME, "version": SCHEMA_VERSION},
        "conventions": {"null": CONVENTIONS["null"], "rows of events": ROWS, "differences": DIFFERENCES},
        "verdict": "measured" if result.used else "cannot tell",
        "scale": result.scale,
        "one_file": result.one_file,
        "expanded_uncertainty_db": result.expanded_uncertainty_db,
        "alignment": result.alignment,
        "nominal_hz": result.nominal_hz,
        "bands": result.bands,
        "events": [_event(event) for event in result.events],
        "remarks": result.remarks,
        "cautions": CAUTIONS,
        "inputs": result.provenance.inputs,
        "versions": result.provenance.versions,
    }
    document = plain_value(parts)
    assert isinstance(document, dict)
    return document


ROWS = "the A-weighted level first, then third octaves as in nominal_hz"
DIFFERENCES = (
    "outer less pillow, dB; of 'shape only' the mean of all bands measured is 0 dB, "
    "and those of events hold an unknown constant"
)


def _event(event: PairedEvent) -> dict[str, Any]:
    return {
        "first_tick": event.first_tick,
        "last_tick": event.last_tick,
        "outcome": event.outcome,
        "difference_db": event.difference_db.tolist(),
        "at_least": event.at_least.tolist(),
        "sharpness": event.sharpness,
        "off_line_s": event.off_line_s,
    }
