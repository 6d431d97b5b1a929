"""A night in one screen of 80 columns: levels, verdicts, loudest events, the first plan."""

import re
from collections.abc import Iterable

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.assessing.cautions import cautions_of
from sleepnoise.assessing.record import NightRecord
from sleepnoise.judgement.guidelines import Verdict, Word
from sleepnoise.screens.night_line import night_line
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.wording import plan_table, rounding, tables, verdicts
from sleepnoise.wording.sentences import decisions, fault_text, files_text, in_short
from sleepnoise.wording.sound_words import sounds_in_short

SHOWN_STEPS = 5
"""Isolation steps in the summary. Chosen: those that help most; the page has them all."""

SHOWN_EVENTS = 5
"""Events in the summary. Chosen: the whole summary then fits a screen; the page has them all."""

COLOURS: dict[Word, str] = {
    "exceeded": "bold red",
    "kept": "green",
    "cannot tell": "yellow",
    "shown only": "dim",
}


def show_night(record: NightRecord) -> None:
    """Print the summary of a night on standard output."""
    screen = Screen()
    screen.print(Text(plain(rounding.night_text(record.assessment)), style="bold"))
    screen.print(Text(plain(files_text(record)), style="dim"))
    screen.print()
    line, said = night_line(record)
    if line:
        screen.print(Text(line, style="cyan"))
        screen.print(Text(said, style="dim"))
        screen.print()
    for sentence in (*in_short(record), fault_text(record), *record.remarks):
        if sentence:
            screen.print(Text(plain(sentence)))
    if record.assessment.absolute:
        show_verdicts(screen, record.assessment.verdicts, rounding.unit_text(record.assessment))
    _show_events(screen, record)
    heading(screen, "What the sounds are")
    show_paragraphs(screen, (Text(plain(each)) for each in sounds_in_short(record)))
    if record.assessment.absolute:
        _show_plan(screen, record)
    heading(screen, "Cautions, each in full in report.html")
    show_paragraphs(screen, (Text(plain(_first_sentence(caution))) for caution in cautions_of(record)))
    heading(screen, "What was decided, where it came from, and the option that decides otherwise")
    show_paragraphs(screen, (_decision(*parts) for parts in decisions(record)))


def _decision(subject: str, value: str, origin: str, options: str) -> Text:
    otherwise = "" if options in origin else f"; otherwise by {options}"
    return Text.assemble((f"{subject}: ", "bold"), plain(value), (plain(f" – {origin}{otherwise}"), "dim"))


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
    heading(screen, "First plan: the quietest masker that reaches the target, most helpful steps")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Isolation step", overflow="fold")
    table.add_column("Masker", overflow="fold")
    table.add_column(plan_table.AUDIBLE_HEAD, justify="right", no_wrap=True)
    for row in plan_table.helpful_rows(plan, SHOWN_STEPS):
        table.add_row(*(Text(plain(cell)) for cell in row))
    screen.print(table)
