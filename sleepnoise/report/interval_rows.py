"""Values with their intervals as rows of dots and bars, on one scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from sleepnoise.report.axes import WIDTH, Axis, axis_over, cut_text
from sleepnoise.report.drawings import drawn
from sleepnoise.report.sections import Figure

LEFT, RIGHT, ROW, TOP, BELOW = 404, 722, 30, 16, 44
"""Plot area and rows. Chosen: room for names on the left, and for a result in words on the right."""

LEAST_SPAN = 5.0
"""Distance that a scale of decibels spans at least. Chosen: small differences shall look small."""

LONGEST_TITLE = 200
"""Letters of what a row says when pointed at. Chosen: a few lines; the table has all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalRow:
    """One value.

    Attributes
    ----------
    name : str
    value, low, high : float
        ``nan``: not known.
    note : str
        A result in words, at the right.
    tone : str
        ``"better"``, ``"worse"``, ``"first"`` for what matters most, or empty.
    """

    name: str
    value: float
    low: float
    high: float
    note: str
    tone: str = ""


def interval_figure(
    key: str,
    title: str,
    description: str,
    rows: Sequence[IntervalRow],
    *,
    unit: str,
    value: float = math.nan,
    zone: tuple[float, float] | None = None,
    words: tuple[str, str] = ("", ""),
) -> Figure:
    """Return values with their intervals, one a row.

    Parameters
    ----------
    key, title, description, unit : str
    rows : sequence of IntervalRow
        At least one.
    value : float, optional
        A value that all are held against: a line across all rows.
    zone : tuple of float, optional
        A range that all are held against: a band across all rows.
    words : tuple of str, optional
        What value and zone stand for.
    """
    ends = [end for row in rows for end in (row.value, row.low, row.high)]
    axis = axis_over([*ends, value, *(zone or ())], LEFT, RIGHT, least=LEAST_SPAN)
    bottom = TOP + ROW * len(rows)
    box = SimpleNamespace(
        WIDTH=WIDTH, HEIGHT=bottom + BELOW, LEFT=LEFT, RIGHT=RIGHT, TOP=TOP, BOTTOM=bottom, NOTE=RIGHT + 18
    )  # fmt: skip
    plot = {
        "rows": [_drawn_row(row, number, axis) for number, row in enumerate(rows)],
        "marks": axis.marks,
        "value": axis.at(value) if math.isfinite(value) else None,
        "zone": [axis.at(end) for end in zone] if zone else None,
        "words": words,
    }
    svg = drawn("rows", key, title, description, plot, box, unit)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("rows_key", plot))


def _drawn_row(row: IntervalRow, number: int, axis: Axis) -> dict[str, Any]:
    interval = math.isfinite(row.low) and math.isfinite(row.high)
    return {
        "y": TOP + ROW * number + ROW // 2,
        "name": cut_text(row.name, LEFT - 16),
        "note": cut_text(row.note, WIDTH - RIGHT - 18),
        "title": f"{row.name[:LONGEST_TITLE]}: {row.note}",
        "at": axis.at(row.value) if math.isfinite(row.value) else None,
        "low": axis.at(row.low) if interval else None,
        "high": axis.at(row.high) if interval else None,
        "tone": f" strong {row.tone}" if row.tone else "",
    }
