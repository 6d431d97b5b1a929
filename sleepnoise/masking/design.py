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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import EAR_NOISE_DB, INAUDIBLE_DB, LIMIT_DB, MODEL_BANDS_HZ
from sleepnoise.masking.limits import DEFAULT_CAP_DBA, check_cap
from sleepnoise.masking.masker import (
    NEIGHBOUR_STEP_DB,
    MaskerShape,
    needed_level_dba,
    needed_masker_db,
    smooth_cover_db,
)

LOWEST_PLAYED_HZ = 100.0
"""Lowest band of the loudspeaker unless the user says otherwise. Chosen: small loudspeakers give next to
nothing below (12 cm² of cone moving 1.5 mm reach 68 dB at 1 m here and lose 12 dB an octave downwards)."""

LARGEST_STEP_DB = 5.0
"""Largest step between neighbours that may be asked for. Chosen: a third octave that stands out by more is
what practice calls a tone (common practice, no source)."""

MARGIN_RANGE_DB = (-15.0, 15.0)
"""Margins that may be aimed at. Chosen: as for plans, from five times the model's uncertainty below the
limit of hearing to just above "not noticeable"."""

ROUNDING_DB = 1e-9
"""Levels this close are the same. Chosen: far below anything that can be heard, far above rounding."""

Reason = Literal["covered", "never heard", "not known", "loudspeaker", "band limit", "cap", "together"]
"""What became of an event.

``loudspeaker``: it needs a band that the loudspeaker does not play. ``band limit``: it needs more
than one band may have. ``cap``: covering it alone is too loud. ``together``: it alone could be
covered, but not with the others.
"""

_A_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)
_BANDS = np.array(MODEL_BANDS_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignSettings:
    """What a masker is asked to do, and what it may not do.

    Attributes
    ----------
    margin_db : float, dB
        Audibility margin that events must not exceed; 0 is the limit of hearing them.
    cap_dba : float, dB(A)
        Loudest masker allowed.
    lowest_hz, highest_hz : float, Hz
        Nominal bands between which the loudspeaker plays.
    neighbour_step_db : float, dB
        Largest step from one band to the next.
    band_limits_db : mapping of float to float, dB
        Highest level of single bands, by nominal frequency.

    Raises
    ------
    SettingsError
        If one of them makes no sense.
    """

    margin_db: float = INAUDIBLE_DB
    cap_dba: float = DEFAULT_CAP_DBA
    lowest_hz: float = LOWEST_PLAYED_HZ
    highest_hz: float = MODEL_BANDS_HZ[-1]
    neighbour_step_db: float = NEIGHBOUR_STEP_DB
    band_limits_db: Mapping[float, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_cap(self.cap_dba)
        _check_range("margin", self.margin_db, MARGIN_RANGE_DB, "dB")
        _check_range("step between neighbouring bands", self.neighbour_step_db, (0.0, LARGEST_STEP_DB), "dB")
        for hz in (self.lowest_hz, self.highest_hz, *self.band_limits_db):
            if hz not in MODEL_BANDS_HZ:
                raise SettingsError(
                    f"masker: bands are nominal third octaves from 20 to 12500 Hz, got {hz:g}.",
                    remedy="Give a nominal frequency such as 63, 100 or 3150.",
                )
        if not self.lowest_hz < self.highest_hz:
            raise SettingsError(
                f"masker: its lowest band must lie below its highest, got {self.lowest_hz:g} and "
                f"{self.highest_hz:g} Hz.",
                remedy="Give the range that the loudspeaker plays.",
            )

    @property
    def played(self) -> NDArray[np.bool_]:
        """Bands that the loudspeaker plays, shape (bands,)."""
        return np.asarray((self.lowest_hz <= _BANDS) & (self.highest_hz >= _BANDS))

    @property
    def limits_db(self) -> FloatArray:
        """Highest level of each band, shape (bands,), dB; ``inf`` where there is none."""
        return np.array([self.band_limits_db.get(hz, np.inf) for hz in MODEL_BANDS_HZ])


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
    lacking_db : float, dB
        How far it stays above the margin that was asked for in that band: what isolation would
        have to bring there. 0 if covered.
    alone_dba : float, dB(A)
        Level of the quietest masker that covers it alone; ``-inf`` if it needs none, ``inf`` if
        there is none.
    """

    reason: Reason
    margin_before_db: float
    margin_after_db: float
    band_hz: float
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
    Events that cannot be covered alone are given up first. As long as the rest is too loud, the
    event whose absence helps most is given up as well; in the end, whichever of these fits in
    after all is taken back.
    """
    signal = np.asarray(signal_db, dtype=np.float64)
    background = np.asarray(background_db, dtype=np.float64)
    needed_db = needed_masker_db(signal, background, settings.margin_db)
    needed_db = np.where(np.isnan(needed_db), -np.inf, needed_db)
    covers_db, obstacles = _covers(needed_db, settings)
    alone_dba = np.where(obstacles == "", _weighted(covers_db), np.inf)
    chosen = _chosen(covers_db, np.flatnonzero(alone_dba <= settings.cap_dba + ROUNDING_DB), settings.cap_dba)
    masker_db = _together(covers_db[chosen])
    level_dba = float(_weighted(masker_db))
    return MaskerDesign(
        settings=settings,
        spectrum=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=masker_db),
        level_dba=level_dba,
        outcomes=_outcomes(signal, background, masker_db, alone_dba, obstacles, settings),
        standard_shapes=tuple(
            _shape_level(shape, needed_db[chosen], level_dba, settings.played) for shape in shapes
        ),
    )


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
    before_db = _over_limit_db(signal_db, background_db)
    after_db = _over_limit_db(signal_db, level(energy(background_db) + energy(masker_db)))
    known = np.asarray(~np.isnan(after_db).all(axis=-1))
    best = np.where(np.isnan(after_db), -np.inf, after_db).argmax(axis=-1)
    outcomes = []
    for event, place in enumerate(best):
        margin_db = float(after_db[event, place])
        over_db = margin_db - settings.margin_db
        outcomes.append(
            EventOutcome(
                reason=_reason(over_db, alone_dba[event], obstacles[event], settings.cap_dba),
                margin_before_db=float(np.nanmax(before_db[event])) if known[event] else math.nan,
                margin_after_db=margin_db,
                band_hz=MODEL_BANDS_HZ[place] if known[event] else math.nan,
                lacking_db=over_db if over_db > 10 * ROUNDING_DB else 0.0,
                alone_dba=float(alone_dba[event]),
            )
        )
    return tuple(outcomes)


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
    shape: MaskerShape, needed_db: FloatArray, level_dba: float, played: NDArray[np.bool_]
) -> ShapeLevel:
    """Return the level at which a shape, as far as the loudspeaker plays it, covers the same events."""
    heard_db = np.where(played, shape.spectrum.levels_db, -np.inf)
    heard = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=heard_db - _weighted(heard_db))
    needed_dba = needed_level_dba(needed_db, MaskerShape(name=shape.name, spectrum=heard))
    shape_dba = float(needed_dba.max(initial=-np.inf))
    saved_db = shape_dba - level_dba if level_dba > -np.inf else math.nan
    return ShapeLevel(name=shape.name, level_dba=shape_dba, saved_db=saved_db)


def _check_range(name: str, value: float, allowed: tuple[float, float], unit: str) -> None:
    lowest, highest = allowed
    if not lowest <= value <= highest:
        raise SettingsError(
            f"masker: the {name} must lie between {lowest:g} and {highest:g} {unit}, got {value:g}.",
            remedy=f"Give a value between {lowest:g} and {highest:g} {unit}.",
        )
