"""The night at a glance: a level trace as a static drawing."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.record import NightRecord
from sleepnoise.levels.hundredths import LevelArray
from sleepnoise.night.intervals import Interval
from sleepnoise.night.quality import left_out_mask
from sleepnoise.wording.rounding import axis_text, clock_text

WIDTH, HEIGHT = 1080, 380
"""Size of the drawing in its own units. Chosen: legible at 1200 pixels and on A4 across."""

LEFT, RIGHT, TOP, BOTTOM = 52, 1050, 40, 336
"""Plot area. Chosen: room for two-digit levels, clock times and the strip of events."""

COLUMNS = 1000
"""Columns that the night is drawn in. Chosen: about one for each pixel of the plot area."""

STEP_MINUTES = (1, 2, 5, 15, 30, 60, 120, 240, 480)
"""Distances of clock times along the axis. Chosen: those that divide an hour or a day evenly."""

DRAWN_FAULTS = 400
"""Faults marked in the drawing. Chosen: more would only blacken the strip; the document has them all."""

MOST_TICKS = 12
"""Most clock times along the axis. Chosen: more would touch each other on a narrow screen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on an axis with its name."""

    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EventMark:
    """A stretch of time in a strip beside the trace: an event, or a fault of the recording."""

    x: float
    width: float
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NightTrace:
    """Everything the template needs to draw a night; places are in units of the drawing."""

    band: str
    top_edge: str
    laeq: str
    la90: str
    events: tuple[EventMark, ...]
    night: tuple[float, float]
    clock: tuple[Mark, ...]
    levels: tuple[Mark, ...]
    values: tuple[Mark, ...]
    faults: tuple[EventMark, ...]
    description: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLevels:
    """What a drawing shows of LAF: ``nan`` where nothing was recorded.

    Attributes
    ----------
    lowest, highest : ndarray, shape (ticks,), dB
    range_db : tuple of float, dB
        Ends of an axis for everything that counts.
    """

    lowest: LevelArray
    highest: LevelArray
    range_db: tuple[float, float]


class _Scale:
    """From time and level to the drawing."""

    def __init__(self, start: datetime, end: datetime, low_db: float, high_db: float) -> None:
        self.start, self.end = start, end
        self.low_db, self.high_db = low_db, high_db

    def x(self, instant: datetime) -> float:
        share = (instant - self.start) / (self.end - self.start)
        return LEFT + (RIGHT - LEFT) * min(max(share, 0.0), 1.0)

    def y(self, level_db: float) -> float:
        share = (level_db - self.low_db) / (self.high_db - self.low_db)
        return BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0)


def drawn_levels(record: NightRecord) -> DrawnLevels:
    """Return the levels that a drawing shows.

    Between two files a level falls towards nothing: a detector at rest, no sound, so it is not drawn. What
    is left out for other reasons, such as a dropout, is drawn but does not stretch the axis.
    """
    history = record.history
    nothing = left_out_mask(history, (flag for flag in record.quality if flag.kind == "gap"))
    lowest = np.where(nothing, np.nan, history.lafmin).astype(history.lafmin.dtype)
    highest = np.where(nothing, np.nan, history.lafmax).astype(history.lafmax.dtype)
    counts = ~history.left_out if not history.left_out.all() else np.ones(history.ticks, dtype=np.bool_)
    loudest = highest[np.isfinite(highest)]
    return DrawnLevels(
        lowest=lowest,
        highest=highest,
        range_db=level_range(
            np.concatenate([lowest[counts], highest[counts], loudest.max(initial=-np.inf, keepdims=True)])
        ),
    )


def night_trace(record: NightRecord) -> NightTrace:
    """Return the drawing of a night: the spread of LAF, LAeq and LA90 of quarter hours, events."""
    history, night = record.history, record.assessment
    shown = drawn_levels(record)
    lowest, highest = _columns(shown.lowest, np.fmin), _columns(shown.highest, np.fmax)
    low_db, high_db = shown.range_db
    scale = _Scale(history.start, history.end, low_db, high_db)
    band, top_edge = _spread(lowest, highest, scale)
    return NightTrace(
        band=band,
        top_edge=top_edge,
        laeq=_stairs(night.quarter_hours, "laeq", scale),
        la90=_stairs(night.quarter_hours, "la90", scale),
        events=_event_marks(record, scale),
        night=(scale.x(night.start), scale.x(night.end)),
        clock=_clock_marks(record, scale),
        levels=tuple(
            Mark(at=round(scale.y(db), 1), text=axis_text(db)) for db in np.arange(low_db, high_db + 1, 10)
        ),
        values=tuple(
            Mark(at=round(scale.y(db), 1), text=text)
            for db, text in published_values(record)
            if low_db < db < high_db
        ),
        faults=tuple(
            _mark(scale, flag.start, flag.seconds, f"{flag.kind}: {flag.effect}")
            for flag in record.quality[:DRAWN_FAULTS]
        ),
        description=_description(record),
    )


def published_values(record: NightRecord) -> list[tuple[float, str]]:
    """Return the levels that the night was judged against, with their symbols, each once, highest first."""
    judged: dict[float, dict[str, None]] = {}
    for verdict in record.assessment.verdicts:
        criterion = verdict.criterion
        if criterion.level_db is not None and verdict.word != "shown only" and criterion.quantity in SYMBOLS:
            judged.setdefault(criterion.level_db, {})[SYMBOLS[criterion.quantity].text] = None
    return [(db, f"{', '.join(judged[db])} {axis_text(db)}") for db in sorted(judged, reverse=True)]


def _columns(levels: LevelArray, extreme: np.ufunc) -> FloatArray:
    """Return the extreme of each of up to ``COLUMNS`` stretches of ticks, shape (columns,), dB."""
    columns = min(COLUMNS, levels.size)
    firsts = np.arange(columns) * levels.size // columns
    return np.asarray(extreme.reduceat(levels, firsts), dtype=np.float64)


def tens(low_db: float, high_db: float) -> list[float]:
    """Return the multiples of 10 dB from one to another."""
    return [float(db) for db in range(int(low_db), int(high_db) + 1, 10)]


def level_range(levels_db: FloatArray) -> tuple[float, float]:
    """Return the lowest and highest level of an axis that shows all levels, tens of dB."""
    known = levels_db[np.isfinite(levels_db)]
    if known.size == 0:
        return 0.0, 10.0
    low_db = 10 * float(np.floor(known.min() / 10))
    return low_db, max(10 * float(np.ceil(known.max() / 10)), low_db + 10)


def _spread(lowest: FloatArray, highest: FloatArray, scale: _Scale) -> tuple[str, str]:
    """Return the outline between lowest and highest levels, and its upper edge, as path data."""
    places = LEFT + (RIGHT - LEFT) * (np.arange(highest.size) + 0.5) / highest.size
    outline, edge = [], []
    for run in _runs(~np.isnan(highest)):
        upper = [f"{places[i]:.1f},{scale.y(highest[i]):.1f}" for i in run]
        lower = [f"{places[i]:.1f},{scale.y(lowest[i]):.1f}" for i in reversed(run)]
        outline.append(f"M{' '.join(upper + lower)}Z")
        edge.append(f"M{' '.join(upper)}")
    return "".join(outline), "".join(edge)


def _runs(known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[range]:
    """Return the stretches of columns without a gap."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    return [range(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def _stairs(intervals: tuple[Interval, ...], name: str, scale: _Scale) -> str:
    """Return one level of each interval as path data: a level stretch for each, joined by steps."""
    drawn, joined = [], False
    for interval in intervals:
        level_db = getattr(interval.statistics, name)
        if np.isnan(level_db):
            joined = False
            continue
        first, last = (
            scale.x(interval.start),
            scale.x(interval.start + timedelta(seconds=interval.statistics.seconds)),
        )
        y = scale.y(level_db)
        drawn.append(f"{'L' if joined else 'M'}{first:.1f},{y:.1f}H{last:.1f}")
        joined = True
    return "".join(drawn)


