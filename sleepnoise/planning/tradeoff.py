"""What can be had for what: plans that nothing beats, the map, the order of steps, and what is missing."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.planning.enumeration import Field, Masker
from sleepnoise.planning.optimum import Optimum, Plan, find_optimum, planned
from sleepnoise.planning.outcome import left_over, outcome
from sleepnoise.planning.problem import A_WEIGHTS, IntArray, Option, PathGroup, Problem

LAST_DB = 5.0
"""By how much a target is eased to show what its end costs. Chosen: half of what doubles loudness."""

MAP_ROWS, MAP_STEP_DBA = 12, 5.0
"""Rows of the map, and the spacing of its columns. Chosen: what is read at a glance in 80 columns."""

MOST_ASKED = 40
"""Missing treatments that are tried at most. Chosen: more than any room has parts and refused treatments."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontPoint:
    """A plan that no other one beats in money, masker and audible events at once."""

    money: float
    level_dba: float
    shape: str
    audible: int
    choice: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeMap:
    """Fewest audible events by money spent at most (rows) and masker at most (columns)."""

    money: tuple[float, ...]
    levels_dba: tuple[float, ...]
    audible: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a plan, in the order in which it brings most for its money.

    Attributes
    ----------
    part, title : str
        Both empty for the masker.
    key : str
    money : float
    guessed : bool
    audible : int
        Events above the margin afterwards.
    excess_db : float, dB
        How far events lie above the margin afterwards, on average; covered ones count as 0.
    gain_db : float, dB
        By how much this step lowered that.
    level_gain_db : float, dB
        By how much it lowered the events' energy-mean A-weighted maximum.
    background_gain_db : float, dB
        By how much it lowered the background, against which what remains stands out.
    """

    part: str
    key: str
    title: str
    money: float
    guessed: bool
    audible: int
    excess_db: float
    gain_db: float
    level_gain_db: float
    background_gain_db: float

    @property
    def gain_per_money_db(self) -> float | None:
        """Gain for one unit of money; ``None`` where it costs nothing."""
        return self.gain_db / self.money if self.money > 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """What a treatment that there is not would change.

    Attributes
    ----------
    part, title : str
        The title is empty for a part that let nothing through at all.
    reasons : tuple of str
        Why it may not be done.
    audible, audible_now : int
        Fewest audible events that any plan can leave with it, and without it.
    gain_db : float, dB
        By how much it would lower the mean excess beside the plan.
    """

    part: str
    title: str
    reasons: tuple[str, ...]
    audible: int
    audible_now: int
    gain_db: float


def front(field: Field) -> tuple[FrontPoint, ...]:
    """Return the plans that nothing beats, by money, then masker; whatever the budget."""
    problem = field.problem
    moneys, levels_dba, fewest = _fewest(field)
    lower = np.pad(fewest, ((1, 0), (1, 0)), constant_values=np.iinfo(np.int64).max)
    beats = (fewest < lower[:-1, 1:]) & (fewest < lower[1:, :-1])
    found = []
    for row, column in np.argwhere(beats):
        plan = _cheapest(field, float(moneys[row]), float(levels_dba[column]), int(fewest[row, column]))
        if plan is not None:
            found.append(
                FrontPoint(
                    money=float(moneys[row]),
                    level_dba=float(levels_dba[column]),
                    shape=plan[1].name,
                    audible=outcome(problem, plan[0], _sound(problem, *plan)).audible_count,
                    choice=plan[0],
                )
            )
    return tuple(found)


def sampled_front(problem: Problem) -> tuple[FrontPoint, ...]:
    """Return the best plans under some masker caps, where there are too many combinations for all of them."""
    found = [without_masker(problem)]
    caps_dba = np.arange(problem.wish.levels_dba[0] + MAP_STEP_DBA, problem.wish.cap_dba + 1e-9, MAP_STEP_DBA)
    found += [
        find_optimum(replace(problem, wish=replace(problem.wish, cap_dba=float(cap)))) for cap in caps_dba
    ]
    points = {
        FrontPoint(
            money=plan.outcome.money,
            level_dba=plan.masker.level_dba,
            shape=plan.masker.name,
            audible=plan.outcome.audible_count,
            choice=plan.choice,
        ): None
        for each in found
        if (plan := each.plan) is not None
    }
    return tuple(sorted(points, key=lambda point: (point.money, point.level_dba)))


def trade_map(field: Field) -> TradeMap:
    """Return how few events stay audible for how much money and how loud a masker."""
    moneys, levels_dba, fewest = _fewest(field)
    changes = np.flatnonzero(np.append(True, (np.diff(fewest, axis=0) < 0).any(axis=1)))
    if changes.size > MAP_ROWS:
        changes = changes[np.unique(np.linspace(0, changes.size - 1, MAP_ROWS).round().astype(int))]
    wanted = [0] + [
        int(np.searchsorted(levels_dba, each + 1e-9, side="right")) - 1
        for each in np.arange(levels_dba[1], levels_dba[-1] + MAP_STEP_DBA, MAP_STEP_DBA)
    ]
    columns = list(dict.fromkeys(wanted))
    return TradeMap(
        money=tuple(float(moneys[row]) for row in changes),
        levels_dba=tuple(float(levels_dba[column]) for column in columns),
        audible=tuple(tuple(int(fewest[row, column]) for column in columns) for row in changes),
    )


def _fewest(field: Field) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return amounts of money, masker levels, and the fewest audible events for at most both.

    Alarm and guideline are kept: where no plan keeps them, all events count as audible.
    """
    moneys, place = np.unique(np.round(field.money, 6), return_inverse=True)
    levels_dba = np.array([-np.inf, *field.problem.wish.levels_dba])
    every = field.problem.events.count
    fewest = np.full((len(moneys), len(levels_dba)), every, dtype=np.int64)
    for number, masker in enumerate(field.maskers):
        column = int(np.searchsorted(levels_dba, masker.level_dba))
        counts = np.where(field.within(number), field.audible[:, number], every)
        np.minimum.at(fewest[:, column], place, counts)
    return moneys, levels_dba, np.minimum.accumulate(np.minimum.accumulate(fewest, axis=0), axis=1)


