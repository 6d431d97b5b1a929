"""From assessed nights and a studied room to the problem that a plan solves.

What is measured in the room is shared out to the paths. The side that a sound comes from decides which
paths it takes: there it divides as their open areas do. Where nobody said the side, the sounds that
stand behind the room, by its file, are taken as a guess, and the guess itself is uncertain.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.uncertainty import combined
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, on_model_bands
from sleepnoise.isolation.bedroom import Part
from sleepnoise.isolation.paths import RoomLevels, rectangular_u_db
from sleepnoise.isolation.safety import ALARM_BAND_HZ, alarm_caution, conditions
from sleepnoise.isolation.treatments import Treatment, exclude_each_other, left_of_paths, treated_open_m2
from sleepnoise.masking.alarm import Pitch, alarm_shape
from sleepnoise.masking.masker import MaskerShape
from sleepnoise.planning.planned_events import INSIDE, UNKNOWN, HeardNight, planned_events
from sleepnoise.planning.problem import A_WEIGHTS, YOUNG_ADULT, Option, PathGroup, Problem, Wish
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.profiles.schema import CostClass

COST_GUESSES: dict[CostClass, float] = {
    "none": 0.0,
    "tens": 40.0,
    "low hundreds": 250.0,
    "high hundreds": 700.0,
    "thousands": 2500.0,
    "ten thousands": 20000.0,
}
"""Money for a treatment without a price. Chosen: about the middle of each order of magnitude."""

TINY_M2 = 1e-30
"""Open area that stands for none. Chosen: below that of any wall by far."""

_BANDS = len(MODEL_BANDS_HZ)
_ALARM_BAND = MODEL_BANDS_HZ.index(ALARM_BAND_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomWishes:
    """What the room's own side of a plan is to respect.

    Attributes
    ----------
    origins : mapping
        Side, or ``"inside"``, by event: ``"3"``, ``"2:3"`` for the second night, or a label.
    background_inside : float
        Part of the background's energy that is made in the room, 0 to 1.
    forbidden, required : tuple of str
        Keys of treatments, or ``KEY@PART``.
    alarm_pitch : {"high", "low"} or None
        Which kind of smoke alarm there is; ``None`` when nobody said: its loudest band is then taken for all.
    """

    origins: Mapping[str, str]
    background_inside: float = 0.0
    forbidden: tuple[str, ...] = ()
    required: tuple[str, ...] = ()
    alarm_pitch: Pitch | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MaskerChoices:
    """Maskers that may be proposed: shapes, one shaped to the events or not, and the lowest band played."""

    shapes: tuple[MaskerShape, ...]
    shaped: bool
    lowest_hz: float


def bedroom_problem(
    nights: Sequence[HeardNight],
    study: RoomStudy,
    room: RoomWishes,
    maskers: MaskerChoices,
    wish: Wish,
    listener: Listener = YOUNG_ADULT,
) -> Problem:
    """Return the problem of one bedroom.

    Raises
    ------
    SettingsError
        If an origin, a treatment or a share makes no sense for this room.
    """
    _check_settings(room, maskers)
    now = study.advice.now
    sides = sorted({path.part.behind for path in now.paths.paths})
    origins = (*sides, INSIDE, UNKNOWN)
    share = _shares(now, sides)
    by_side = np.array([_of_side(now, side) for side in sides])
    fixed = np.zeros((len(origins), _BANDS))
    fixed[len(sides)] = 1.0
    outside = 1.0 - room.background_inside
    alarm = now.paths.bedroom.alarm
    groups = tuple(_group(study, part, share, outside, room) for part in now.paths.bedroom.parts)
    _check_required(groups, room)
    odds = np.eye(len(origins))
    odds[-1] = [*(by_side / by_side.sum()), 0.0, 0.0]
    recorded = np.array([night.recorded_s for night in nights])
    levels_db = np.array([_known(on_model_bands(night.background_spectrum)) for night in nights])
    level_known = alarm.at_pillow_dba if alarm.place in ("hall", "bedroom") else None
    return Problem(
        events=planned_events(nights, origins, room.origins),
        origins=origins,
        odds=odds,
        groups=groups,
        fixed=fixed,
        background_fixed=np.full(_BANDS, room.background_inside),
        night_background_db=level(recorded @ energy(levels_db) / recorded.sum()),
        seconds=float(recorded.sum()),
        alarm_dba=np.nan if level_known is None else level_known,
        alarm_pitch=room.alarm_pitch,
        alarm_fixed=1.0 if alarm.place == "bedroom" else 0.0,
        shapes=tuple(_as_played(shape, maskers.lowest_hz) for shape in maskers.shapes),
        shaped=maskers.shaped,
        played=np.array(MODEL_BANDS_HZ) >= maskers.lowest_hz,
        wish=wish,
        listener=listener,
    )


def _check_settings(room: RoomWishes, maskers: MaskerChoices) -> None:
    if not 0.0 <= room.background_inside <= 1.0:
        raise SettingsError(
            f"background made inside: must lie between 0 and 1, got {room.background_inside:g}.",
            remedy="Give the part of the background's energy that is made in the room.",
        )
    if not 0.0 < maskers.lowest_hz <= MODEL_BANDS_HZ[-1]:
        raise SettingsError(
            f"lowest band: must lie between 20 and 12500 Hz, got {maskers.lowest_hz:g}.",
            remedy="Give the lowest third octave that the loudspeaker plays.",
        )


def _known(levels_db: FloatArray) -> FloatArray:
    return np.where(np.isnan(levels_db), -np.inf, levels_db)


def _as_played(shape: MaskerShape, lowest_hz: float) -> MaskerShape:
    """Return a shape without what the loudspeaker does not play, brought to 0 dB(A) again."""
    levels_db = np.where(np.array(MODEL_BANDS_HZ) >= lowest_hz, shape.spectrum.levels_db, -np.inf)
    levels_db = levels_db - level(np.sum(A_WEIGHTS * energy(levels_db)))
    return MaskerShape(name=shape.name, spectrum=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=levels_db))


def _shares(now: RoomLevels, sides: Sequence[str]) -> FloatArray:
    """Return which part of each origin's sound takes each path, shape (paths, origins, bands)."""
    open_m2 = now.paths.open_m2[:, :_BANDS]
    share = np.zeros((len(now.paths.paths), len(sides) + 2, _BANDS))
    behind = np.array([path.part.behind for path in now.paths.paths])
    for number, side in enumerate(sides):
        own = behind == side
        share[own, number] = open_m2[own] / open_m2[own].sum(axis=0)
    arrived = energy(now.band_levels_db[:, :_BANDS])
    total = arrived.sum(axis=0)
    # In bands in which nothing arrives by the room file, paths share as if the same stood on every side.
    evenly = open_m2 / open_m2.sum(axis=0)
    share[:, -1] = np.divide(arrived, total, out=evenly, where=total > 0.0)
    return share


