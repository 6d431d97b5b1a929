"""A bedroom's plan on one screen: what to do, in which order, for what, and how surely."""

from rich.text import Text

from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.screens.terminal import Screen, heading, plain, show_points, show_table
from sleepnoise.wording.either_plan_words import step_note
from sleepnoise.wording.masking_words import alarm_tables, rule_sentences
from sleepnoise.wording.planning_words import (
    certain_rows,
    front_table,
    map_table,
    notes,
    plan_sentences,
    priorities,
    step_table,
)


def show_bedroom_plan(plan: BedroomPlan) -> None:
    """Print a plan on standard output."""
    screen = Screen()
    nights = ", ".join(plan.nights)
    screen.print(Text(plain(f"{plan.study.bedroom.title}: a plan from {nights}"), style="bold"))
    show_points(screen, plan_sentences(plan))
    if plan.steps:
        show_table(screen, step_table(plan))
        screen.print(
            Text(
                "Gain: how far events stand over the target on average. Level: of the events. Background: "
                "what comes in from outside falls too, so that what remains stands out more."
            )
        )
    _show_trade(screen, plan)
    for table in alarm_tables(plan.alarms):
        show_table(screen, table)
    for title, lines in (
        *((("The alarm's rules", tuple(rule_sentences(plan.alarms[0]))),) if plan.alarms else ()),
        ("Surer plans", certain_rows(plan)),
        ("What to look at first", priorities(plan)),
        ("Before anything is done", (*notes(plan), *plan.cautions)),
    ):
        if lines:
            heading(screen, title)
            show_points(screen, lines)


def _show_trade(screen: Screen, plan: BedroomPlan) -> None:
    """Print what can be had for what."""
    short = front_table(plan, whole=False)
    for table in (map_table(plan), short):
        if table.rows:
            show_table(screen, table)
    if any(each.shape for each in plan.front):
        screen.print(Text(step_note(plan.problem.wish.masker_step_db)))
    left = len(plan.front) - len(short.rows)
    if left > 0:
        screen.print(
            Text(
                f"Here: what beats all that is cheaper. {left} more that nothing beats in money, masker and "
                "events at once are in --page and --json."
            )
        )