def _cheapest(
    field: Field, money: float, level_dba: float, audible: int
) -> tuple[tuple[int, ...], Masker] | None:
    """Return a plan of just this money and masker level that leaves so few events."""
    right = np.abs(field.money - money) < 1e-5
    for number, masker in enumerate(field.maskers):
        if masker.level_dba == level_dba:
            rows = np.flatnonzero(right & field.within(number, audible))
            if rows.size:
                return tuple(int(each) for each in field.choices[rows[0]]), masker
    return None


def _sound(problem: Problem, choice: tuple[int, ...], masker: Masker) -> Spectrum | None:
    return planned(problem, choice, masker, method="enumeration").spectrum


def without_masker(problem: Problem) -> Optimum:
    """Return the best plan of isolation alone."""
    return find_optimum(replace(problem, shapes=(), shaped=False))


def without_treatments(problem: Problem) -> Optimum:
    """Return the best plan of a masker alone."""
    groups = tuple(group.with_options([0]) for group in problem.groups)
    return find_optimum(replace(problem, groups=groups))


def eased(problem: Problem, by_db: float = LAST_DB) -> Optimum:
    """Return the best plan for a margin that is so much wider, whatever margin that is."""
    # The same margin over louder events: margins beyond what a user may ask for stay possible.
    events = replace(problem.events, signal_db=problem.events.signal_db - by_db)
    return find_optimum(replace(problem, events=events))


def steps_of(problem: Problem, plan: Plan) -> tuple[Step, ...]:
    """Return a plan's treatments one by one, the one that gains most for its money first; the masker last.

    Notes
    -----
    Gains depend on the order: what comes second works on what the first has left.
    """
    problem, choice_of_plan = problem.with_nothing(), problem.choice_with_nothing(plan.choice)
    todo = [
        (place, key, title)
        for place, number in enumerate(choice_of_plan)
        for option in [problem.groups[place].options[number]]
        for key, title in zip(option.treatments, option.titles, strict=True)
    ]
    done: list[tuple[int, str, str]] = []
    steps: list[Step] = []
    now = problem.nothing
    while todo:
        tried: list[tuple[float, float, int, tuple[int, str, str], tuple[int, ...], Step]] = []
        for each in todo:
            choice = _with(problem, [*done, each])
            if choice is not None:
                step = _step(problem, now, choice, *each)
                worth = step.gain_db / step.money if step.money > 0.0 else np.inf
                tried.append((-worth, -step.level_gain_db, len(tried), each, choice, step))
        if not tried:
            # What remains is only offered together: it becomes one step.
            steps.append(_step(problem, now, choice_of_plan, *_joined(todo)))
            now = choice_of_plan
            break
        *_, each, now, step = min(tried, key=lambda one: one[:3])
        steps.append(step)
        done.append(each)
        todo.remove(each)
    if plan.spectrum is not None:
        steps.append(_masker_step(problem, now, plan))
    return tuple(steps)


def _joined(todo: Sequence[tuple[int, str, str]]) -> tuple[int, str, str]:
    return todo[0][0], "+".join(key for _, key, _ in todo), "; ".join(title for *_, title in todo)


def _with(problem: Problem, chosen: Sequence[tuple[int, str, str]]) -> tuple[int, ...] | None:
    """Return the options that consist of just these treatments; ``None`` when one is not offered."""
    choice = []
    for place, group in enumerate(problem.groups):
        keys = {key for where, key, _ in chosen if where == place}
        fitting = [number for number, option in enumerate(group.options) if set(option.treatments) == keys]
        if not fitting:
            return None
        choice.append(fitting[0])
    return tuple(choice)


