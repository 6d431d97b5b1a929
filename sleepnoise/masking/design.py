"""The quietest steady spectrum that covers events, what it saves, and which events it cannot cover.

Each event needs its own masker energy in each band (``needed_masker_db``). What a loudspeaker
plays must not step too far from band to band. In energies all of this is linear, so the quietest
masker is the solution of a linear programme. It can be written down: of two spectra that satisfy
every row, the one that takes the lower level in each band satisfies them too, so there is one
that is lowest in *every* band. It is therefore the quietest by every measure that rises with the
bands, dB(A) and loudness alike.

Arrays have bands last, on ``MODEL_BANDS_HZ``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.hearing.audibility import (
    EAR_NOISE_DB,
    LIMIT_DB,
    MODEL_BANDS_HZ,
    margin_db,
)
from sleepnoise.masking.design_settings import DesignSettings
from sleepnoise.masking.masker import (
    MaskerShape,
    needed_level_dba,
    needed_masker_db,
    smooth_cover_db,
)
from sleepnoise.masking.together import HALVINGS, margin_with, quietest_level, quietest_together

LARGEST_STRICTNESS_DB = 20.0
"""How much stricter than the margin single bands are taken at most. Chosen: 5 lg of all bands is 7.3 dB; the
rest makes up for bands that are not played."""

ROUNDING_DB = 1e-9
"""Levels this close are the same. Chosen: far below anything that can be heard, far above rounding."""

Reason = Literal["covered", "never heard", "not known", "loudspeaker", "band limit", "cap", "together"]
"""What became of an event.

