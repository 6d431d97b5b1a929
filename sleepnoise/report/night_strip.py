"""Nights below each other as a strip of small traces, and their levels from evening to evening."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.dossier.night_sketch import NightSketch, Quarter
from sleepnoise.report.axes import WIDTH, Axis, axis_over, cut_text
from sleepnoise.report.drawings import drawn
from sleepnoise.report.night_trace import Mark
from sleepnoise.report.sections import Figure
from sleepnoise.wording.case_words import evening_text, night_about, night_levels, night_verdict
from sleepnoise.wording.rounding import MONTHS, level_text

ROW, TOP, LEFT, RIGHT, NOTE = 44, 30, 222, 640, 654
"""Rows and columns of the strip. Chosen: two lines of text on both sides of each trace."""

MOST_ROWS = 92
"""Nights drawn, the last ones. Chosen: a quarter of a year; the table has all."""

SPAN = SimpleNamespace(WIDTH=WIDTH, HEIGHT=360, LEFT=60, RIGHT=938, TOP=44, BOTTOM=304)
"""Size of the drawing of levels from evening to evening. Chosen: as other figures."""

MOST_DATES = 10
"""Evenings named along the axis. Chosen: more would touch each other."""

HOUR_S = 3600.0
"""Seconds in an hour. Source: definition."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownNight:
    """A night with what is drawn of it; no figures and no sketch if it is not assessed as things stand."""

    name: str
    evening: date
    windows: str
    opens_minute: int
    figures: NightFigures | None
    sketch: NightSketch | None


def strip_figure(nights: Sequence[ShownNight], key: str) -> Figure:
    """Return nights as small traces on one scale, one a row, with their verdicts."""
    shown = nights[-MOST_ROWS:]
    sketches = [night.sketch for night in shown if night.sketch is not None]
    span_s = max([sketch.window_s for sketch in sketches], default=8 * HOUR_S)
    ends = [end for sketch in sketches for each in sketch.quarters for end in (each.la90, each.lafmax)]
    scale = axis_over(ends, 0.0, 1.0, least=10.0)
    across = Axis(low=0.0, high=span_s, start=LEFT, end=RIGHT, step=span_s)
    bottom = TOP + ROW * len(shown)
    box = SimpleNamespace(
        WIDTH=WIDTH, HEIGHT=bottom + 6, LEFT=LEFT, RIGHT=RIGHT, TOP=TOP, BOTTOM=bottom, ROW=ROW, NOTE=NOTE
    )  # fmt: skip
    plot = {
        "clock": _clock(nights[0].opens_minute if nights else 0, across),
        "nights": [_row(night, TOP + ROW * place, across, scale) for place, night in enumerate(shown)],
        "low": f"{scale.low:.0f}",
        "high": f"{scale.high:.0f}",
    }
    title = "Nights, each a small trace"
    clocks = "On nights when clocks change, hours are counted from the beginning of the window."
    description = (
        f"{len(shown)} nights below each other, from {plot['low']} to {plot['high']} dB in every row: levels "
        f"of quarter hours, events, LAeq and verdict. {clocks} A table has the figures."
    )
    svg = drawn("strip", key, title, description, plot, box)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("strip_key", plot))


def _clock(opens_minute: int, across: Axis) -> list[Mark]:
    """Return the full hours of the night window."""
    first = -opens_minute % 60
    return [
        Mark(at=across.at(60.0 * minute), text=f"{(opens_minute + minute) // 60 % 24:02d}:00")
        for minute in range(first, int(across.high / 60) + 1, 60)
    ]


def _row(night: ShownNight, y: int, across: Axis, scale: Axis) -> dict[str, Any]:
    up = Axis(low=scale.low, high=scale.high, start=y + ROW - 5, end=y + 7, step=scale.step)
    quarters = () if night.sketch is None else night.sketch.quarters
    word, class_name = night_verdict(night.figures)
    return {
        "y": y,
        "name": evening_text(night.evening),
        "about": cut_text(night_about(night.windows, night.figures, night.sketch), LEFT - 8),
        "title": f"{night.name}: {night_levels(night.figures)}; {word}"[:300],
        "traced": bool(quarters),
        "lacking": "not assessed as things stand" if night.figures is None else "no trace kept",
        "spread": "".join(_box(each, across, up) for each in quarters),
        "laeq": _stairs(quarters, across, up),
        "events": [] if night.sketch is None else [across.at(each) for each in night.sketch.events_s],
        "levels": night_levels(night.figures),
        "verdict": cut_text(word, WIDTH - NOTE - 4),
        "class_name": class_name,
    }


