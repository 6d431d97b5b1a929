"""A bedroom's plan in words and tables, the same on every screen and page."""

import math
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from sleepnoise.isolation.advice import SMALLEST_GAIN_DB
from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.planning.optimum import Plan
from sleepnoise.planning.outcome import as_it_is
from sleepnoise.planning.robustness import Doubt
from sleepnoise.planning.tradeoff import FrontPoint, Missing, Step
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
from sleepnoise.wording.rounding import level_text, signed_text
from sleepnoise.wording.tables import Table, plain_column

DOUBT_WORDS: dict[Doubt, str] = {
    "paths": "how the paths share the sound",
    "treatments": "what the treatments bring here",
    "origins": "which side the sounds come from",
    "levels": "the measured levels",
    "model": "what can be heard",
    "nights": "what other nights are like",
}
"""Doubts for people."""

NAMED_EVENTS = 8
"""Events that are named in a sentence. Chosen: more are not read."""

LISTED = 5
"""Lines of a list of priorities. Chosen: what can be followed up."""


def plan_sentences(plan: BedroomPlan) -> tuple[str, ...]:
    """Return what matters most, in sentences."""
    best = plan.optimum.plan
    return (
        target_sentence(plan.problem.wish, plan.problem.events.count, plan.problem.listener),
        *limit_sentences(plan.limits),
        _now(plan),
        *(
            (_no_plan(plan),)
            if best is None
            else (_verdict(plan, best), _doing(plan, best), *_instead(plan, best), _proof(plan, best))
        ),
        *_alternatives(plan),
        *_certainty(plan),
    )


def money_text(plan: BedroomPlan, money: float, guessed: bool = False) -> str:
    """Return an amount with its currency; a guessed one reads *about*."""
    if money == 0.0:
        return "nothing"
    currency = f" {plan.study.bedroom.currency}" if plan.study.bedroom.currency else ""
    return f"{'about ' if guessed else ''}{money:.0f}{currency}"


def masker_words(best: Plan) -> str:
    """Return a plan's masker: its shape and level at the pillow."""
    if best.spectrum is None:
        return "no masker"
    return f"a masker of {level_text(best.outcome.masker_dba)} dB(A), {shape_text(best.masker.name)}"


def step_table(plan: BedroomPlan) -> Table:
    """Return the steps of a plan in order; each gain is what that step adds after those above it."""
    columns = (
        plain_column("Step"),
        plain_column("Money", number=True),
        plain_column("Gain, dB", number=True),
        plain_column("Level, dB", number=True),
        plain_column("Backgr., dB", number=True),
        plain_column("dB for 100", number=True),
        plain_column("Audible", number=True),
    )
    return Table(title="In this order", columns=columns, rows=tuple(_step_row(each) for each in plan.steps))


def front_table(plan: BedroomPlan, *, whole: bool = True) -> Table:
    """Return the plans that no other one beats, by money.

    Parameters
    ----------
    whole : bool, optional
        False for a screen: only those that leave fewer events audible than all cheaper ones, or as few with
        a masker that is quieter.
    """
    columns = (
        plain_column("Money", number=True),
        plain_column("Masker, dB(A)", number=True),
        plain_column("Audible", number=True),
        plain_column("What is done"),
    )
    points = plan.front if whole else tuple(_better_than_cheaper(plan.front))
    rows = tuple(_front_row(plan, point) for point in points)
    return Table(title="What can be had for what", columns=columns, rows=rows)


def _better_than_cheaper(front: Sequence[FrontPoint]) -> Iterator[FrontPoint]:
    """Yield the best point of each price, if it beats every cheaper one."""
    best = (math.inf, math.inf)
    for _, priced in groupby(sorted(front, key=lambda each: each.money), key=lambda each: each.money):
        point = min(priced, key=lambda each: (each.audible, each.level_dba))
        if (point.audible, point.level_dba) < best:
            best = (point.audible, point.level_dba)
            yield point


def map_table(plan: BedroomPlan) -> Table:
    """Return audible events by money and masker; empty where not every combination was worked out."""
    if plan.map is None:
        return Table(title="", columns=(plain_column("Money"),), rows=())
    heads = [_masker_head(each) for each in plan.map.levels_dba]
    columns = (plain_column("Money up to", number=True), *(plain_column(head, number=True) for head in heads))
    rows = tuple(
        (f"{money:.0f}", *map(str, counts))
        for money, counts in zip(plan.map.money, plan.map.audible, strict=True)
    )
    return Table(title="Audible events by money and masker, dB(A)", columns=columns, rows=rows)


