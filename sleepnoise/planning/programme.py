"""The plan as a mixed-integer linear programme, for more combinations than can be enumerated.

Energies add, so audibility is linear in the chosen options and in the masker: band by band
``sum of what the options let in - kappa (background + masker + ear noise) <= big x audible``. Each row is
divided by the noise of its band, so that coefficients stay within a few powers of ten.

References
----------
HiGHS by way of ``scipy.optimize.milp``.
"""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import LIMIT_DB, MODEL_BANDS_HZ
from sleepnoise.masking.masker import NEIGHBOUR_STEP_DB, SHAPED
from sleepnoise.planning.enumeration import Masker, maskers_of, shaped_masker
from sleepnoise.planning.outcome import ALARM_OVER_MASKER_DB
from sleepnoise.planning.problem import A_WEIGHTS, IntArray, PlannedEvents, Problem

SLACK = 1e-7
"""Rows are held this much more strictly, relative to their noise. Chosen: about the solver's own tolerance;
0.0000005 dB."""

RATIOS = energy(np.arange(-18.0, 19.0, 6.0))
"""Weights with which one band may rule another. Chosen: bands differ by some tens of decibels in what they
need; finer ones hardly rule out more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the solver found.

    Attributes
    ----------
    choice : tuple of int or None
        ``None`` when nothing meets the rows, or nothing was found in time.
    masker : Masker
    spectrum : Spectrum or None
        Of a masker that is shaped to the events.
    impossible : bool
        Proved: no plan meets the rows.
    gap : float
        Part of the objective by which something better may exist, 0 when proved.
    """

    choice: tuple[int, ...] | None
    masker: Masker
    spectrum: Spectrum | None
    impossible: bool
    gap: float


def solve_programme(
    problem: Problem,
    *,
    fewest_audible: bool = False,
    refused: Sequence[Answer] = (),
    time_limit_s: float = 30.0,
) -> Answer:
    """Solve a problem by branch and bound.

    Parameters
    ----------
    problem : Problem
    fewest_audible : bool
        Make the number of audible events small instead of money and masker.
    refused : sequence of Answer
        Not to be given again.
    time_limit_s : float, s

    Returns
    -------
    Answer
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    model = _Model(problem, fewest_audible)
    rows, low, high = model.matrix(refused)
    with _library_silenced():
        found = milp(
            model.objective,
            constraints=LinearConstraint(rows, low, high),
            integrality=model.integrality,
            bounds=Bounds(0.0, model.upper),
            options={"time_limit": time_limit_s, "mip_rel_gap": 1e-9},
        )
    if found.x is None:
        nothing = Masker(name="", level_dba=-np.inf)
        impossible = found.status == 2
        return Answer(choice=None, masker=nothing, spectrum=None, impossible=impossible, gap=np.inf)
    return model.answer(found.x, float(found.mip_gap or 0.0))


@contextmanager
def _library_silenced() -> Iterator[None]:
    """Keep what the solver's library prints by itself now and then out of standard output."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def merged(events: PlannedEvents) -> tuple[PlannedEvents, IntArray]:
    """Return each different event once, and how often it occurs.

    Only what decides about audibility is compared: origin, the event alone and its background.
    """
    keys = np.column_stack([events.origin, events.signal_db, events.background_db])
    _, first, counts = np.unique(keys, axis=0, return_index=True, return_counts=True)
    order = np.argsort(first)
    return events.picked(first[order].astype(np.int64)), counts[order].astype(np.int64)


