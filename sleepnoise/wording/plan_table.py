"""The first plan as a table: isolation steps down, masker shapes across."""

import math
from dataclasses import dataclass

from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.planning.first_plan import FirstPlan, MaskerChoice
from sleepnoise.wording.masking_words import shape_text
from sleepnoise.wording.rounding import DOUBTS, level_text


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCell:
    """What one masker shape does behind one isolation step."""

    text: str
    detail: str
    reachable: bool
    best: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """One isolation step with every masker shape."""

    step: str
    source: str
    doubt: str
    cells: tuple[PlanCell, ...]


AUDIBLE_HEAD = "Still audible with it"
"""Head of the count beside a masker. The room as it is has its own count, said before the table."""


def plan_shapes(plan: FirstPlan) -> tuple[str, ...]:
    """Return the masker shapes of a plan, each once."""
    return tuple(dict.fromkeys(shape_text(choice.shape) for choice in plan.choices))


def plan_rows(plan: FirstPlan) -> tuple[PlanRow, ...]:
    """Return the plan, one isolation step a row, one masker shape a cell."""
    # A step behind which no masker helps at all has no best one.
    helping = (choice for choice in plan.best if choice.reachable or choice.audible_events < plan.audible_now)
    best = {(choice.step.key, choice.shape) for choice in helping}
    steps = {choice.step.key: choice.step for choice in plan.choices}
    return tuple(
        PlanRow(
            step=step.title,
            source=_step_source(step),
            doubt=DOUBTS.get(step.source.how_known, ""),
            cells=tuple(
                _plan_cell(choice, plan, (key, choice.shape) in best)
                for choice in plan.choices
                if choice.step.key == key
            ),
        )
        for key, step in steps.items()
    )


def step_cautions(plan: FirstPlan) -> tuple[tuple[str, str], ...]:
    """Return every caution of the isolation steps once, with the steps that it is for."""
    steps: dict[str, list[str]] = {}
    for step in {choice.step.key: choice.step for choice in plan.choices}.values():
        for caution in step.cautions:
            steps.setdefault(caution, []).append(step.title)
    return tuple((caution, "; ".join(titles)) for caution, titles in steps.items())


def best_rows(plan: FirstPlan) -> tuple[tuple[str, str, str], ...]:
    """Return for each isolation step its title, its best masker and how many events stay audible with it."""
    return tuple(
        (_step_title(choice.step), _masker_words(choice), f"{choice.audible_events} of {plan.events}")
        for choice in plan.best
    )


def _step_title(step: IsolationStep) -> str:
    doubt = DOUBTS.get(step.source.how_known)
    return f"{step.title} ({doubt})" if doubt else step.title


def _masker_words(choice: MaskerChoice) -> str:
    said = masker_text(choice)
    if math.isinf(choice.level_dba):
        return said if choice.reachable else f"{said}, no masker helps"
    if not choice.reachable:
        # What is counted as audible is what this masker leaves, not the room without one.
        return f"{said}; closest: {shape_text(choice.shape)}, {level_text(choice.level_dba, 0)} dB(A)"
    return f"{shape_text(choice.shape)}, {said}"


def _step_source(step: IsolationStep) -> str:
    spread = f"; published values differ by {step.spread_db:g} dB" if step.spread_db else ""
    return f"{step.source.document}, {step.source.place}{spread}"


def masker_text(choice: MaskerChoice) -> str:
    """Return what a choice asks for: ``"no masker"``, a level, or that the target is out of reach."""
    if not choice.reachable:
        return "not reachable"
    if math.isinf(choice.level_dba):
        return "no masker needed"
    return f"{level_text(choice.level_dba, 0)} dB(A)"


def _plan_cell(choice: MaskerChoice, plan: FirstPlan, best: bool) -> PlanCell:
    left = f"{choice.audible_events} of {plan.events} audible"
    if not choice.reachable:
        at = (
            "without masker"
            if math.isinf(choice.level_dba)
            else f"at {level_text(choice.level_dba, 0)} dB(A)"
        )
        left = f"{left} {at}"
    return PlanCell(text=masker_text(choice), detail=left, reachable=choice.reachable, best=best)


def helpful_rows(plan: FirstPlan, count: int) -> tuple[tuple[str, str, str], ...]:
    """Return the row of the room as it is, and those of the steps that help most, as ``best_rows``.

    Steps that reach the target come first, those with the quietest masker before others; then
    those that leave fewest events audible.
    """
    rows = best_rows(plan)
    order = sorted(
        range(1, len(rows)),
        key=lambda place: (
            not plan.best[place].reachable,
            plan.best[place].level_dba if plan.best[place].reachable else plan.best[place].audible_events,
        ),
    )
    return (rows[0], *(rows[place] for place in sorted(order[:count])))
