"""The terminal: a night in one screen of 80 columns, progress while it is heard, complaints.

Text that comes from users or files is printed as it is, never read as markup, and without
the control characters that would move the cursor or recolour the screen.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import cast

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.dossier.cautions import cautions_of
from sleepnoise.dossier.record import NightRecord
from sleepnoise.errors import SleepNoiseError
from sleepnoise.judgement.guidelines import Verdict, Word
from sleepnoise.profiles.schema import Profile
from sleepnoise.report import plan_table, rounding, tables, verdicts
from sleepnoise.report.sentences import decisions, fault_text, in_short

SHOWN_EVENTS = 5
"""Events in the summary. Chosen: the whole summary then fits a screen; the page has them all."""

WIDEST = 96
"""Columns used at most. Chosen: longer lines of prose are hard to read."""

COLOURS: dict[Word, str] = {
    "exceeded": "bold red",
    "kept": "green",
    "cannot tell": "yellow",
    "shown only": "dim",
}


def plain(text: str) -> str:
    r"""Return text without characters that would act on a terminal instead of being shown.

    Examples
    --------
    >>> plain("a\x1b[31mb\nc")
    'a\\x1b[31mb\\nc'
    """
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii") for sign in text
    )


class Screen(Console):
    """A terminal or what stands in for one; text is printed as it is."""

    def __init__(self, *, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, emoji=False, markup=False)
        self.width = min(self.width, WIDEST)

    def on_broken_pipe(self) -> None:
        """Leave it to the program what a reader that left early means."""
        raise


def show_error(error: SleepNoiseError) -> None:
    """Print a complaint and its remedy on standard error."""
    screen = Screen(stderr=True)
    screen.print(Text.assemble(("Cannot go on: ", "bold"), plain(error.complaint)), soft_wrap=True)
    if error.remedy:
        screen.print(Text.assemble(("What to do: ", "bold"), plain(error.remedy)), soft_wrap=True)


@contextmanager
def progress(name: str, doing: str) -> Iterator[Callable[[float], None]]:
    """Show how far a recording has got; nothing is shown where nobody is watching.

    Parameters
    ----------
    name : str
        Of the recording.
    doing : str
        What is being done to it.

    Yields
    ------
    callable
        To be called with the share done, 0 to 1.
    """
    screen = Screen(stderr=True)
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %", markup=False),
        TimeRemainingColumn(),
        console=screen,
        transient=True,
        disable=not screen.is_terminal,
    )
    with bar:
        task = bar.add_task(f"{doing} {plain(name)}", total=1.0)
        yield lambda share: bar.update(task, completed=share)


def show_night(record: NightRecord) -> None:
    """Print the summary of a night on standard output."""
    screen = Screen()
    screen.print(Text(plain(rounding.night_text(record.assessment)), style="bold"))
    screen.print(Text(plain(record.provenance.inputs[0].name), style="dim"))
    screen.print()
    for sentence in (*in_short(record), fault_text(record), *record.remarks):
        if sentence:
            screen.print(Text(plain(sentence)))
    show_verdicts(screen, record.assessment.verdicts, rounding.unit_text(record.assessment))
    _show_events(screen, record)
    _show_plan(screen, record)
    heading(screen, "Cautions, each in full in report.html")
    show_paragraphs(screen, (Text(plain(_first_sentence(caution))) for caution in cautions_of(record)))
    heading(screen, "What was decided, where it came from, and how to pin it")
    show_paragraphs(screen, (_decision(*parts) for parts in decisions(record)))


def _decision(subject: str, value: str, origin: str, options: str) -> Text:
    pinned = "" if options in origin else f"; pin it with {options}"
    return Text.assemble((f"{subject}: ", "bold"), plain(value), (plain(f" – {origin}{pinned}"), "dim"))


def _first_sentence(text: str) -> str:
    # Sources in brackets have full stops of their own.
    first, stop, _ = re.sub(r" \[[^]]*]", "", text).partition(". ")
    return first + stop.strip()


def show_written(out: str) -> None:
    """Print where the results lie."""
    screen = Screen()
    screen.print()
    written = Text.assemble("Written to ", (plain(out), "bold"), "; start with report.html.")
    screen.print(written, soft_wrap=True)


def show_lines(lines: list[tuple[str, str]]) -> None:
    """Print pairs of a name and what belongs to it, one below the other."""
    screen = Screen()
    width = max(len(name) for name, _ in lines)
    table = ScreenTable.grid(padding=(0, 2))
    table.add_column(no_wrap=True, min_width=min(width, 30))
    table.add_column()
    for name, text in lines:
        table.add_row(Text(plain(name), style="bold"), Text(plain(text)))
    screen.print(table)


def show_profile(profile: Profile) -> None:
    """Print everything that a profile says, key by key, without what it leaves empty."""
    screen = Screen()
    parts = profile.model_dump()
    sources = parts.pop("sources", {})
    for line in _outline({**parts, "sources": sources}, ""):
        screen.print(line, soft_wrap=True)


def _outline(part: object, margin: str) -> Iterator[Text]:
    """Yield a nested value as lines, each part further in than what it belongs to."""
    pairs = part.items() if isinstance(part, dict) else enumerate(cast("Sequence[object]", part), start=1)
    for key, value in pairs:
        if value in (None, "", (), [], {}):
            continue
        name = (f"{margin}{key}: ", "bold")
        if isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict)):
            yield Text.assemble(name)
            yield from _outline(value, f"{margin}  ")
        else:
            shown = " to ".join(value) if isinstance(value, tuple) else value
            yield Text.assemble(name, plain(f"{shown:g}" if isinstance(shown, float) else str(shown)))


def show_text(text: str) -> None:
    """Print one line as it is."""
    Screen().print(Text(plain(text)), soft_wrap=True)


def heading(screen: Screen, text: str) -> None:
    """Print a line that stands over what follows."""
    screen.print()
    screen.print(Text(text, style="bold"))


def show_paragraphs(screen: Screen, paragraphs: Iterable[Text]) -> None:
    """Print paragraphs that hang from dashes."""
    table = ScreenTable.grid(padding=(0, 1))
    for paragraph in paragraphs:
        table.add_row("–", paragraph)
    screen.print(table)


def show_verdicts(screen: Screen, given: Iterable[Verdict], unit: str) -> None:
    """Print every verdict that says more than the value itself, by document."""
    heading(screen, f"Guideline values, {unit}")
    table = ScreenTable(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("", no_wrap=True)
    table.add_column("Value", overflow="fold")
    for name in ("Allowed", "Measured", "±"):
        table.add_column(name, justify="right", no_wrap=True)
    judged = [verdict for verdict in given if verdict.word != "shown only"]
    for group in verdicts.verdict_groups(judged):
        table.add_row("", Text(plain(group.guideline), style="italic"))
        for row in group.rows:
            doubt = f" ({row.doubt})" if row.doubt else ""
            word = Text(f"{row.mark} {row.word}", style=COLOURS[row.word])
            uncertainty = row.uncertainty.removeprefix("±")
            table.add_row(word, Text(plain(row.criterion + doubt)), row.allowed, row.measured, uncertainty)
    screen.print(table)


def _show_events(screen: Screen, record: NightRecord) -> None:
    night = record.assessment
    if not night.events:
        return
    shown = tables.loudest_events(night.events, SHOWN_EVENTS)
    heading(screen, f"Loudest of {len(night.events)} events, {rounding.unit_text(night)}")
    listed = tables.event_table("", shown, night.window.zone)
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    # Without remarks and the background before each event, the rest fits 80 columns.
    kept = range(len(listed.columns) - 2)
    for place in kept:
        head = listed.columns[place]
        table.add_column(head.text, justify="right" if head.number else "left", no_wrap=True)
    for row in listed.rows:
        table.add_row(*(Text(plain(row[place])) for place in kept))
    screen.print(table)


def _show_plan(screen: Screen, record: NightRecord) -> None:
    plan = record.plan
    if not plan.events:
        return
    heading(screen, "First plan: the quietest masker that reaches the target")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Isolation step", overflow="fold")
    table.add_column("Masker", overflow="fold")
    table.add_column("Still audible", justify="right", no_wrap=True)
    for row in plan_table.best_rows(plan):
        table.add_row(*(Text(plain(cell)) for cell in row))
    screen.print(table)