``loudspeaker``: it needs a band that the loudspeaker does not play. ``band limit``: it needs more
than one band may have. ``cap``: covering it alone is too loud. ``together``: it alone could be
covered, but not with the others.
"""

_A_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventOutcome:
    """What the masker does to one event.

    Attributes
    ----------
    reason : Reason
    margin_before_db, margin_after_db : float, dB
        Audibility margin without and with the masker; ``nan`` if no band is known.
    band_hz : float
        Nominal band in which it is heard best with the masker on, ``nan`` if not known.
    unplayed_hz : float
        Nominal band that it would need and the loudspeaker does not play, the most audible one;
        ``nan`` unless that is the reason.
    lacking_db : float, dB
        How far it stays above the margin that was asked for in that band: what isolation would
        have to bring there. 0 if covered.
    alone_dba : float, dB(A)
        Level of the quietest masker that covers it alone, with all bands together an upper bound;
        ``-inf`` if it needs none, ``inf`` if there is none.
    """

    reason: Reason
    margin_before_db: float
    margin_after_db: float
    band_hz: float
    unplayed_hz: float
    lacking_db: float
    alone_dba: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeLevel:
    """A standard shape that covers the same events.

    Attributes
    ----------
    name : str
    level_dba : float, dB(A)
        ``inf`` where it is silent in a band that is needed.
    saved_db : float, dB
        How much quieter the designed masker is; ``nan`` when no masker is needed.
    """

    name: str
    level_dba: float
    saved_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerDesign:
    """The designed masker.

    Attributes
    ----------
    settings : DesignSettings
    spectrum : Spectrum
        At the pillow, on ``MODEL_BANDS_HZ``; all ``-inf`` if none is needed or none can help.
    level_dba : float, dB(A)
    outcomes : tuple of EventOutcome
        One for each event, in their order.
    standard_shapes : tuple of ShapeLevel
    """

    settings: DesignSettings
    spectrum: Spectrum
    level_dba: float
    outcomes: tuple[EventOutcome, ...]
    standard_shapes: tuple[ShapeLevel, ...]


def design_masker(
    signal_db: ArrayLike,
    background_db: ArrayLike,
    settings: DesignSettings,
    shapes: Sequence[MaskerShape] = (),
) -> MaskerDesign:
    """Design the quietest masker that covers as many events as the cap allows.

    Parameters
    ----------
    signal_db, background_db : array_like, shape (events, bands), dB re 20 µPa
        Each event alone, and what is heard with it. Bands that are ``nan`` take no part.
    settings : DesignSettings
    shapes : sequence of MaskerShape, optional
        Standard shapes to compare with.

    Returns
    -------
    MaskerDesign

    Notes
    -----
    With all bands together, single events are weighed by covers that keep single bands as far below the
    margin as it takes, which are somewhat louder than needed; the masker of those that stay is not.

    Events that cannot be covered alone are given up first. As long as the rest is too loud, the
    event whose absence helps most is given up as well; in the end, whichever of these fits in
    after all is taken back.
    """
    signal = np.asarray(signal_db, dtype=np.float64)
    background = np.asarray(background_db, dtype=np.float64)
    needed_db = _needed(signal, background, settings, _strictness(signal, background, settings))
    covers_db, obstacles = _covers(needed_db, settings)
    alone_dba = np.where(obstacles == "", _weighted(covers_db), np.inf)
    chosen = _chosen(covers_db, np.flatnonzero(alone_dba <= settings.cap_dba + ROUNDING_DB), settings.cap_dba)
    masker_db = _together(covers_db[chosen])
    if settings.together and np.isfinite(masker_db).any():
        masker_db = quietest_together(
            signal[chosen],
            background[chosen],
            settings.margin_db,
            masker_db,
            step_db=settings.neighbour_step_db,
            limits_db=settings.limits_db,
        )
    level_dba = float(_weighted(masker_db))
    return MaskerDesign(
        settings=settings,
        spectrum=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=masker_db),
        level_dba=level_dba,
        outcomes=_outcomes(signal, background, masker_db, alone_dba, obstacles, settings),
        standard_shapes=tuple(
            _shape_level(shape, signal[chosen], background[chosen], level_dba, settings) for shape in shapes
        ),
    )


def _needed(
    signal_db: FloatArray, background_db: FloatArray, settings: DesignSettings, strictness_db: FloatArray
) -> FloatArray:
    """Return the masker that each event needs band by band, ``-inf`` where none is, or nothing is known."""
    needed_db = needed_masker_db(signal_db, background_db, settings.margin_db - strictness_db[:, None])
    if settings.together:
        # Whether the bands that are not played forbid an event is told by all bands together.
        beyond = margin_with(signal_db, background_db, np.where(settings.played, np.inf, -np.inf))
        reachable = ~(beyond > settings.margin_db)
        needed_db[reachable] = np.where(settings.played, needed_db[reachable], -np.inf)
    return np.where(np.isnan(needed_db), -np.inf, needed_db)


def _strictness(signal_db: FloatArray, background_db: FloatArray, settings: DesignSettings) -> FloatArray:
    """Return how much below the margin single bands must stay for all together, shape (events,), dB."""
    low_db = np.zeros(len(signal_db))
    if not settings.together:
        return low_db
    high_db = np.full(low_db.size, LARGEST_STRICTNESS_DB)
    for _ in range(HALVINGS):
        middle_db = (low_db + high_db) / 2
        covers_db, _ = _covers(_needed(signal_db, background_db, settings, middle_db), settings)
        enough = ~(margin_with(signal_db, background_db, covers_db) > settings.margin_db)
        low_db, high_db = np.where(enough, low_db, middle_db), np.where(enough, middle_db, high_db)
    return high_db


def _covers(needed_db: FloatArray, settings: DesignSettings) -> tuple[FloatArray, NDArray[np.str_]]:
    """Return the least even spectrum over each event's needs, and what stands against it."""
    played = settings.played
    covers_db = np.full(needed_db.shape, -np.inf)
    covers_db[:, played] = smooth_cover_db(needed_db[:, played], settings.neighbour_step_db)
    unplayed = (needed_db[:, ~played] > -np.inf).any(axis=-1)
    over_limit = (covers_db > settings.limits_db + ROUNDING_DB).any(axis=-1)
    return covers_db, np.where(unplayed, "loudspeaker", np.where(over_limit, "band limit", ""))


def _together(covers_db: FloatArray) -> FloatArray:
    """Return the least even spectrum that covers all of them: in each band the highest of theirs."""
    return np.asarray(covers_db.max(axis=0, initial=-np.inf))


def _weighted(levels_db: FloatArray) -> FloatArray:
    return combine(levels_db + _A_WEIGHTING_DB, axis=-1)


def _chosen(covers_db: FloatArray, possible: NDArray[np.intp], cap_dba: float) -> list[int]:
    """Return which of the possible events are covered together, given up and taken back as told above."""
    kept = [int(event) for event in possible]
    given_up: list[int] = []
    while _weighted(_together(covers_db[kept])) > cap_dba + ROUNDING_DB:
        place = int(np.argmin(_weighted(_without_each(covers_db[kept]))))
        given_up.append(kept.pop(place))
    for event in reversed(given_up):
        if _weighted(_together(covers_db[[*kept, event]])) <= cap_dba + ROUNDING_DB:
            kept.append(event)
    return sorted(kept)


