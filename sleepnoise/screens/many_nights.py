"""Many nights on a terminal: how the work goes on, and what a survey of bedrooms found."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    Task,
    TextColumn,
    TimeRemainingColumn,
)
from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.portfolio.ledger import Outcome
from sleepnoise.portfolio.survey import Survey
from sleepnoise.portfolio.task import NightTask
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.wording.survey_words import SHARED_NOTE, SURVEY_CAUTIONS, survey_sentences, survey_tables
from sleepnoise.wording.tables import Table

HOUR_S = 3600.0
"""Seconds in an hour. Source: definition of the hour."""

MOST_NAMED = 12
"""Bedrooms that are named before the work begins. Chosen: two lines of a terminal."""

SPEED_SPAN_S = 600.0
"""Time over which speed is averaged, s. Chosen: several nights on a slow machine."""


class _NightsAnHour(ProgressColumn):
    """How many nights get done in an hour at the present speed."""

    def render(self, task: Task) -> Text:
        """Return the speed as text."""
        speed = task.finished_speed or task.speed
        return Text("" if speed is None else f"{speed * HOUR_S:.0f} nights/h")


@contextmanager
def nights_progress(total: int) -> Iterator[Callable[[Outcome], None]]:
    """Show how many nights are done, how fast, and how long the rest takes; failures are said at once.

    Parameters
    ----------
    total : int
        Nights in all.

    Yields
    ------
    callable
        To be called with what became of each night.
    """
    screen = Screen(stderr=True)
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        _NightsAnHour(),
        TimeRemainingColumn(),
        console=screen,
        speed_estimate_period=SPEED_SPAN_S,
        disable=not screen.is_terminal,
    )

    with bar:
        task = bar.add_task("Nights", total=total)

        def done(outcome: Outcome) -> None:
            if outcome.state == "failed":
                said = f"{outcome.bedroom}, {outcome.night}: {outcome.complaint} {outcome.remedy}"
                screen.print(Text.assemble(("Failed: ", "bold"), plain(said)), soft_wrap=True)
            bar.advance(task)

        yield done


def show_found(tasks: Iterable[NightTask]) -> None:
    """Print which nights were found, as bedrooms with their number of nights, on standard error."""
    nights = Counter(task.bedroom for task in tasks)
    named = ", ".join(f"{bedroom} ({count})" for bedroom, count in list(nights.items())[:MOST_NAMED])
    more = f" and {len(nights) - MOST_NAMED} more" if len(nights) > MOST_NAMED else ""
    counted = f"{_counted(nights.total(), 'night')} of {_counted(len(nights), 'bedroom')}"
    Screen(stderr=True).print(Text(plain(f"Found: {counted}: {named}{more}.")), soft_wrap=True)


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def show_outcomes(counts: dict[str, int], out: str) -> None:
    """Print how many nights were assessed, were there before, and failed."""
    screen = Screen()
    screen.print(
        Text(
            f"{counts.get('finished', 0)} nights assessed, {counts.get('skipped', 0)} were there already, "
            f"{counts.get('failed', 0)} failed."
        )
    )
    if counts.get("failed"):
        screen.print(
            Text(
                "Mend what failed and run the same again: only that is done. What a file cannot tell, its "
                "start, clock or calibration, goes into a list of nights, or the start into its name: "
                "20260210_230500.wav."
            )
        )
    if counts.get("finished") or counts.get("skipped"):
        screen.print(Text(plain(f"Results: {out}/nights. Next: sleepnoise survey {out}")), soft_wrap=True)


def show_survey(found: Survey) -> None:
    """Print a survey on standard output."""
    screen = Screen()
    for sentence in survey_sentences(found):
        screen.print(Text(plain(sentence)))
    for table in survey_tables(found):
        heading(screen, table.title)
        screen.print(_drawn(table))
    if found.pairs:
        screen.print(Text(SHARED_NOTE))
    heading(screen, "Cautions")
    show_paragraphs(screen, map(Text, SURVEY_CAUTIONS))


def _drawn(table: Table) -> ScreenTable:
    drawn = ScreenTable(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    for column in table.columns:
        drawn.add_column(column.text, justify="right" if column.number else "left")
    for row in table.rows:
        drawn.add_row(*(Text(plain(cell)) for cell in row))
    return drawn