def _of_side(now: RoomLevels, side: str) -> float:
    """Return the A-weighted energy that arrives in the room from one side, by its file."""
    own = [number for number, path in enumerate(now.paths.paths) if path.part.behind == side]
    return float(energy(combine(now.levels_dba[own])))


def _group(study: RoomStudy, part: Part, share: FloatArray, outside: float, room: RoomWishes) -> PathGroup:
    paths = study.advice.now.paths
    own = [number for number, path in enumerate(paths.paths) if path.part is part]
    of_hall = np.array([path.part.behind == "hall" for path in paths.paths])
    in_hall = paths.open_m2[:, :_BANDS] * of_hall[:, None]
    in_hall /= np.maximum(in_hall.sum(axis=0), TINY_M2)
    options, factors = _options(study, part, own, room)
    from_hall = paths.bedroom.alarm.place == "hall" and in_hall.sum() > 0.0
    return PathGroup(
        key=part.key,
        title=part.title,
        options=options,
        paths=tuple(f"{part.title}: {paths.paths[number].through}" for number in own),
        path_u_db=np.array([paths.paths[number].u_db for number in own]),
        tested_u_db=paths.tested.get(part.key),
        share=share[own],
        background=outside * share[own, -1],
        alarm=in_hall[own] * _alarm_bands(room) if from_hall else np.zeros((len(own), _BANDS)),
        factor=factors,
    )


