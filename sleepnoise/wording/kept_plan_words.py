"""A plan's document in sentences and tables, for pages."""

import math
from collections.abc import Sequence

from sleepnoise.dossier.plan_summary import (
    FrontPlan,
    PlannedTreatment,
    PlanSummary,
    SummedMissing,
    SummedPlan,
    SummedStep,
)
from sleepnoise.isolation.advice import SMALLEST_GAIN_DB
from sleepnoise.planning.planned_events import UNKNOWN
from sleepnoise.wording.either_plan_words import (
    OtherPlan,
    afterwards_sentences,
    certainty_sentence,
    comes_in_sentence,
    isolation_first,
    limit_sentences,
    target_sentence,
)
from sleepnoise.wording.masking_words import shape_text
from sleepnoise.wording.planning_words import DOUBT_WORDS, LISTED, NAMED_EVENTS
from sleepnoise.wording.rounding import level_text, number_text, signed_text
from sleepnoise.wording.tables import Table, plain_column

SETTLED_FROM = 0.05
"""Share of the doubt from which on it is named. Chosen: less does not pay to be settled."""


LEAST_DB, LEAST_MONEY = 1e-6, 1e-6
"""Differences that are none. Chosen: above the rounding of sums, below any setting."""

OLDER_STEP_DB = 1.0
"""Spacing of masker levels in documents that do not tell it. Chosen: the default of planning."""


def plan_verdict(plan: PlanSummary) -> str:
    """Return whether the target can be reached, in one sentence."""
    best = plan.plan
    if not plan.events:
        return "There are no events to plan for."
    if best is None:
        return "No plan keeps what was asked of alarm, LAeq or LAFmax, whatever is done."
    count = f"{best.audible} of {len(plan.events)} events stay audible"
    if plan.reached:
        return f"The target can be reached: {count}."
    missed = ", ".join(best.not_kept)
    return f"The target cannot be reached: at the least {count} (missed: {missed})."


def kept_plan_sentences(plan: PlanSummary) -> tuple[str, ...]:
    """Return what matters most, in sentences."""
    best = plan.plan
    return tuple(
        filter(
            None,
            (
                target_sentence(plan.wish, len(plan.events), plan.listener),
                *limit_sentences(plan.limits),
                _parts(plan),
                plan_verdict(plan),
                "" if best is None else _doing(plan, best),
                "" if best is None else _instead(plan, best),
                "" if best is None else _alarm(best),
                *_alternatives(plan),
                _certainty(plan),
                _whatever(plan),
            ),
        )
    )


def chosen_text(plan: PlanSummary) -> str:
    """Return the chosen plan in a few words."""
    best = plan.plan
    return "" if best is None else f"{_money(plan, best)}, {_masker(best)}, {best.audible} audible"


def level_head(level_dba: float) -> str:
    """Return a masker's level for a column; no masker reads *none*."""
    return "none" if math.isinf(level_dba) else level_text(level_dba, 0)


def treatments_words(treatments: Sequence[PlannedTreatment]) -> str:
    """Return what is done, part by part; keys where a document has no titles."""
    done = [
        f"{each.part_title or each.part}: {' + '.join(each.titles or each.treatments)}" for each in treatments
    ]
    return "; ".join(done) if done else "no treatment"


def kept_step_table(plan: PlanSummary) -> Table:
    """Return the steps of a plan in order; each gain is what that step adds after those above it."""
    columns = (
        plain_column("Step, in this order"),
        *(plain_column(head, number=True)
          for head in ("Money", "Gain, dB", "Level, dB", "Background, dB", "Still audible")),
    )  # fmt: skip
    return Table(title="What to do, in this order", columns=columns, rows=tuple(map(_step_row, plan.steps)))


STEP_NOTE = (
    "Gain: how far events stand over the target on average. Level: of the events. Background: what comes in "
    "from outside falls too, so that what remains stands out more. ~ is only an order of magnitude."
)
"""What the columns of steps mean."""


