"""Every combination of options, each with every masker: the whole field in one pass.

For each combination, event and masker shape there is one level from which on the event is covered,
because audibility is linear in the masker's energy. All counts follow from comparing those levels, so
one pass gives the best plan, the front of those that nothing beats, and the map of what is traded.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import LIMIT_DB, MODEL_BANDS_HZ
from sleepnoise.masking.masker import NEIGHBOUR_STEP_DB, SHAPED
from sleepnoise.planning.outcome import ALARM_OVER_MASKER_DB, GUARD_DB
from sleepnoise.planning.problem import A_WEIGHTS, IntArray, Problem

BLOCK = 128
"""Combinations worked out at a time. Chosen: for some hundred events this stays in the processor's cache."""

SHAPED_WORK = 2_000_000
"""Combinations times events up to which the shaped masker is worked out for every count. Chosen: about five
seconds; beyond, only the one that covers every event."""

LENIENCE = 1.0 - 2e-6
"""Factor on events in the pass of single precision, 0.00001 dB. Chosen: ten times its rounding, so that no
plan that meets the target is passed over; the raw model has the last word."""

MOST_IN_BYTE = 255
"""Events counted at a time. Chosen: what one byte can hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Masker:
    """One masker to choose; the name is empty and the level ``-inf`` for none."""

    name: str
    level_dba: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Every combination with every masker.

    Attributes
    ----------
    problem : Problem
    choices : ndarray of int, shape (combinations, groups)
    money : ndarray, shape (combinations,)
    ceiling : ndarray, shape (combinations,)
        Most masker energy, A-weighted, that alarm and guideline leave room for; negative where they are
        missed without any.
    maskers : tuple of Masker
        None first, then by shape, rising.
    audible : ndarray of int, shape (combinations, maskers)
        Events above the margin.
    coverable : ndarray of bool, shape (events,)
        Whether some plan within budget, cap, alarm and guideline keeps the event below the margin.
    """

    problem: Problem
    choices: IntArray
    money: FloatArray
    ceiling: FloatArray
    maskers: tuple[Masker, ...]
    audible: NDArray[np.int16]
    coverable: NDArray[np.bool_]

    def within(self, number: int, allowed: int | None = None) -> NDArray[np.bool_]:
        """Return which combinations leave room for a masker and, with it, at most so many audible events."""
        room = self.ceiling * (1.0 + 1e-9) >= energy(self.maskers[number].level_dba)
        return room if allowed is None else room & (self.audible[:, number] <= allowed)


def enumerate_plans(problem: Problem) -> Field:
    """Work out every combination of options with every masker."""
    sizes = [len(group.options) for group in problem.groups]
    choices = np.stack(np.unravel_index(np.arange(problem.combinations), sizes), axis=1) if sizes else None
    chosen: IntArray = np.zeros((1, 0), dtype=np.int64) if choices is None else choices.astype(np.int64)
    money = np.zeros(len(chosen))
    for group, numbers in zip(problem.groups, chosen.T, strict=True):
        money += group.money[numbers]
    limits = ceilings(problem, chosen)
    maskers = maskers_of(problem)
    audible = np.empty((len(chosen), len(maskers)), dtype=np.int16)
    coverable = np.zeros(problem.events.count, dtype=np.bool_)
    affordable = money <= problem.wish.budget + 1e-9
    kernel = _Kernel(problem)
    for first in range(0, len(chosen), BLOCK):
        part = slice(first, first + BLOCK)
        usable = np.where(affordable[part], limits[part], -1.0)
        audible[part], covered = kernel.block(chosen[part], usable)
        coverable |= covered
    return Field(
        problem=problem,
        choices=chosen,
        money=money,
        ceiling=limits,
        maskers=maskers,
        audible=audible,
        coverable=coverable,
    )


def maskers_of(problem: Problem) -> tuple[Masker, ...]:
    """Return the maskers to choose from: none, then each shape at each level."""
    names = [shape.name for shape in problem.shapes] + ([SHAPED] if problem.shaped else [])
    levels = problem.wish.levels_dba
    some = [Masker(name=name, level_dba=float(each)) for name in names for each in levels]
    return (Masker(name="", level_dba=-np.inf), *some)