def _without_each(covers_db: FloatArray) -> FloatArray:
    """Return what covers all but one of the events, for each of them, shape (events, bands)."""
    padded = np.pad(covers_db, ((1, 1), (0, 0)), constant_values=-np.inf)
    before = np.maximum.accumulate(padded)[:-2]
    after = np.maximum.accumulate(padded[::-1])[::-1][2:]
    return np.maximum(before, after)


def _outcomes(
    signal_db: FloatArray,
    background_db: FloatArray,
    masker_db: FloatArray,
    alone_dba: FloatArray,
    obstacles: NDArray[np.str_],
    settings: DesignSettings,
) -> tuple[EventOutcome, ...]:
    by_band_db = _over_limit_db(signal_db, level(energy(background_db) + energy(masker_db)))
    by_band_db = np.where(np.isnan(by_band_db), -np.inf, by_band_db)
    best = by_band_db.argmax(axis=-1)
    unplayed = np.where(settings.played, -np.inf, by_band_db).argmax(axis=-1)
    silence_db = np.full(len(MODEL_BANDS_HZ), -np.inf)
    before_db, after_db = (
        _margins(signal_db, background_db, each, settings) for each in (silence_db, masker_db)
    )
    outcomes = []
    for event, place in enumerate(best):
        over_db = float(after_db[event]) - settings.margin_db
        outcomes.append(
            EventOutcome(
                reason=_reason(over_db, alone_dba[event], obstacles[event], settings.cap_dba),
                margin_before_db=float(before_db[event]),
                margin_after_db=float(after_db[event]),
                band_hz=math.nan if math.isnan(over_db) else MODEL_BANDS_HZ[place],
                unplayed_hz=MODEL_BANDS_HZ[unplayed[event]]
                if obstacles[event] == "loudspeaker"
                else math.nan,
                lacking_db=over_db if over_db > 10 * ROUNDING_DB else 0.0,
                alone_dba=float(alone_dba[event]),
            )
        )
    return tuple(outcomes)


def _margins(
    signal_db: FloatArray, background_db: FloatArray, masker_db: FloatArray, settings: DesignSettings
) -> FloatArray:
    """Return the margin of each event with a masker, by the rule that counts."""
    if settings.together:
        return margin_with(signal_db, background_db, masker_db)
    return margin_db(signal_db, level(energy(background_db) + energy(masker_db)))


def _over_limit_db(signal_db: FloatArray, noise_db: FloatArray) -> FloatArray:
    """Return how far each band lies above the limit of hearing it, dB; its maximum is the margin."""
    return np.asarray(signal_db - LIMIT_DB - level(energy(noise_db) + energy(EAR_NOISE_DB)))


def _reason(over_db: float, alone_dba: float, obstacle: str, cap_dba: float) -> Reason:
    if math.isnan(over_db):
        return "not known"
    if alone_dba == -np.inf:
        return "never heard"
    if over_db <= 10 * ROUNDING_DB:
        return "covered"
    for reason in ("loudspeaker", "band limit"):
        if obstacle == reason:
            return reason
    return "cap" if alone_dba > cap_dba + ROUNDING_DB else "together"


def _shape_level(
    shape: MaskerShape,
    signal_db: FloatArray,
    background_db: FloatArray,
    level_dba: float,
    settings: DesignSettings,
) -> ShapeLevel:
    """Return the level at which a shape, as far as the loudspeaker plays it, covers the same events."""
    heard_db = np.where(settings.played, shape.spectrum.levels_db, -np.inf)
    heard = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=heard_db - _weighted(heard_db))
    if settings.together:
        shape_dba = quietest_level(signal_db, background_db, settings.margin_db, heard.levels_db)
    else:
        needed_db = needed_masker_db(signal_db, background_db, settings.margin_db)
        needed_dba = needed_level_dba(needed_db, MaskerShape(name=shape.name, spectrum=heard))
        shape_dba = float(needed_dba.max(initial=-np.inf))
    saved_db = shape_dba - level_dba if level_dba > -np.inf else math.nan
    return ShapeLevel(name=shape.name, level_dba=shape_dba, saved_db=saved_db)
