"""The best plan: every combination where that can be done, a mixed-integer programme beyond.

Best is what costs least, a masker's decibels counted at their worth. Whatever a method proposes is worked
out again by the raw model before it is believed.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.planning.enumeration import Field, Masker, enumerate_plans, masker_spectrum
from sleepnoise.planning.outcome import Outcome, outcome
from sleepnoise.planning.problem import Problem
from sleepnoise.planning.programme import Answer, solve_programme

MOST_COMBINATIONS = 1_000_000
"""Combinations that are enumerated at most. Chosen: their counts for a hundred maskers fill 200 MB."""

MOST_WORK = 300_000_000
"""Combinations times events that are enumerated at most. Chosen: about half a minute on one core."""

TIME_LIMIT_S = 30.0
"""Longest search of the programme. Chosen: as long as a person waits for an answer."""

MOST_REFUSED = 20
"""Answers of the solver that may fail before the raw model. Chosen: none did in hundreds of random cases."""

Method = Literal["enumeration", "programme"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One plan and what the raw model says of it.

    Attributes
    ----------
    choice : tuple of int
        Number of the option of each group.
    masker : Masker
    spectrum : Spectrum or None
        Of the masker.
    outcome : Outcome
    score : float
        Money and the masker's level at its worth.
    method : Method
    proved : bool
        Nothing better exists.
    gap : float
        Part by which something better may exist when that is not proved.
    """

    choice: tuple[int, ...]
    masker: Masker
    spectrum: Spectrum | None
    outcome: Outcome
    score: float
    method: Method
    proved: bool
    gap: float = 0.0

    @property
    def reached(self) -> bool:
        """Whether everything that was asked for is kept."""
        return not self.outcome.unmet


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optimum:
    """The best plan, or the one that leaves fewest events.

    Attributes
    ----------
    problem : Problem
    plan : Plan or None
        ``None`` when alarm or guideline cannot be kept at all.
    reached : bool
        Whether the target is met.
    field : Field or None
        Where every combination was worked out.
    """

    problem: Problem
    plan: Plan | None
    reached: bool
    field: Field | None


def method_for(problem: Problem) -> Method:
    """Return how a problem is solved unless told otherwise."""
    few = problem.combinations <= MOST_COMBINATIONS
    return "enumeration" if few and problem.combinations * problem.events.count <= MOST_WORK else "programme"


def find_optimum(
    problem: Problem,
    method: Method | None = None,
    *,
    time_limit_s: float = TIME_LIMIT_S,
    agreed: bool = False,
) -> Optimum:
    """Find the best plan; where none reaches the target, the cheapest of those that leave fewest events.

    Parameters
    ----------
    problem : Problem
    method : {"enumeration", "programme"}, optional
        By the number of combinations when left out.
    time_limit_s : float, s
        Of the programme.
    agreed : bool
        Ask the programme as well where the enumeration cannot prove its plan.

    Notes
    -----
    A masker shaped to the events, with events that may stay audible, has too many forms to enumerate:
    there the enumeration gives up the most demanding events, and the programme may find something better.
    """
    if (method or method_for(problem)) == "programme":
        return _by_programme(problem, time_limit_s)
    field = enumerate_plans(problem)
    plan = best_of(field, problem.wish.events_allowed)
    reached = plan is not None
    fewest = _fewest(field)
    while plan is None and fewest is not None and fewest <= problem.events.count:
        plan = best_of(field, fewest)
        fewest += 1
    found = Optimum(problem=problem, plan=plan, reached=reached, field=field)
    if agreed and plan is not None and not plan.proved:
        return _better(found, _by_programme(problem, time_limit_s))
    return found


def _better(one: Optimum, other: Optimum) -> Optimum:
    """Return the better of two answers to the same problem, with the field of the first."""
    best = other if _order(other) <= _order(one) else one
    return replace(best, field=one.field)


def _order(found: Optimum) -> tuple[bool, int, float]:
    if found.plan is None:
        return True, found.problem.events.count, np.inf
    return not found.reached, 0 if found.reached else found.plan.outcome.audible_count, found.plan.score