def _box(each: Quarter, across: Axis, up: Axis) -> str:
    """Return the box between LA90 and LAFmax of a quarter hour as path data."""
    if not (math.isfinite(each.la90) and math.isfinite(each.lafmax)):
        return ""
    first, last = across.at(each.start_s), across.at(each.start_s + each.seconds)
    return f"M{first},{up.at(each.la90)}H{last}V{up.at(each.lafmax)}H{first}Z"


def _stairs(quarters: Sequence[Quarter], across: Axis, up: Axis) -> str:
    path, last_s = "", math.nan
    for each in quarters:
        if not math.isfinite(each.laeq):
            last_s = math.nan
            continue
        joined = abs(each.start_s - last_s) < 1.0
        last_s = each.start_s + each.seconds
        path += f"{'L' if joined else 'M'}{across.at(each.start_s)},{up.at(each.laeq)}H{across.at(last_s)}"
    return path


def nights_figure(
    nights: Sequence[NightFigures], changes: Sequence[tuple[date, str]], key: str, unit: str
) -> Figure:
    """Return LAeq, LAFmax and LA90 of every night from evening to evening, with treatments.

    Parameters
    ----------
    nights : sequence of NightFigures
        At least one, in order of time.
    changes : sequence of (date, str)
        First evening after each treatment, and its name.
    key, unit : str
    """
    first, last = nights[0].evening, nights[-1].evening
    for evening, _ in changes:
        first, last = min(first, evening - timedelta(days=1)), max(last, evening)
    days = max((last - first).days, 1)
    across = Axis(low=-0.5, high=days + 0.5, start=SPAN.LEFT + 8, end=SPAN.RIGHT - 8, step=1.0)
    up = axis_over([end for night in nights for end in _ends(night)], SPAN.BOTTOM, SPAN.TOP, least=10.0)
    plot = {
        "marks": up.marks,
        "dates": _dates(first, days, across),
        "nights": [_night(night, across.at((night.evening - first).days), up) for night in nights],
        "changes": _changes(changes, first, across),
        "states": {_state(night.window_state) for night in nights},
        "partial": any(not night.whole for night in nights),
    }
    title = f"Levels from evening to evening, {unit}"
    treated = "; ".join(f"{cut_text(name, 420)} from {evening.isoformat()} on" for evening, name in changes)
    description = (
        f"LAeq with its expanded uncertainty (k = 2), LAFmax and LA90 of {len(nights)} nights. Treatments: "
        f"{treated or 'none noted'}. The table has the figures."
    )
    svg = drawn("nights", key, title, description, plot, SPAN, unit)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("nights_key", plot))


def _ends(night: NightFigures) -> list[float]:
    half = night.expanded_uncertainty_db if math.isfinite(night.expanded_uncertainty_db) else 0.0
    return [night.laeq - half, night.laeq + half, night.lafmax, night.la90]


def _state(window_state: str) -> str:
    return window_state if window_state in ("open", "closed") else "other"


def _night(night: NightFigures, x: float, up: Axis) -> dict[str, Any]:
    half = night.expanded_uncertainty_db
    known = math.isfinite(night.laeq)
    spread = known and math.isfinite(half)
    return {
        "x": x,
        "laeq": up.at(night.laeq) if known else None,
        "low": up.at(night.laeq - half) if spread else None,
        "high": up.at(night.laeq + half) if spread else None,
        "lafmax": up.at(night.lafmax) if math.isfinite(night.lafmax) else None,
        "la90": up.at(night.la90) if math.isfinite(night.la90) else None,
        "state": _state(night.window_state),
        "partial": not night.whole,
        "title": f"{evening_text(night.evening)}: {night_levels(night)}, LA90 {level_text(night.la90)}",
    }


def _dates(first: date, days: int, across: Axis) -> list[Mark]:
    every = max(-(-days // (MOST_DATES - 1)), 1)
    return [
        Mark(at=across.at(day), text=f"{evening.day} {MONTHS[evening.month - 1][:3]}")
        for day in range(0, days + 1, every)
        for evening in [first + timedelta(days=day)]
    ]


def _changes(changes: Sequence[tuple[date, str]], first: date, across: Axis) -> list[dict[str, Any]]:
    """Return a line half a day before each first evening, its name on the side that has room."""
    found = []
    for place, (evening, name) in enumerate(changes):
        at = across.at((evening - first).days - 0.5)
        room_right = SPAN.RIGHT - at
        right = room_right >= at - SPAN.LEFT
        found.append(
            {
                "at": at,
                "anchor": "start" if right else "end",
                "text_at": round(at + 6 if right else at - 6, 1),
                "text_y": 14 + 15 * (place % 2),
                "text": cut_text(name, (room_right if right else at - SPAN.LEFT) - 10),
                "title": f"{evening.isoformat()}: {name[:200]}",
            }
        )
    return found