def _step_row(step: SummedStep) -> tuple[str, ...]:
    return (
        f"{step.title} – {step.part}" if step.part else f"masker, {shape_text(step.title)}",
        f"{'~ ' if step.guessed else ''}{step.money:.0f}",
        level_text(step.gain_db),
        level_text(step.level_gain_db),
        signed_text(-step.background_gain_db),
        str(step.audible),
    )


def kept_front_table(plan: PlanSummary) -> Table:
    """Return the plans that no other one beats, by money."""
    columns = (
        *(plain_column(head, number=True) for head in ("Money", "Masker, dB(A)", "Still audible")),
        plain_column("What is done"), plain_column("Chosen"),
    )  # fmt: skip
    rows = tuple(_front_row(plan, point) for point in plan.front)
    return Table(title="Plans that no other one beats", columns=columns, rows=rows)


def _front_row(plan: PlanSummary, point: FrontPlan) -> tuple[str, ...]:
    masker = "none" if point.masker is None else f"{level_head(point.masker_dba)} {shape_text(point.masker)}"
    return (
        f"{point.money:.0f}",
        masker,
        str(point.audible),
        treatments_words(point.treatments),
        "chosen" if is_chosen(plan, point) else "",
    )


def is_chosen(plan: PlanSummary, point: FrontPlan) -> bool:
    """Return whether a plan of the front is the chosen one."""
    best = plan.plan
    if best is None:
        return False
    # A row has the step up to which its masker may go; a shaped one is then only as loud as it needs to be.
    step_db = plan.wish.masker_step_db or OLDER_STEP_DB
    over_db = point.masker_dba - best.masker_dba
    same_masker = point.masker_dba == best.masker_dba or -LEAST_DB < over_db < step_db - LEAST_DB
    return abs(point.money - best.money) < LEAST_MONEY and same_masker and point.audible == best.audible


def kept_map_table(plan: PlanSummary) -> Table:
    """Return audible events by money and masker; empty where not every combination was worked out."""
    if plan.map is None:
        return Table(title="", columns=(plain_column("Money"),), rows=())
    heads = [level_head(each) for each in plan.map.levels_dba]
    columns = (plain_column("Money up to", number=True), *(plain_column(head, number=True) for head in heads))
    rows = tuple(
        (f"{money:.0f}", *map(str, counts))
        for money, counts in zip(plan.map.money, plan.map.audible, strict=True)
    )
    return Table(title="Audible events by money and loudest masker, dB(A)", columns=columns, rows=rows)


def event_table_of(plan: PlanSummary) -> Table:
    """Return how far each event stands over the limit of hearing behind the plan."""
    columns = (
        plain_column("Event"), plain_column("From"), plain_column("Over the limit, dB", number=True),
        plain_column("Then"),
    )  # fmt: skip
    words = {True: "audible", False: "below the target", None: "not known"}
    rows = tuple(
        (each.event, each.side, number_text(each.margin_db, 1), words[each.audible]) for each in plan.events
    )
    return Table(title="Every event behind the plan", columns=columns, rows=rows)


def kept_priorities(plan: PlanSummary) -> tuple[str, ...]:
    """Return what a consultant should look at first, most important first."""
    lines = [_missing_text(each) for each in plan.missing if _helps(each)][:LISTED]
    for doubt in plan.certainty.doubts if plan.certainty else ():
        if doubt.share >= SETTLED_FROM:
            lines.append(
                f"{100.0 * doubt.share:.0f} % of the doubt is {_doubt_words(doubt.doubt)}. What "
                f"settles it: {doubt.settled_by}."
            )
    return tuple(lines)


def _helps(each: SummedMissing) -> bool:
    return each.audible < each.audible_now or each.gain_db >= SMALLEST_GAIN_DB