def _event_marks(record: NightRecord, scale: _Scale) -> tuple[EventMark, ...]:
    zone = record.assessment.window.zone
    return tuple(
        _mark(
            scale,
            event.start,
            event.duration_s,
            f"Event {event.number}, {clock_text(event.start, zone, seconds=True)}",
        )
        for event in record.assessment.events
    )


def _mark(scale: _Scale, start: datetime, seconds: float, title: str) -> EventMark:
    x = scale.x(start)
    width = scale.x(start + timedelta(seconds=seconds)) - x
    # Narrower marks would vanish between pixels.
    return EventMark(x=round(x, 1), width=round(max(width, 1.5), 1), title=title)


def _clock_marks(record: NightRecord, scale: _Scale) -> tuple[Mark, ...]:
    """Return round local clock times within the recording; the zone's own jumps included."""
    zone = record.assessment.window.zone
    minutes = (scale.end - scale.start) / timedelta(minutes=1)
    step = next((step for step in STEP_MINUTES if minutes / step <= MOST_TICKS), STEP_MINUTES[-1])
    instant = scale.start.astimezone(UTC).replace(second=0, microsecond=0)
    marks = []
    while instant <= scale.end:
        local = instant.astimezone(zone)
        if instant >= scale.start and (60 * local.hour + local.minute) % step == 0:
            marks.append(Mark(at=round(scale.x(instant), 1), text=f"{local:%H:%M}"))
        instant += timedelta(minutes=1)
    return tuple(marks)


def _description(record: NightRecord) -> str:
    """Return in words what the drawing shows, for those who cannot see it."""
    history, night = record.history, record.assessment
    zone = night.window.zone
    return (
        f"A-weighted level, time weighting F, from {history.start.astimezone(zone):%H:%M} to "
        f"{history.end.astimezone(zone):%H:%M} local time. The shaded spread runs between the lowest and "
        f"the highest level; stepped lines give LAeq (solid) and LA90 (dashed) of each quarter hour. "
        f"{len(night.events)} events are marked in a strip above. Tables below give the same in figures."
    )
