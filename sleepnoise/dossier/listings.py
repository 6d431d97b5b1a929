"""Intervals and events as CSV: one line each, for a spreadsheet or a script.

UTF-8, comma, unit in the head of each column. Levels have two decimals, as in
``levels.parquet``; ``assessment.json`` holds them unrounded. An empty cell is *not known*,
``-inf`` is digital silence. Text that a spreadsheet would run as a formula gets an
apostrophe in front.
"""

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.plain import local_text, utc_text
from sleepnoise.night.events import Event
from sleepnoise.night.intervals import Interval

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a cell must not begin with, or a spreadsheet may run it."""

STATISTICS = (
    "laeq", "lafmax", "lasmax", "lafmin", "lcpeak", "lae", "lceq", "lzeq",
    "la1", "la5", "la10", "la50", "la90", "la95", "la99",
)  # fmt: skip
"""Level columns of intervals.csv, in order."""

Cell = str | float | int


def harmless(text: str) -> str:
    """Return text that a spreadsheet shows and never runs.

    Examples
    --------
    >>> harmless("=1+1")
    "'=1+1"
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def write_intervals(record: NightRecord, path: Path) -> None:
    """Write the quarter hours, then the full hours of the night."""
    head = ["interval", "start_utc", "start_local", "complete", "duration_s", "left_out_s"]
    head += [SYMBOLS[name].column for name in STATISTICS]
    night = record.assessment
    _write(
        path,
        head,
        [
            *(_interval(record, interval, "15 min") for interval in night.quarter_hours),
            *(_interval(record, interval, "1 h") for interval in night.hours),
        ],
    )


def write_events(record: NightRecord, path: Path) -> None:
    """Write the events in order of time, each with its highest third-octave levels."""
    head = [
        "event", "start_utc", "start_local", "duration_s", "LAFmax_dB", "LASmax_dB", "LAE_dB", "LCpeak_dB",
        "background_LA90_dB", "emergence_dB", "rise_dB", "onset_rate_dB_per_s", "loud_s", "C_minus_A_dB",
        "count", "group", "label", "flags",
    ]  # fmt: skip
    head += [f"highest_{band_label(nominal)}Hz_dB" for nominal in record.history.nominal_hz]
    _write(path, head, (_event(record, event) for event in record.assessment.events))


def _interval(record: NightRecord, interval: Interval, length: str) -> list[Cell]:
    statistics = asdict(interval.statistics)
    return [
        length,
        utc_text(interval.start),
        local_text(interval.start, record.assessment.window.zone),
        "yes" if interval.complete else "no",
        interval.statistics.seconds,
        interval.statistics.left_out_s,
        *(_level(statistics[name]) for name in STATISTICS),
    ]


def _event(record: NightRecord, event: Event) -> list[Cell]:
    levels = (event.lafmax, event.lasmax, event.lae, event.lcpeak, event.background_la90, event.emergence_db)
    return [
        event.number,
        utc_text(event.start),
        local_text(event.start, record.assessment.window.zone),
        event.duration_s,
        *(_level(value) for value in levels),
        *(_level(value) for value in (event.rise_db, event.onset_rate_db_per_s, event.loud_s)),
        _level(event.c_minus_a_db),
        event.count,
        harmless(event.group),
        harmless(event.label),
        harmless("; ".join(event.flags)),
        *(_level(float(value)) for value in event.max_spectrum.levels_db),
    ]


def _level(level_db: float) -> str:
    """Return a level for a cell: two decimals, ``-inf`` or nothing."""
    return "" if math.isnan(level_db) else f"{level_db:.2f}"


def _write(path: Path, head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(head)
        writer.writerows(rows)