def _missing_text(each: SummedMissing) -> str:
    what = f"{each.title} at {each.part}" if each.title else f"Closing {each.part} off entirely"
    why = f" Open: {'; '.join(each.reasons)}." if each.reasons else ""
    if each.audible < each.audible_now:
        return f"{what} could leave {each.audible} instead of {each.audible_now} audible at the least.{why}"
    return f"{what} takes {level_text(max(each.gain_db, 0.0))} dB more off the events' excess.{why}"


def _parts(plan: PlanSummary) -> str:
    guessed = sum(each.side == UNKNOWN for each in plan.events)
    return comes_in_sentence(((each.title, each.share) for each in plan.comes_in_by[:LISTED]), guessed)


def _doing(plan: PlanSummary, best: SummedPlan) -> str:
    sure = "no other plan is better" if best.proved else "a better one is not ruled out"
    now = None if plan.as_it_is is None else (plan.as_it_is.laeq, plan.as_it_is.background_dba)
    what = f"Plan: {treatments_words(best.treatments)}; {_masker(best)}; costs {_money(plan, best)} ({sure})."
    return " ".join((what, *afterwards_sentences(best.laeq, best.background_dba, now)))


def _instead(plan: PlanSummary, best: SummedPlan) -> str:
    """Return what isolation could do where a masker alone is proposed."""
    if best.masker is None or best.treatments:
        return ""
    others = (
        OtherPlan(
            money=point.money,
            cost=_price(plan, point.money, point.treatments),
            level_dba=point.masker_dba,
            audible=point.audible,
            done=treatments_words(point.treatments) if point.treatments else "",
        )
        for point in plan.front
        if point.money <= plan.wish.budget
    )
    enough = max(best.audible, plan.wish.events_allowed)
    return isolation_first(others, best.masker_dba, enough=enough, events=len(plan.events))


def _alarm(best: SummedPlan) -> str:
    if math.isnan(best.alarm_dba):
        return "How loud the smoke alarm is at the pillow is not known: test it after every step."
    return (
        f"The smoke alarm would come to {level_text(best.alarm_dba, 0)} dB(A) at the pillow: test it after "
        "every step."
    )


def _money(plan: PlanSummary, best: SummedPlan) -> str:
    return _price(plan, best.money, best.treatments)


def _price(plan: PlanSummary, money: float, treatments: Sequence[PlannedTreatment]) -> str:
    if money == 0.0:
        return "nothing"
    guessed = "about " if any(each.guessed for each in treatments) else ""
    return f"{guessed}{money:.0f}{f' {plan.currency}' if plan.currency else ''}"


def _masker(best: SummedPlan) -> str:
    if best.masker is None:
        return "no masker"
    return f"a masker of {level_text(best.masker_dba)} dB(A), {shape_text(best.masker)}"


def _alternatives(plan: PlanSummary) -> list[str]:
    named = (
        ("Isolation alone", plan.isolation_only),
        ("A masker alone", plan.masking_only),
        ("For a target that is 5 dB wider", plan.eased),
    )
    return [f"{name}: {_short(plan, other)}." for name, other in named if other is not None]


def _short(plan: PlanSummary, other: SummedPlan) -> str:
    missed = "misses what was asked: " if other.not_kept else ""
    left = f"{other.audible} of {len(plan.events)} audible"
    return f"{missed}costs {_money(plan, other)}, {_masker(other)}, {left}"


def _certainty(plan: PlanSummary) -> str:
    sure = plan.certainty
    if sure is None or not plan.events:
        return ""
    return certainty_sentence(sure)


def _whatever(plan: PlanSummary) -> str:
    if not plan.whatever:
        return ""
    named = ", ".join(plan.whatever[:NAMED_EVENTS]) + (" …" if len(plan.whatever) > NAMED_EVENTS else "")
    return f"Audible whatever is done: {named}."


def _doubt_words(name: str) -> str:
    return next((text for known, text in DOUBT_WORDS.items() if known == name), name)