def masker_spectrum(problem: Problem, choice: tuple[int, ...], masker: Masker) -> Spectrum | None:
    """Return the sound of a masker behind a choice; of the shaped one, that which covers most events."""
    if masker.name == "":
        return None
    if masker.name != SHAPED:
        return next(shape for shape in problem.shapes if shape.name == masker.name).at(masker.level_dba)
    covers, demand = _easiest_first(_needed(problem, choice), problem.played)
    return _spectrum(covers[np.flatnonzero(demand <= energy(masker.level_dba))[-1]])


def shaped_masker(problem: Problem, choice: tuple[int, ...]) -> Spectrum:
    """Return the quietest even masker that covers every event behind a choice, as far as it is played."""
    return _spectrum(_alone(_needed(problem, choice), problem.played)[0].max(axis=0, initial=0.0))


def _needed(problem: Problem, choice: tuple[int, ...]) -> FloatArray:
    return _Kernel(problem).needed(np.array([choice], dtype=np.int64))[:, :, 0]


def _spectrum(energies: FloatArray) -> Spectrum:
    # A masker that just covers would leave it to rounding whether it does.
    return Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=level(energies) + GUARD_DB)


def ceilings(problem: Problem, choices: IntArray) -> FloatArray:
    """Return how much masker alarm and guideline leave room for, shape (combinations,), energy in dB(A)."""
    wish, events = problem.wish, problem.events
    room = np.full(len(choices), float(energy(wish.cap_dba)))
    if not np.isnan(problem.alarm_dba):
        alarm = energy(problem.alarm_dba) * (
            problem.alarm_fixed + _summed(problem, choices, lambda group: group.alarm_carried)
        )
        room = np.minimum(room, alarm * energy(-ALARM_OVER_MASKER_DB))
        room = np.where(level(alarm) < wish.alarm_floor_dba - GUARD_DB, -1.0, room)
    if np.isfinite(wish.laeq_limit_dba):
        steady = A_WEIGHTS * energy(problem.night_background_db)
        kept = events.exposed * energy(events.exposure_dba)[:, None] / problem.seconds
        by_origin = np.zeros((len(problem.origins), len(MODEL_BANDS_HZ)))
        np.add.at(by_origin, events.origin, kept)
        base = float(np.sum(by_origin * problem.fixed) + steady @ problem.background_fixed) + _summed(
            problem,
            choices,
            lambda group: (
                np.einsum("koi,oi->k", group.carried, by_origin) + group.background_carried @ steady
            ),
        )
        room = np.minimum(room, energy(wish.laeq_limit_dba + GUARD_DB) - base)
    if np.isfinite(wish.lafmax_limit_dba) and events.count > wish.lafmax_allowed:
        room = np.minimum(room, energy(wish.lafmax_limit_dba + GUARD_DB) - _deciding_maxima(problem, choices))
    return room


def _deciding_maxima(problem: Problem, choices: IntArray) -> FloatArray:
    """Return the energy of the event that decides about LAFmax without masker, shape (combinations,)."""
    events = problem.events
    beside = A_WEIGHTS * energy(events.background_db)
    moments = [_Moment(problem, number, beside) for number in range(events.moments.shape[1])]
    found = np.empty(len(choices))
    for first in range(0, len(choices), BLOCK):
        part = choices[first : first + BLOCK]
        levels = moments[0].levels(part)
        for moment in moments[1:]:
            levels[:, moment.rows] = np.maximum(levels[:, moment.rows], moment.levels(part))
        found[first : first + BLOCK] = -np.sort(-levels, axis=1)[:, problem.wish.lafmax_allowed]
    return found


class _Moment:
    """One moment of each event that has so many: what every option lets in then, with the background."""

    def __init__(self, problem: Problem, number: int, beside: FloatArray) -> None:
        events = problem.events
        used = events.moments[:, number].any(axis=-1) if number else np.ones(events.count, dtype=np.bool_)
        self.rows = np.flatnonzero(used)
        origin = events.origin[self.rows]
        alone = events.moments[self.rows, number] * energy(events.max_dba[self.rows])[:, None]
        beside = beside[self.rows]
        self.fixed = np.sum(alone * problem.fixed[origin] + beside * problem.background_fixed, axis=-1)
        self.tables = [
            np.einsum("kei,ei->ke", group.carried[:, origin], alone) + group.background_carried @ beside.T
            for group in problem.groups
        ]

    def levels(self, choices: IntArray) -> FloatArray:
        """Return the energy at that moment, shape (combinations, events that have it)."""
        levels = np.tile(self.fixed, (len(choices), 1))
        for table, numbers in zip(self.tables, choices.T, strict=True):
            levels += table[numbers]
        return levels