def certain_rows(plan: BedroomPlan) -> tuple[str, ...]:
    """Return what a surer plan would take, one sentence for each certainty asked for."""
    rows = []
    for each in plan.certain:
        asked = f"With {100.0 * each.certainty:.0f} % certainty"
        if each.plan is None:
            rows.append(f"{asked}: none was found; the surest comes to {100.0 * each.probability:.0f} %.")
        else:
            rows.append(
                f"{asked}: {treatments_text(plan, each.plan)}; {masker_words(each.plan)}; "
                f"{_cost(plan, each.plan)} ({100.0 * each.probability:.0f} %, target tightened by "
                f"{each.tightened_db:g} dB)."
            )
    return tuple(rows)


def priorities(plan: BedroomPlan) -> tuple[str, ...]:
    """Return what a consultant should look at first, most important first."""
    lines = [_missing_text(each) for each in plan.missing if _helps(each)][:LISTED]
    if plan.certainty is not None and plan.certainty.doubts:
        settle = [each for each in plan.certainty.doubts if each.share >= 0.05]
        lines += [
            f"{100.0 * each.share:.0f} % of the doubt is {DOUBT_WORDS[each.doubt]}. What settles it: "
            f"{each.settled_by}."
            for each in settle
        ]
    return tuple(lines)


def treatments_text(plan: BedroomPlan, best: Plan) -> str:
    """Return what is done, part by part."""
    return _choice_text(plan, best.choice)


def notes(plan: BedroomPlan) -> tuple[str, ...]:
    """Return what has to be seen to before the plan's treatments."""
    best = plan.optimum.plan
    if best is None:
        return ()
    options = [group.options[number] for group, number in zip(plan.problem.groups, best.choice, strict=True)]
    return tuple(dict.fromkeys(note for option in options for note in option.notes))


def _now(plan: BedroomPlan) -> str:
    unknown = int((plan.problem.events.origin == len(plan.problem.origins) - 1).sum())
    said = comes_in_sentence(((each.title, each.share) for each in plan.parts[:LISTED]), unknown)
    return said or "There are no events to plan for."


def _no_plan(plan: BedroomPlan) -> str:
    wish = plan.problem.wish
    limits = [
        f"{symbol} {limit:g} dB(A)"
        for symbol, limit in (("LAeq", wish.laeq_limit_dba), ("LAFmax", wish.lafmax_limit_dba))
        if math.isfinite(limit)
    ]
    if math.isfinite(wish.alarm_floor_dba):
        limits.append(f"a smoke alarm of {wish.alarm_floor_dba:g} dB(A) at the pillow")
    kept = f" keeps {' and '.join(limits)}" if limits else " can be had"
    money = " for that budget" if math.isfinite(wish.budget) else ""
    return (
        f"No combination of what may be used{kept}{money}. Ask for less there, or answer what the room file "
        "leaves open: 'paths' lists what that forbids."
    )


def _verdict(plan: BedroomPlan, best: Plan) -> str:
    count, events = best.outcome.audible_count, plan.problem.events.count
    if plan.optimum.reached:
        return f"The target can be reached: {count} of {events} events stay audible{_named(plan, best)}."
    named = ", ".join(plan.whatever[:NAMED_EVENTS]) + (" …" if len(plan.whatever) > NAMED_EVENTS else "")
    always = f" Audible whatever is done: {named}." if plan.whatever else ""
    return (
        f"The target cannot be reached: at least {count} of {events} events stay audible"
        f"{_named(plan, best)}. Shown is the best plan that leaves no more.{always}"
    )


def _named(plan: BedroomPlan, best: Plan) -> str:
    """Return which events stay audible, and how far over the target."""
    over_db = best.outcome.margins_db - plan.problem.wish.margin_db
    rows = np.flatnonzero(best.outcome.audible)
    loudest = rows[np.argsort(-over_db[rows], kind="stable")][:NAMED_EVENTS]
    named = ", ".join(
        f"{plan.problem.events.names[row]} ({signed_text(float(over_db[row]))} dB)" for row in loudest
    )
    return f": {named}{' …' if rows.size > NAMED_EVENTS else ''}" if rows.size else ""


def _doing(plan: BedroomPlan, best: Plan) -> str:
    found, now = best.outcome, as_it_is(plan.problem)
    after = afterwards_sentences(found.laeq_dba, found.background_dba, (now.laeq_dba, now.background_dba))
    what = f"Plan: {treatments_text(plan, best)}; {masker_words(best)}; {_cost(plan, best)}."
    return " ".join((what, *after))


def _instead(plan: BedroomPlan, best: Plan) -> Iterator[str]:
    """Yield what isolation could do where a masker alone is proposed."""
    chosen = zip(plan.problem.groups, best.choice, strict=True)
    if best.spectrum is None or any(group.options[number].treatments for group, number in chosen):
        return
    wish = plan.problem.wish
    others = (
        OtherPlan(
            money=point.money,
            cost=money_text(plan, point.money, _guessed(plan, point.choice)),
            level_dba=point.level_dba,
            audible=point.audible,
            done=_choice_text(plan, point.choice, ""),
        )
        for point in plan.front
        if point.money <= wish.budget
    )
    enough = max(best.outcome.audible_count, wish.events_allowed)
    said = isolation_first(others, best.outcome.masker_dba, enough=enough, events=plan.problem.events.count)
    if said:
        yield said


