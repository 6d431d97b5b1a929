"""A night from an instrument's log in 80 columns: figures, what they are made of, what is not known."""

import math
from collections.abc import Iterable, Iterator

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.assess_log import LogRecord, LogSettings
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.judgement.log_assessment import LogAssessment, LogFigure, step_text
from sleepnoise.judgement.uncertainty import UncertaintyBudget
from sleepnoise.screens.night_summary import SHOWN_EVENTS, show_verdicts
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.wording.rounding import clock_text, duration_text, level_text, night_text, signed_text
from sleepnoise.wording.tables import loudest_events
from sleepnoise.wording.verdicts import verdict_counts

HOURLY = ("laeq", "lafmax", "la10", "la90", "lceq")
"""Levels that are listed by the hour, as far as they are known."""


def show_log(record: LogRecord) -> None:
    """Print the assessment of a log on standard output."""
    screen = Screen()
    night = record.assessment
    screen.print(Text(plain(night_text(night)), style="bold"))
    screen.print(Text(plain(record.provenance.inputs[0].name), style="dim"))
    screen.print()
    for sentence in (_span(night), _judged(night.verdicts), _uncertainty(record.budgets[0])):
        screen.print(Text(plain(sentence)))
    _show_figures(screen, night)
    _show_hours(screen, night)
    _show_judgement(screen, night.verdicts)
    _show_events(screen, night)
    for title, sentences in (
        ("Not known", night.not_known),
        ("How the log was read", record.log.remarks),
        ("What was decided, and the option that decides otherwise", decisions(record)),
        ("Cautions", record.cautions),
    ):
        heading(screen, title)
        show_paragraphs(screen, (Text(plain(sentence)) for sentence in sentences))


def decisions(record: LogRecord) -> tuple[str, ...]:
    """Return what was decided, where it came from, and which option decides otherwise."""
    settings, defaults = record.settings, LogSettings()

    def origin(name: str) -> str:
        return "default" if getattr(settings, name) == getattr(defaults, name) else "your option"

    return (
        f"Night: {settings.window} in {record.log.zone} – {origin('window')}; --window, --zone",
        f"Instrument: class {record.meter_class} – {origin('meter_class')}; --meter-class",
        f"Guidelines: {', '.join(record.guidelines)} – {origin('guidelines')}; --guideline",
    )


def _span(night: LogAssessment) -> str:
    zone = night.window.zone
    span = (
        f"The log covers {clock_text(night.start, zone)} to {clock_text(night.end, zone)} local time in "
        f"steps of {step_text(night.step_s)}"
    )
    if night.night.complete:
        return f"{span}: the whole night."
    return f"{span}, not the whole night of {duration_text(night.window_s)}, or it has gaps."


def _judged(verdicts: tuple[Verdict, ...]) -> str:
    counts = verdict_counts(verdicts)
    judged = sum(counts.values()) - counts["shown only"]
    if not judged:
        return "No guideline value was judged."
    said = ", ".join(f"{counts[word]} {word}" for word in ("exceeded", "kept", "cannot tell"))
    return f"Published values for the night: {judged} ({said})."


def _uncertainty(budget: UncertaintyBudget) -> str:
    parts = "; ".join(f"{part.name} {level_text(part.product_db)} dB" for part in budget.contributions)
    return f"Uncertainty of A- and C-weighted levels: ±{level_text(budget.expanded_db)} dB (k = 2): {parts}."


def _show_figures(screen: Screen, night: LogAssessment) -> None:
    heading(screen, "The night, dB")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Level", no_wrap=True)
    table.add_column("dB", justify="right", no_wrap=True)
    table.add_column("Made of", overflow="fold")
    table.add_column("Logged", justify="right", no_wrap=True)
    for figure in night.night.figures:
        name = SYMBOLS[figure.quantity].text
        table.add_row(name, figure_text(figure), figure.made_of, duration_text(figure.known_s))
    screen.print(table)


def figure_text(figure: LogFigure) -> str:
    """Return a level, or between what it lies.

    Examples
    --------
    >>> figure_text(LogFigure(quantity="la90", low_db=24.0, high_db=31.25, made_of="", known_s=60.0))
    '24.0 to 31.2'
    """
    low, high = level_text(figure.low_db), level_text(figure.high_db)
    return low if low == high else f"{low} to {high}"


def _show_hours(screen: Screen, night: LogAssessment) -> None:
    known = {figure.quantity for stretch in night.hours for figure in stretch.figures}
    names = [name for name in HOURLY if name in known]
    if not names:
        return
    heading(screen, "Hour by hour, dB; ○ not all of it was logged")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("From", no_wrap=True)
    for name in names:
        table.add_column(SYMBOLS[name].text, justify="right", no_wrap=True)
    for stretch in night.hours:
        figures = (stretch.figure(name) for name in names)
        start = clock_text(stretch.start, night.window.zone) + ("" if stretch.complete else " ○")
        table.add_row(start, *("–" if figure is None else figure_text(figure) for figure in figures))
    screen.print(table)


def _show_judgement(screen: Screen, verdicts: tuple[Verdict, ...]) -> None:
    if all(verdict.word == "shown only" for verdict in verdicts):
        return
    show_verdicts(screen, verdicts, "dB")
    reasons = list(_open_reasons(verdicts))
    if reasons:
        heading(screen, "Why it cannot tell")
        show_paragraphs(screen, (Text(plain(reason)) for reason in reasons))


def _open_reasons(verdicts: Iterable[Verdict]) -> Iterator[str]:
    """Yield each reason for not telling once, with what it holds for."""
    by_reason: dict[str, list[str]] = {}
    for verdict in verdicts:
        if verdict.word == "cannot tell":
            by_reason.setdefault(verdict.reason, []).append(verdict.criterion.title)
    for reason, titles in by_reason.items():
        yield f"{'; '.join(dict.fromkeys(titles))}: {reason}"


def _show_events(screen: Screen, night: LogAssessment) -> None:
    if night.events is None:
        return
    if not night.events:
        screen.print()
        screen.print(Text("No sound stood out from the background."))
        return
    heading(screen, f"Loudest of {len(night.events)} events, dB")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("Event", "Time", "Lasts", "Highest", "LAE", "Over LA90"):
        table.add_column(head, justify="left" if head == "Time" else "right", no_wrap=True)
    for event in loudest_events(night.events, SHOWN_EVENTS):
        table.add_row(
            str(event.number),
            clock_text(event.start, night.window.zone, seconds=True),
            duration_text(event.duration_s),
            level_text(event.lafmax),
            "–" if math.isnan(event.lae) else level_text(event.lae),
            signed_text(event.emergence_db),
        )
    screen.print(table)
    screen.print(Text(f"Highest: {night.events_made_of}."))