def _summed(problem: Problem, choices: IntArray, of_group) -> FloatArray:  # type: ignore[no-untyped-def]
    total = np.zeros(len(choices))
    for group, numbers in zip(problem.groups, choices.T, strict=True):
        total += of_group(group)[numbers]
    return total


class _Kernel:
    """What is the same for every block of combinations."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        events = problem.events
        limit = energy(LIMIT_DB + problem.wish.margin_db + GUARD_DB)
        # Masker energy lacking = signal x left - background x left - ear, band by band.
        self.rows = np.stack(
            [
                energy(events.signal_db) / limit,
                -energy(events.background_db),
                np.broadcast_to(-energy(problem.ear_noise_db), events.signal_db.shape),
            ],
            axis=-1,
        ).transpose(1, 0, 2)
        self.carried = [group.carried for group in problem.groups]
        self.background = [group.background_carried for group in problem.groups]
        shapes = [energy(shape.spectrum.levels_db) for shape in problem.shapes]
        units = np.array(shapes).reshape(len(shapes), len(MODEL_BANDS_HZ))
        self.per_unit = (1.0 / np.maximum(units, 1e-25)).astype(np.float32)
        self.levels = energy(problem.wish.levels_dba)
        self.lean_rows = (self.rows * [LENIENCE, 1.0, 1.0]).astype(np.float32)
        self.tiles = [
            (origin, rows[first : first + MOST_IN_BYTE])
            for origin in range(len(problem.origins))
            if (rows := np.flatnonzero(events.origin == origin)).size
            for first in range(0, rows.size, MOST_IN_BYTE)
        ]
        self.every_count = problem.combinations * events.count <= SHAPED_WORK

    def left(self, choices: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return what is left of origins and of the background, shape (..., bands, combinations)."""
        sound = np.repeat(self.problem.fixed[:, :, None], len(choices), axis=2)
        background = np.repeat(self.problem.background_fixed[:, None], len(choices), axis=1)
        for carried, of_background, numbers in zip(self.carried, self.background, choices.T, strict=True):
            sound += carried[numbers].transpose(1, 2, 0)
            background += of_background[numbers].T
        return sound, background

    def needed(self, choices: IntArray) -> FloatArray:
        """Return the masker that each event needs, shape (events, bands, combinations), energy."""
        sound, background = self.left(choices)
        ones = np.ones(len(choices))
        found = np.empty((self.problem.events.count, len(MODEL_BANDS_HZ), len(choices)))
        for origin, rows in self.tiles:
            for band in range(len(MODEL_BANDS_HZ)):
                left = np.stack([sound[origin, band], background[band], ones])
                found[rows, band] = self.rows[band, rows] @ left
        return np.maximum(found, 0.0)

    def block(self, choices: IntArray, usable: FloatArray) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
        """Return audible events, shape (combinations, maskers), and which events are covered by something."""
        sound, background = self.left(choices)
        left = np.ones((len(MODEL_BANDS_HZ), 3, len(choices)), dtype=np.float32)
        left[:, 1] = background
        highest = np.zeros((len(MODEL_BANDS_HZ), len(choices)), dtype=np.float32)
        loudest = self._loudest(usable)
        columns = np.zeros((1 + len(self.per_unit) * len(self.levels), len(choices)), dtype=np.int64)
        covered = np.zeros(self.problem.events.count, dtype=np.bool_)
        for origin, tile in self.tiles:
            left[:, 0] = sound[origin]
            lacking = self._lacking(self.lean_rows[:, tile], left, highest)
            covered[tile] = ((lacking[0] <= 0.0) & (usable >= 0.0)).any(axis=1)
            columns[0] += _count(lacking[0] > 0.0)
            for number, covered_from in enumerate(lacking[: len(self.per_unit)]):
                for place, each in enumerate(self.levels, start=1 + number * len(self.levels)):
                    columns[place] += _count(covered_from > each)
                covered[tile] |= ((covered_from <= loudest) & (loudest > 0.0)).any(axis=1)
        counts = list(columns)
        if self.problem.shaped:
            counts += self._shaped(choices, counts[0], highest.astype(np.float64), usable, covered)
        return np.stack(counts, axis=1).astype(np.int16), covered

    def _lacking(
        self, rows: NDArray[np.float32], left: NDArray[np.float32], highest: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """Return from which level on each shape covers, shape (shapes, events, combinations)."""
        # Without any shape one is kept all the same: whether it is needed says who is heard without.
        shape = (rows.shape[1], left.shape[2])
        lacking = np.zeros((max(len(self.per_unit), 1), *shape), dtype=np.float32)
        needed, scaled = np.empty(shape, dtype=np.float32), np.empty(shape, dtype=np.float32)
        for band in range(len(MODEL_BANDS_HZ)):
            np.matmul(rows[band], left[band], out=needed)
            largest = needed.max(axis=0)
            if largest.max(initial=0.0) <= 0.0:
                continue
            np.maximum(highest[band], largest, out=highest[band])
            if not len(self.per_unit):
                np.maximum(lacking[0], needed, out=lacking[0])
            for covered_from, per_unit in zip(lacking, self.per_unit[:, band], strict=False):
                np.multiply(needed, per_unit, out=scaled)
                np.maximum(covered_from, scaled, out=covered_from)
        return lacking

    def _loudest(self, usable: FloatArray) -> FloatArray:
        """Return the loudest level within what may be used, 0 where none is, shape (combinations,)."""
        places = np.searchsorted(self.levels, usable * (1.0 + 1e-9), side="right")
        return np.concatenate([[0.0], self.levels])[places]

    def _shaped(
        self,
        choices: IntArray,
        without: NDArray[np.int64],
        highest: FloatArray,
        usable: FloatArray,
        covered: NDArray[np.bool_],
    ) -> list[NDArray[np.int64]]:
        """Return audible events with the shaped masker at each level; note who is covered."""
        if not self.every_count:
            demand = _alone(highest.T, self.problem.played)[1]
            loudest = self._loudest(usable)
            covered |= bool(np.any((demand <= loudest) & (loudest > 0.0)))
            return [np.where(demand <= each, 0, without) for each in self.levels]
        needed = self.needed(choices)
        found = np.empty((len(self.levels), len(choices)), dtype=np.int64)
        loudest = self._loudest(usable)
        for number in range(len(choices)):
            _, demand = _easiest_first(needed[:, :, number], self.problem.played)
            covers = np.searchsorted(demand, self.levels, side="right") - 1
            found[:, number] = self.problem.events.count - covers
            alone = _alone(needed[:, :, number], self.problem.played)[1]
            # A combination that may not be used has no masker: what needs none there is not covered by it.
            covered |= (alone <= loudest[number]) & (loudest[number] > 0.0)
        return list(found)


def _count(audible: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Count along the first axis, at most 255, in bytes: many times faster."""
    return np.asarray(np.add.reduce(audible.view(np.uint8), axis=0, dtype=np.uint8), dtype=np.int64)


def _smooth(needed: FloatArray) -> FloatArray:
    """Return the least even spectra over what is needed, shape (..., bands), energy."""
    band = np.arange(needed.shape[-1])
    falls = energy(-NEIGHBOUR_STEP_DB * np.abs(band[:, None] - band))
    return np.asarray((needed[..., None, :] * falls).max(axis=-1))


def _alone(needed: FloatArray, played: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Return what covers each event alone, shape (events, bands), and its A-weighted energy."""
    covers = np.zeros_like(needed)
    covers[:, played] = _smooth(needed[:, played])
    demand = covers @ A_WEIGHTS
    return covers, np.where((needed[:, ~played] > 0.0).any(axis=1), np.inf, demand)


def _easiest_first(needed: FloatArray, played: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Return what covers the 0, 1, 2, ... easiest events together, and its A-weighted energy, rising."""
    covers, alone = _alone(needed, played)
    order = np.argsort(alone, kind="stable")
    together = np.maximum.accumulate(np.pad(covers[order], ((1, 0), (0, 0))))
    reachable = np.concatenate([[0.0], alone[order]])
    return together, np.where(np.isinf(reachable), np.inf, together @ A_WEIGHTS)