def _proof(plan: BedroomPlan, best: Plan) -> str:
    ways = f"{plan.problem.combinations} combinations"
    if not best.proved:
        by = f" by {100.0 * best.gap:.0f} %" if 0.0 < best.gap < 1.0 else ""
        return f"Best of what was found among {ways}; a better plan{by} is not ruled out."
    how = "each worked out" if best.method == "enumeration" else "by a mixed-integer programme"
    return f"Of {ways} with every masker none is better ({how}); the plain model confirms the plan."


def _alternatives(plan: BedroomPlan) -> tuple[str, ...]:
    lines = []
    for name, other in (("Isolation alone", plan.isolation_only), (_masking_name(plan), plan.masking_only)):
        if other is not None:
            lines.append(f"{name}: {_short(plan, other)}.")
    best = plan.optimum.plan
    if best is not None and plan.optimum.reached and plan.eased is not None:
        saved = best.outcome.money - plan.eased.outcome.money
        lines.append(
            f"The last 5 dB of the target: 5 dB less of it {_short(plan, plan.eased)}. They cost "
            f"{money_text(plan, max(saved, 0.0))} more, and {_louder(best, plan.eased)}."
        )
    return tuple(lines)


def _masking_name(plan: BedroomPlan) -> str:
    required = any(group.options[0].treatments for group in plan.problem.groups)
    return "A masker beside what is required alone" if required else "A masker alone"


def _louder(best: Plan, other: Plan) -> str:
    if best.spectrum is None or other.spectrum is None:
        return "no masker" if best.spectrum is None else "the masker itself"
    difference = best.outcome.masker_dba - other.outcome.masker_dba
    return f"{signed_text(difference)} dB of masker"


def _short(plan: BedroomPlan, other: Plan) -> str:
    masker = (
        "no masker" if other.spectrum is None else f"masker {level_text(other.outcome.masker_dba, 0)} dB(A)"
    )
    events = plan.problem.events.count
    missed = "" if other.reached else "misses the target: "
    if not other.reached and other.outcome.audible_count == events:
        return f"{missed}all {events} events stay audible"
    return f"{missed}{_cost(plan, other)}, {masker}, {other.outcome.audible_count} of {events} audible"


def _certainty(plan: BedroomPlan) -> tuple[str, ...]:
    sure = plan.certainty
    if sure is None or not plan.problem.events.count:
        return ()
    return (certainty_sentence(sure),)


def _cost(plan: BedroomPlan, best: Plan) -> str:
    return f"costs {money_text(plan, best.outcome.money, _guessed(plan, best.choice))}"


def _guessed(plan: BedroomPlan, choice: tuple[int, ...]) -> bool:
    chosen = zip(plan.problem.groups, choice, strict=True)
    return any(group.options[number].guessed for group, number in chosen)


def _choice_text(plan: BedroomPlan, choice: tuple[int, ...], nothing: str = "no treatment") -> str:
    done = [
        f"{group.title}: {' + '.join(option.titles)}"
        for group, number in zip(plan.problem.groups, choice, strict=True)
        if (option := group.options[number]).titles
    ]
    return "; ".join(done) if done else nothing


def _step_row(step: Step) -> tuple[str, ...]:
    gain = step.gain_per_money_db
    return (
        f"{step.title} – {step.part}" if step.part else f"masker, {step.title}",
        f"{'~ ' if step.guessed else ''}{step.money:.0f}",
        level_text(step.gain_db),
        level_text(step.level_gain_db),
        signed_text(-step.background_gain_db),
        "" if gain is None else level_text(100.0 * gain),
        str(step.audible),
    )


def _front_row(plan: BedroomPlan, point: FrontPoint) -> tuple[str, ...]:
    masker = "none" if point.shape == "" else f"{point.level_dba:.0f} {shape_text(point.shape)}"
    return f"{point.money:.0f}", masker, str(point.audible), _choice_text(plan, point.choice)


def _masker_head(level_dba: float) -> str:
    return "none" if math.isinf(level_dba) else f"{level_dba:.0f}"


def _helps(each: Missing) -> bool:
    return each.audible < each.audible_now or each.gain_db >= SMALLEST_GAIN_DB


def _missing_text(each: Missing) -> str:
    what = f"{each.title} at {each.part}" if each.title else f"Closing {each.part} off entirely"
    why = f" Open: {'; '.join(each.reasons)}." if each.reasons else ""
    fewer = f"could leave {each.audible} instead of {each.audible_now} audible at the least"
    gain = f"takes {level_text(max(each.gain_db, 0.0))} dB more off the events' excess on average"
    return f"{what} {fewer if each.audible < each.audible_now else gain}.{why}"