def _alarm_bands(room: RoomWishes) -> FloatArray:
    """Return how the A-weighted energy of the alarm is spread over the bands, shape (bands,)."""
    if room.alarm_pitch is None:
        return np.asarray(np.eye(_BANDS)[_ALARM_BAND])
    weighted = A_WEIGHTS * energy(alarm_shape(room.alarm_pitch))
    return np.asarray(weighted / weighted.sum())


def _options(
    study: RoomStudy, part: Part, own: list[int], room: RoomWishes
) -> tuple[tuple[Option, ...], FloatArray]:
    """Return what may be done to a part, nothing first, and what it leaves of each path.

    Combinations that cost more and keep nothing more out than another one are left out.
    """
    paths = study.advice.now.paths
    before_m2 = paths.open_m2[own, :_BANDS]
    advised = [
        each.treatment
        for each in (*study.advice.allowed, *study.advice.too_little)
        if each.part is part and not _names(room.forbidden, each.treatment, part)
    ]
    required = [treatment for treatment in advised if _names(room.required, treatment, part)]
    found: list[tuple[Option, FloatArray]] = []
    for chosen in _compatible(advised):
        if all(treatment in chosen for treatment in required):
            after_m2 = treated_open_m2(paths, [(treatment, part) for treatment in chosen])
            factor = left_of_paths(before_m2, after_m2[own, :_BANDS])
            found.append((_option(study, part, chosen, after_m2), factor))
    kept: list[tuple[Option, FloatArray]] = []
    for option, factor in sorted(found, key=lambda each: (each[0].money, len(each[0].treatments))):
        if not any(np.all(other <= factor * (1.0 + 1e-12)) for _, other in kept):
            kept.append((option, factor))
    return tuple(option for option, _ in kept), np.array([factor for _, factor in kept])


def _option(study: RoomStudy, part: Part, chosen: Sequence[Treatment], after_m2: FloatArray) -> Option:
    bedroom, paths = study.bedroom, study.advice.now.paths
    prices = [bedroom.prices.get(treatment.key) for treatment in chosen]
    money = [
        COST_GUESSES[treatment.cost_class] if price is None else price
        for treatment, price in zip(chosen, prices, strict=True)
    ]
    alarm = alarm_caution(paths, after_m2) if chosen else ""
    before = [note for treatment in chosen for note in conditions(treatment, part, bedroom)]
    return Option(
        treatments=tuple(treatment.key for treatment in chosen),
        titles=tuple(treatment.title for treatment in chosen),
        money=float(sum(money)),
        guessed=any(price is None for price in prices),
        spread_db=combined([rectangular_u_db(treatment.spread_db) for treatment in chosen]),
        notes=tuple(dict.fromkeys([*([alarm] if alarm else []), *before])),
    )


def _compatible(treatments: Sequence[Treatment]) -> list[tuple[Treatment, ...]]:
    """Return every combination of treatments that do not exclude each other; the empty one first."""
    found: list[tuple[Treatment, ...]] = [()]
    for treatment in treatments:
        found += [
            (*each, treatment)
            for each in found
            if not any(exclude_each_other(treatment, other) for other in each)
        ]
    return found


def _names(wanted: Sequence[str], treatment: Treatment, part: Part) -> bool:
    return treatment.key in wanted or f"{treatment.key}@{part.key}" in wanted


def _check_required(groups: Sequence[PathGroup], room: RoomWishes) -> None:
    done = {
        name
        for group in groups
        for option in group.options
        for key in option.treatments
        for name in (key, f"{key}@{group.key}")
    }
    missing = [name for name in room.required if name not in done]
    if missing:
        raise SettingsError(
            f"required treatments: may not or cannot be done in this room: {', '.join(missing)}.",
            remedy="See 'sleepnoise paths' for what may be done here, and why something may not.",
        )
