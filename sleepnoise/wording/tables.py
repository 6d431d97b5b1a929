"""Levels of intervals, events and bands as tables of text, for the terminal and the page alike."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import tzinfo

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.levels.statistics import LevelStatistics
from sleepnoise.night.events import Event
from sleepnoise.night.intervals import Interval
from sleepnoise.wording.rounding import clock_text, duration_text, level_text, signed_text

LOUDEST = 12
"""Events that are shown first. Chosen: fills one printed page together with their spectra."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Head of a column.

    Attributes
    ----------
    text, html : str
        For a terminal and for a page. Never made from a user's text.
    number : bool
        Whether its cells are lined up as numbers.
    """

    text: str
    html: str
    number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of text; the first cell of a row names the row."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


def key_figures(statistics: LevelStatistics) -> tuple[tuple[Column, str], ...]:
    """Return the handful of levels that everybody asks for first."""
    names = ("laeq", "lafmax", "la10", "la50", "la90", "lceq")
    return tuple((column(name), level_text(getattr(statistics, name))) for name in names)


def interval_table(title: str, intervals: Iterable[Interval], zone: tzinfo) -> Table:
    """Return intervals, one a row; incomplete ones are marked with a ring."""
    names = ("laeq", "lafmax", "lasmax", "la1", "la10", "la50", "la90", "la99", "lceq", "lcpeak")
    rows = (
        (
            clock_text(interval.start, zone) + ("" if interval.complete else " ○"),
            *(level_text(getattr(interval.statistics, name)) for name in names),
        )
        for interval in intervals
    )
    return Table(title=title, columns=(plain_column("From"), *map(column, names)), rows=tuple(rows))


def loudest_events(events: Iterable[Event], count: int = LOUDEST) -> tuple[Event, ...]:
    """Return the events with the highest ``lafmax``, loudest first."""
    return tuple(sorted(events, key=lambda event: -event.lafmax)[:count])


def event_table(title: str, events: Iterable[Event], zone: tzinfo) -> Table:
    """Return events, one a row."""
    columns = (
        plain_column("Event", number=True), plain_column("Time"), plain_column("Lasts", number=True),
        *map(column, ("lafmax", "lasmax", "lae")),
        Column(text="over LA90", html="over L<sub>A90</sub>", number=True),
        Column(text="LA90 before", html="L<sub>A90</sub> before", number=True),
        plain_column("Remarks"),
    )  # fmt: skip
    return Table(title=title, columns=columns, rows=tuple(_event_row(event, zone) for event in events))


def _event_row(event: Event, zone: tzinfo) -> tuple[str, ...]:
    series = f"series of {event.count}" if event.count > 1 else ""
    remarks = [part for part in (event.label, event.group, series, *event.flags) if part]
    return (
        str(event.number),
        clock_text(event.start, zone, seconds=True),
        duration_text(event.duration_s),
        level_text(event.lafmax),
        level_text(event.lasmax),
        level_text(event.lae),
        signed_text(event.emergence_db),
        level_text(event.background_la90),
        "; ".join(remarks),
    )


def spectrum_table(title: str, spectra: dict[str, Spectrum]) -> Table:
    """Return spectra side by side, one band a row; all must have the same bands."""
    bands = next(iter(spectra.values())).nominal_hz
    rows = (
        (
            band_label(nominal),
            *(level_text(float(spectrum.levels_db[place])) for spectrum in spectra.values()),
        )
        for place, nominal in enumerate(bands)
    )
    heads = (plain_column(name, number=True) for name in spectra)
    return Table(title=title, columns=(plain_column("Band, Hz", number=True), *heads), rows=tuple(rows))


def column(name: str) -> Column:
    """Return the head of a quantity's column."""
    return Column(text=SYMBOLS[name].text, html=SYMBOLS[name].html, number=True)


def plain_column(text: str, *, number: bool = False) -> Column:
    """Return a head that is the same everywhere."""
    return Column(text=text, html=text, number=number)