def best_of(field: Field, allowed: int, budget: float | None = None) -> Plan | None:
    """Return the best plan of a field that leaves at most so many events, re-worked by the raw model.

    Parameters
    ----------
    field : Field
    allowed : int
    budget : float, optional
        Instead of that of the problem.
    """
    problem = field.problem
    affordable = field.money <= (problem.wish.budget if budget is None else budget) + 1e-9
    eased = replace(problem.wish, events_allowed=allowed, budget=np.inf)
    checked = replace(problem, wish=eased)
    fits = {number: affordable & field.within(number, allowed) for number in range(len(field.maskers))}
    while candidates := [each for number, fit in fits.items() if (each := _cheapest(field, number, fit))]:
        _, row, number = min(candidates)
        choice = tuple(int(each) for each in field.choices[row])
        plan = planned(checked, choice, field.maskers[number], method="enumeration")
        if plan.reached:
            return replace(plan, outcome=outcome(problem, choice, plan.spectrum))
        # Single precision let it pass by a hair.
        fits[number][row] = False
    return None


def _cheapest(field: Field, number: int, fits: NDArray[np.bool_]) -> tuple[float, int, int] | None:
    """Return score, combination and masker of the cheapest combination that fits."""
    if not fits.any():
        return None
    row = int(np.argmin(np.where(fits, field.money, np.inf)))
    score = field.problem.wish.score(float(field.money[row]), field.maskers[number].level_dba)
    return score, row, number


def planned(
    problem: Problem,
    choice: tuple[int, ...],
    masker: Masker,
    *,
    method: Method,
    spectrum: Spectrum | None = None,
    gap: float = 0.0,
) -> Plan:
    """Return a plan as the raw model sees it."""
    sound = masker_spectrum(problem, choice, masker) if spectrum is None else spectrum
    found = outcome(problem, choice, sound)
    approximate = method == "enumeration" and problem.shaped and problem.wish.events_allowed > 0
    return Plan(
        choice=choice,
        masker=masker if sound is not None else Masker(name="", level_dba=-np.inf),
        spectrum=sound,
        outcome=found,
        score=problem.wish.score(found.money, masker.level_dba),
        method=method,
        proved=gap <= 1e-6 and not approximate,
        gap=gap,
    )


def _fewest(field: Field) -> int | None:
    """Return the smallest attainable number of audible events; ``None`` if other rows cannot be met."""
    affordable = field.money <= field.problem.wish.budget + 1e-9
    least = [
        int(field.audible[fits, number].min())
        for number in range(len(field.maskers))
        if (fits := affordable & field.within(number)).any()
    ]
    return min(least, default=None)


def _by_programme(problem: Problem, time_limit_s: float) -> Optimum:
    plan = _confirmed(problem, time_limit_s)
    if plan is not None and plan.reached:
        return Optimum(problem=problem, plan=plan, reached=True, field=None)
    fewest = _confirmed(problem, time_limit_s, fewest_audible=True)
    if fewest is None:
        return Optimum(problem=problem, plan=None, reached=False, field=None)
    eased = replace(problem.wish, events_allowed=fewest.outcome.audible_count)
    cheapest = _confirmed(replace(problem, wish=eased), time_limit_s)
    best = fewest if cheapest is None or not cheapest.reached else cheapest
    found = outcome(problem, best.choice, best.spectrum)
    proved = best.proved and fewest.proved
    plan = replace(best, outcome=found, proved=proved)
    return Optimum(problem=problem, plan=plan, reached=False, field=None)


def _confirmed(problem: Problem, time_limit_s: float, *, fewest_audible: bool = False) -> Plan | None:
    """Return what the programme finds and the raw model confirms; ``None`` if there is nothing.

    The solver holds its rows to some millionths, which can let a choice pass that just fails. Such an answer
    is refused and the next one asked for.
    """
    refused: list[Answer] = []
    wish = replace(problem.wish, events_allowed=problem.events.count) if fewest_audible else problem.wish
    checked = replace(problem, wish=wish)
    for _ in range(MOST_REFUSED):
        answer = solve_programme(
            problem, fewest_audible=fewest_audible, refused=refused, time_limit_s=time_limit_s
        )
        if answer.choice is None:
            return None
        plan = planned(
            checked,
            answer.choice,
            answer.masker,
            method="programme",
            spectrum=answer.spectrum,
            gap=answer.gap,
        )
        if plan.reached:
            return plan
        refused.append(answer)
    return None