class _Model:
    """Variables: options by group; maskers; bands of the shaped one; audible events; loud events."""

    def __init__(self, problem: Problem, fewest_audible: bool) -> None:
        self.problem = problem
        wish = problem.wish
        by_level = not np.isfinite(wish.lafmax_limit_dba)
        self.events, self.weights = (
            merged(problem.events)
            if by_level
            else (problem.events, np.ones(problem.events.count, dtype=np.int64))
        )
        self.maskers = maskers_of(problem)
        self.sizes = [len(group.options) for group in problem.groups]
        self.options = sum(self.sizes)
        self.free = np.flatnonzero(problem.played) if problem.shaped else np.zeros(0, dtype=np.int64)
        self.loud = problem.events.count if not by_level and wish.lafmax_allowed else 0
        self.first_masker = self.options
        self.first_free = self.options + len(self.maskers)
        self.first_audible = self.first_free + len(self.free)
        self.first_loud = self.first_audible + self.events.count
        self.variables = self.first_loud + self.loud
        self.masker_levels = np.array([energy(masker.level_dba) for masker in self.maskers])
        shaped = [masker.name == SHAPED for masker in self.maskers]
        self.is_shaped = np.array(shaped)
        # The shaped masker's bands in units of the loudest energy that it may have.
        self.unit = float(energy(wish.cap_dba))
        self._set_up(fewest_audible)

    def _set_up(self, fewest_audible: bool) -> None:
        wish = self.problem.wish
        self.money = np.concatenate([group.money for group in self.problem.groups] or [np.zeros(0)])
        self.objective = np.zeros(self.variables)
        audible = slice(self.first_audible, self.first_loud)
        if fewest_audible:
            self.objective[audible] = self.weights
        else:
            self.objective[: self.options] = self.money
            self.objective[self.first_masker : self.first_free] = [
                wish.score(0.0, masker.level_dba) for masker in self.maskers
            ]
        self.integrality = np.ones(self.variables, dtype=np.int64)
        self.integrality[self.first_free : self.first_audible] = 0
        self.upper = np.ones(self.variables)
        self.upper[self.first_free : self.first_audible] = 1.0 / A_WEIGHTS[self.free]
        self.allowed = float(self.weights.sum()) if fewest_audible else float(wish.events_allowed)
        if self.allowed <= 0.0:
            self.upper[audible] = 0.0

    def matrix(self, refused: Sequence[Answer]):  # type: ignore[no-untyped-def]
        """Return the rows as a sparse matrix with their lower and upper bounds."""
        from scipy.sparse import csr_matrix

        self.cells: list[tuple[IntArray, FloatArray, float, float]] = []
        self._choices()
        self._limits()
        self._audibility()
        if len(self.free):
            self._evenness()
        self._refuse(refused)
        lengths = [len(columns) for columns, *_ in self.cells]
        rows = csr_matrix(
            (
                np.concatenate([values for _, values, *_ in self.cells]),
                np.concatenate([columns for columns, *_ in self.cells]),
                np.concatenate([[0], np.cumsum(lengths)]),
            ),
            shape=(len(self.cells), self.variables),
        )
        return rows, np.array([each[2] for each in self.cells]), np.array([each[3] for each in self.cells])

    def _row(self, parts: dict[int, FloatArray], low: float, high: float) -> None:
        columns = np.concatenate([first + np.arange(len(values)) for first, values in parts.items()])
        values = np.concatenate(list(parts.values()))
        self.cells.append((columns, values, low, high))

    def _choices(self) -> None:
        first = 0
        for size in self.sizes:
            self._row({first: np.ones(size)}, 1.0, 1.0)
            first += size
        self._row({self.first_masker: np.ones(len(self.maskers))}, 1.0, 1.0)

    def _limits(self) -> None:
        """Budget, number of audible events, alarm, LAeq and LAFmax."""
        problem, wish = self.problem, self.problem.wish
        if np.isfinite(wish.budget):
            self._row({0: self.money}, -np.inf, wish.budget + 1e-9)
        self._row({self.first_audible: self.weights.astype(float)}, -np.inf, self.allowed)
        if not np.isnan(problem.alarm_dba):
            self._alarm()
        if np.isfinite(wish.laeq_limit_dba) or np.isfinite(wish.lafmax_limit_dba):
            self._levels()

    def _alarm(self) -> None:
        problem = self.problem
        alarm = np.concatenate([group.alarm_carried for group in problem.groups] or [np.zeros(0)])
        over = energy(problem.alarm_dba - ALARM_OVER_MASKER_DB)
        scale = float(over * max(problem.alarm_fixed + alarm.sum(), 1e-12))
        row = {0: -alarm * over / scale, self.first_masker: self.masker_levels / scale}
        self._row(row, -np.inf, float(problem.alarm_fixed * over / scale))
        floor = energy(problem.wish.alarm_floor_dba - problem.alarm_dba)
        if floor > 0.0:
            self._row({0: alarm}, float(floor) - problem.alarm_fixed, np.inf)

    def _levels(self) -> None:
        problem, wish, events = self.problem, self.problem.wish, self.problem.events
        steady = A_WEIGHTS * energy(problem.night_background_db)
        exposed = events.exposed * energy(events.exposure_dba)[:, None] / problem.seconds
        if np.isfinite(wish.laeq_limit_dba):
            by_origin = np.zeros((len(problem.origins), len(MODEL_BANDS_HZ)))
            np.add.at(by_origin, events.origin, exposed)
            options = [
                np.einsum("koi,oi->k", group.carried, by_origin) + group.background_carried @ steady
                for group in problem.groups
            ]
            base = float(np.sum(by_origin * problem.fixed) + steady @ problem.background_fixed)
            self._level_row(options, base, wish.laeq_limit_dba, None)
        if np.isfinite(wish.lafmax_limit_dba):
            self._maxima()
            if self.loud:
                self._row({self.first_loud: np.ones(self.loud)}, -np.inf, float(wish.lafmax_allowed))

    def _maxima(self) -> None:
        """Hold LAFmax: every moment of an event that may be its loudest one stays below the limit."""
        problem, events = self.problem, self.problem.events
        highest = events.moments * energy(events.max_dba)[:, None, None]
        beside = A_WEIGHTS * energy(events.background_db)
        for number, origin in enumerate(events.origin):
            around = [group.background_carried @ beside[number] for group in problem.groups]
            fixed = beside[number] @ problem.background_fixed
            for place, moment in enumerate(highest[number]):
                if place and not moment.any():
                    continue
                options = [
                    group.carried[:, origin] @ moment + each
                    for group, each in zip(problem.groups, around, strict=True)
                ]
                base = float(moment @ problem.fixed[origin] + fixed)
                self._level_row(options, base, problem.wish.lafmax_limit_dba, number)

    def _level_row(self, options: list[FloatArray], base: float, limit_dba: float, event: int | None) -> None:
        """Hold a level; one that belongs to an event may be exceeded where its variable says so."""
        limit = float(energy(limit_dba))
        parts = {
            0: np.concatenate(options or [np.zeros(0)]) / limit,
            self.first_masker: self.masker_levels / limit,
        }
        if event is not None and self.loud:
            highest = base + sum(float(each.max()) for each in options) + float(self.masker_levels.max())
            parts[self.first_loud + event] = np.array([-max(highest / limit - 1.0, 0.0)])
        self._row(parts, -np.inf, 1.0 - base / limit)

    def _audibility(self) -> None:
        limit = energy(LIMIT_DB + self.problem.wish.margin_db)
        ear = energy(self.problem.ear_noise_db)
        carried = [group.carried for group in self.problem.groups]
        of_background = [group.background_carried for group in self.problem.groups]
        shapes = {shape.name: energy(shape.spectrum.levels_db) for shape in self.problem.shapes}
        silent = np.zeros(len(MODEL_BANDS_HZ))
        played = np.array([shapes.get(masker.name, silent) for masker in self.maskers])
        played *= self.masker_levels[:, None]
        for number in range(self.events.count):
            origin = int(self.events.origin[number])
            signal = energy(self.events.signal_db[number]) / limit
            background = energy(self.events.background_db[number])
            parts = [
                each[:, origin] * signal - behind * background
                for each, behind in zip(carried, of_background, strict=True)
            ]
            base = self.problem.fixed[origin] * signal - self.problem.background_fixed * background - ear
            self._event_rows(number, parts, base, background + ear, played)

    def _event_rows(
        self, number: int, parts: list[FloatArray], base: FloatArray, noise: FloatArray, played: FloatArray
    ) -> None:
        """Add the rows of one event, without bands that are never audible or that another one rules."""
        parts = [part / noise for part in parts]
        base, masker = base / noise, played / noise
        highest = base + sum((part.max(axis=0) for part in parts), np.zeros(len(base)))
        bands = np.flatnonzero(highest > -SLACK)
        if not len(self.free):
            bands = not_ruled([part[:, bands] for part in [*parts, -masker]], base[bands], bands)
        for band in bands:
            row = {
                0: np.concatenate([part[:, band] for part in parts] or [np.zeros(0)]),
                self.first_masker: -masker[:, band],
                self.first_audible + number: np.array([-(highest[band] + SLACK)]),
            }
            place = np.flatnonzero(self.free == band)
            if place.size:
                row[self.first_free + int(place[0])] = np.array([-self.unit / noise[band]])
            self._row(row, -np.inf, -base[band] - SLACK)

    def _evenness(self) -> None:
        """Keep neighbouring bands of the shaped masker close, and its level within the one that is chosen."""
        step = float(energy(NEIGHBOUR_STEP_DB))
        count = len(self.free)
        for band in range(count - 1):
            for one, other in ((band, band + 1), (band + 1, band)):
                values = np.zeros(count)
                values[one], values[other] = 1.0, -step
                self._row({self.first_free: values}, -np.inf, 0.0)
        shares = np.where(self.is_shaped, self.masker_levels, 0.0) / self.unit
        self._row({self.first_masker: -shares, self.first_free: A_WEIGHTS[self.free]}, -np.inf, 0.0)

    def _refuse(self, refused: Sequence[Answer]) -> None:
        """Leave out answers that the raw model did not confirm."""
        for answer in refused:
            columns, first = [self.first_masker + self.maskers.index(answer.masker)], 0
            for size, number in zip(self.sizes, answer.choice or (), strict=True):
                columns.append(first + number)
                first += size
            chosen: IntArray = np.array(columns, dtype=np.int64)
            self.cells.append((chosen, np.ones(len(columns)), -np.inf, len(columns) - 1.0))

    def answer(self, values: FloatArray, gap: float) -> Answer:
        """Return what the variables say; the shaped masker is that which covers what they cover."""
        choice, first = [], 0
        for size in self.sizes:
            choice.append(int(np.argmax(values[first : first + size])))
            first += size
        masker = self.maskers[int(np.argmax(values[self.first_masker : self.first_free]))]
        spectrum = None
        if masker.name == SHAPED:
            kept = np.flatnonzero(values[self.first_audible : self.first_loud] < 0.5)
            chosen = replace(self.problem, events=self.events.picked(kept.astype(np.int64)))
            spectrum = shaped_masker(chosen, tuple(choice))
        return Answer(choice=tuple(choice), masker=masker, spectrum=spectrum, impossible=False, gap=gap)


def not_ruled(parts: list[FloatArray], base: FloatArray, bands: IntArray) -> IntArray:
    """Return the bands that no other band of the event rules.

    A band is ruled when it is never audible unless another one is: when its row is at most some multiple
    of the other's, whatever is chosen. What is chosen adds up group by group, so the largest difference
    is the sum of the groups' largest ones.
    """
    kept = list(range(len(bands)))
    for band in sorted(kept, key=lambda each: base[each] + sum(part[:, each].max() for part in parts)):
        others = [other for other in kept if other != band]
        if not others:
            break
        least = np.full((len(RATIOS), len(others)), base[band]) - RATIOS[:, None] * base[others]
        for part in parts:
            least += (part[:, band, None, None] - RATIOS[:, None] * part[:, None, others]).max(axis=0)
        if np.any(least <= 0.0):
            kept.remove(band)
    return bands[kept]