def excess_db(problem: Problem, choice: Sequence[int], masker: Spectrum | None = None) -> float:
    """Return how far events lie above the margin on average, dB; covered ones count as 0."""
    margins = outcome(problem, choice, masker).margins_db
    over = np.maximum(margins - problem.wish.margin_db, 0.0)
    return float(over.mean()) if over.size else 0.0


def _step(
    problem: Problem, before: Sequence[int], after: Sequence[int], place: int, key: str, title: str
) -> Step:
    group = problem.groups[place]
    first, second = outcome(problem, before), outcome(problem, after)
    guessed = group.options[after[place]].guessed and not group.options[before[place]].guessed
    return Step(
        part=group.title,
        key=key,
        title=title,
        money=second.money - first.money,
        guessed=guessed,
        audible=second.audible_count,
        excess_db=excess_db(problem, after),
        gain_db=excess_db(problem, before) - excess_db(problem, after),
        level_gain_db=_maximum_dba(problem, before) - _maximum_dba(problem, after),
        background_gain_db=first.background_dba - second.background_dba,
    )


def _masker_step(problem: Problem, choice: tuple[int, ...], plan: Plan) -> Step:
    return Step(
        part="",
        key="masker",
        title=plan.masker.name,
        money=0.0,
        guessed=False,
        audible=plan.outcome.audible_count,
        excess_db=excess_db(problem, choice, plan.spectrum),
        gain_db=excess_db(problem, choice) - excess_db(problem, choice, plan.spectrum),
        level_gain_db=0.0,
        background_gain_db=outcome(problem, choice).background_dba - plan.outcome.background_dba,
    )


def _maximum_dba(problem: Problem, choice: Sequence[int]) -> float:
    """Return the energy mean of the events alone, A-weighted, dB(A); ``nan`` if there are none."""
    if not problem.events.origin.size:
        return float("nan")
    sound, _, _ = left_over(problem, choice)
    left = energy(problem.events.signal_db) * sound[problem.events.origin]
    return float(level(np.mean(left @ A_WEIGHTS)))


def missing(
    problem: Problem, plan: Plan, refused: Sequence[tuple[str, str, tuple[str, ...], FloatArray]]
) -> tuple[Missing, ...]:
    """Return which treatments that there are not would help most, the best first.

    Parameters
    ----------
    problem : Problem
    plan : Plan
        Beside which they are tried.
    refused : sequence of (part, title, reasons, factor)
        Treatments that may not be done; the factor has shape (paths, bands).

    Notes
    -----
    Beside them, each part is tried as if it let nothing through: no treatment can bring more there.
    """
    tried = [(group.key, "", (), np.zeros_like(group.factor[0])) for group in problem.groups] + list(refused)
    found = []
    problem = replace(problem, wish=replace(problem.wish, events_allowed=0))
    now = find_optimum(problem).plan
    every = problem.events.count
    base_db = excess_db(problem, plan.choice, plan.spectrum)
    for part, title, reasons, factor in tried[:MOST_ASKED]:
        place = next(number for number, group in enumerate(problem.groups) if group.key == part)
        extended = _extended(problem, place, factor)
        choice = tuple(
            len(extended.groups[number].options) - 1 if number == place else each
            for number, each in enumerate(plan.choice)
        )
        best = find_optimum(extended).plan
        found.append(
            Missing(
                part=problem.groups[place].title,
                title=title,
                reasons=tuple(reasons),
                audible=every if best is None else best.outcome.audible_count,
                audible_now=every if now is None else now.outcome.audible_count,
                gain_db=base_db - excess_db(extended, choice, plan.spectrum),
            )
        )
    return tuple(sorted(found, key=lambda each: (each.audible, -each.gain_db)))


def _extended(problem: Problem, place: int, factor: FloatArray) -> Problem:
    """Return the problem with one more option of a group, free of charge."""
    groups = list(problem.groups)
    group: PathGroup = groups[place]
    groups[place] = replace(
        group,
        options=(*group.options, Option(treatments=("missing",), titles=("missing",))),
        factor=np.concatenate([group.factor, factor[None]]),
    )
    return replace(problem, groups=tuple(groups))


def audible_whatever(optimum: Optimum) -> tuple[int, ...]:
    """Return the rows of events that stay audible in every plan that keeps all other wishes."""
    problem, plan = optimum.problem, optimum.plan
    if plan is None:
        return tuple(range(problem.events.count))
    if optimum.field is not None:
        return tuple(int(row) for row in np.flatnonzero(~optimum.field.coverable))
    found = []
    for row in np.flatnonzero(plan.outcome.audible)[:MOST_ASKED]:
        alone = replace(
            problem,
            events=problem.events.picked(np.array([row], dtype=np.int64)),
            wish=replace(problem.wish, events_allowed=0),
        )
        if not find_optimum(alone).reached:
            found.append(int(row))
    return tuple(found)
