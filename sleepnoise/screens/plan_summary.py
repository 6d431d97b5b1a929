"""A bedroom's plan on one screen: what to do, in which order, for what, and how surely."""

from collections.abc import Iterable

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.wording.planning_words import (
    certain_rows,
    front_table,
    map_table,
    notes,
    plan_sentences,
    priorities,
    step_table,
)
from sleepnoise.wording.tables import Table


def show_bedroom_plan(plan: BedroomPlan) -> None:
    """Print a plan on standard output."""
    screen = Screen()
    nights = ", ".join(plan.nights)
    screen.print(Text(plain(f"{plan.study.bedroom.title}: a plan from {nights}"), style="bold"))
    _paragraphs(screen, plan_sentences(plan))
    if plan.steps:
        _table(screen, step_table(plan))
        screen.print(
            Text(
                "Gain: how far events stand over the target on average. Level: of the events. Background: "
                "what comes in from outside falls too, so that what remains stands out more."
            )
        )
    for table in (map_table(plan), front_table(plan)):
        if table.rows:
            _table(screen, table)
    for title, lines in (
        ("Surer plans", certain_rows(plan)),
        ("What to look at first", priorities(plan)),
        ("Before anything is done", (*notes(plan), *plan.cautions)),
    ):
        if lines:
            heading(screen, title)
            _paragraphs(screen, lines)


def _paragraphs(screen: Screen, lines: Iterable[str]) -> None:
    show_paragraphs(screen, (Text(plain(line)) for line in lines))


def _table(screen: Screen, table: Table) -> None:
    heading(screen, table.title)
    shown = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for column in table.columns:
        shown.add_column(
            column.text, justify="right" if column.number else "left", overflow="fold", no_wrap=column.number
        )
    for row in table.rows:
        shown.add_row(*(Text(plain(cell)) for cell in row))
    screen.print(shown)
