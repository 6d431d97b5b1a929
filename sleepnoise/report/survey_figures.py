"""Figures of a survey: margins, what money silences, and when bedrooms hear the same; one row for each."""

import math
from datetime import datetime
from zoneinfo import ZoneInfo

from markupsafe import escape

from sleepnoise.portfolio.ranking import PlannedBedroom, RankedBedroom
from sleepnoise.portfolio.shared_sources import SharedSource
from sleepnoise.portfolio.survey import Survey
from sleepnoise.report.axes import Axis, axis_over
from sleepnoise.report.drawings import environment
from sleepnoise.report.sections import Figure
from sleepnoise.wording.rounding import signed_text
from sleepnoise.wording.survey_words import gain_text

WIDTH, LEFT, RIGHT, ROW, TOP = 1080, 300, 1040, 24, 30
"""Size of the overview and its rows, in its own units. Chosen: as wide as the other drawings."""

MOST_ROWS = 60
"""Bedrooms drawn at most, the worst of them. Chosen: what a screen shows without losing its head."""

LEAST_REACH_DB = 5.0
"""Least distance of the overview's ends from the value, dB. Chosen: small margins shall look small."""

LONGEST_NAME = 44
"""Characters of a name in the overview. Chosen: what fits beside it; the table has all."""

GAIN_WIDTH = 260
"""Room for what a plan gains in words, in the same units. Chosen: the longest with a currency of a word."""

NOON = 12
"""Hour at which a row of the clock begins. Chosen: no night is cut there."""


def overview_figure(found: Survey) -> Figure:
    """Return each bedroom's margin over the value, with its uncertainty, as a row of dots and bars."""
    rooms = [room for room in found.ranking.bedrooms if math.isfinite(room.margin_db)][:MOST_ROWS]
    ends = [abs(room.margin_db) + _reach(room) for room in rooms]
    reach_db = max([LEAST_REACH_DB, *ends])
    place = environment().from_string(_OVERVIEW).render(
        rows=[_row(number, room, reach_db) for number, room in enumerate(rooms)],
        middle=_across(0.0, reach_db),
        marks=[(signed_text(each), _across(each, reach_db)) for each in (-reach_db, 0.0, reach_db)],
        width=WIDTH,
        height=TOP + ROW * len(rooms) + 12,
        top=TOP,
    )  # fmt: skip
    title = "Margin over the value, dB, with its uncertainty"
    description = f"{len(rooms)} bedrooms from the highest margin to the lowest."
    return Figure(key="overview-figure", title=title, description=description, svg=place, legend=title)


def _reach(room: RankedBedroom) -> float:
    return room.uncertainty_db if math.isfinite(room.uncertainty_db) else 0.0


def _across(margin_db: float, reach_db: float) -> float:
    return round(LEFT + (RIGHT - LEFT) * (margin_db + reach_db) / (2 * reach_db), 1)


def _row(number: int, room: RankedBedroom, reach_db: float) -> dict[str, object]:
    return {
        "name": _short(room.bedroom),
        "title": f"{room.bedroom}: {signed_text(room.margin_db)} dB, {room.standing}",
        "y": TOP + ROW * number + ROW // 2,
        "at": _across(room.margin_db, reach_db),
        "low": _across(room.margin_db - _reach(room), reach_db),
        "high": _across(room.margin_db + _reach(room), reach_db),
        "known": math.isfinite(room.uncertainty_db),
    }


def gain_figure(found: Survey) -> Figure:
    """Return how many events each bedroom's plan silences, of how many, in the order of their gain."""
    plans = found.plans[:MOST_ROWS]
    axis = axis_over([0.0, *(float(plan.events) for plan in plans)], LEFT, RIGHT - GAIN_WIDTH)
    place = environment().from_string(_GAIN).render(
        rows=[_gain_row(number, plan, axis) for number, plan in enumerate(plans)],
        marks=axis.marks,
        width=WIDTH,
        height=TOP + ROW * len(plans) + 12,
        top=TOP,
        right=RIGHT,
    )  # fmt: skip
    title = "Events that each plan silences (thick), of all (thin), and what it costs"
    return Figure(
        key="gain-figure",
        title=title,
        description=f"{len(plans)} bedrooms, the most gain for money first within each currency.",
        svg=place,
        legend=str(escape(title)),
    )


def _gain_row(number: int, plan: PlannedBedroom, axis: Axis) -> dict[str, object]:
    return {
        "name": _short(plan.bedroom),
        "title": f"{plan.bedroom}: {gain_text(plan)}",
        "text": gain_text(plan),
        "y": TOP + ROW * number + ROW // 2,
        "zero": axis.at(0.0),
        "silenced": axis.at(plan.events - plan.audible),
        "all": axis.at(plan.events),
    }


def shared_figure(found: Survey) -> Figure:
    """Return when two bedrooms heard a sound at once: a row for each pair, a stroke for each such moment."""
    pairs = found.pairs[:MOST_ROWS]
    zones = found.tables["nights"].column("zone").to_pylist()
    zone = ZoneInfo(max(sorted(set(zones)), key=zones.count))
    hours = [[_hour(each, zone) for each in pair.times] for pair in pairs]
    axis = axis_over([hour for row in hours for hour in row], LEFT, RIGHT)
    place = environment().from_string(_SHARED).render(
        rows=[_shared_row(number, pair, hours[number], axis) for number, pair in enumerate(pairs)],
        marks=[
            (_clock(axis.low + axis.step * number), mark.at) for number, mark in enumerate(axis.marks)
        ],
        width=WIDTH,
        height=TOP + ROW * len(pairs) + 12,
        top=TOP,
    )  # fmt: skip
    title = f"When two bedrooms hear a sound at once, local time ({zone.key}), all nights together"
    return Figure(
        key="shared-figure",
        title=title,
        description=f"{len(pairs)} pairs of bedrooms, the least likely by chance first; "
        "full strokes where the source is surely common.",
        svg=place,
        legend=str(escape(title)),
    )


def _hour(when: datetime, zone: ZoneInfo) -> float:
    """Return the hours since noon, so that a night is one stretch."""
    local = when.astimezone(zone)
    return (local.hour - NOON) % 24 + local.minute / 60 + local.second / 3600


def _clock(hours: float) -> str:
    minutes = round((hours + NOON) * 60) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _shared_row(number: int, pair: SharedSource, hours: list[float], axis: Axis) -> dict[str, object]:
    name = " and ".join(pair.bedrooms)
    return {
        "name": _short(name),
        "title": f"{name}: {pair.together} together",
        "style": "laeq" if pair.shared else "upper",
        "y": TOP + ROW * number + ROW // 2,
        "at": [axis.at(hour) for hour in hours],
    }


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"


_GAIN = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {{ width }} {{ height }}" role="img" \
aria-label="Events that each plan silences">
{% for mark in marks %}<text text-anchor="middle" x="{{ mark.at }}" y="16">{{ mark.text }}</text>{% endfor %}

{% for row in rows %}
<g><title>{{ row.title }}</title><text x="0" y="{{ row.y + 4 }}">{{ row.name }}</text>
<path class="upper" d="M{{ row.zero }},{{ row.y }}H{{ row.all }}"/>
<path class="stair2" d="M{{ row.zero }},{{ row.y }}H{{ row.silenced }}"/>
<text text-anchor="end" x="{{ right }}" y="{{ row.y + 4 }}">{{ row.text }}</text></g>
{% endfor %}
</svg>
"""

_SHARED = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {{ width }} {{ height }}" role="img" \
aria-label="When two bedrooms hear a sound at once">
{% for text, at in marks %}<text text-anchor="middle" x="{{ at }}" y="16">{{ text }}</text>
<path class="value" d="M{{ at }},{{ top - 6 }}V{{ height }}"/>{% endfor %}

{% for row in rows %}
<g><title>{{ row.title }}</title><text x="0" y="{{ row.y + 4 }}">{{ row.name }}</text>
{% for at in row.at %}<path class="{{ row.style }}" d="M{{ at }},{{ row.y - 7 }}v14"/>{% endfor %}</g>
{% endfor %}
</svg>
"""

_OVERVIEW = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {{ width }} {{ height }}" role="img" \
aria-label="Margin of each bedroom over the value">
{% for text, at in marks %}<text text-anchor="middle" x="{{ at }}" y="16">{{ text }}</text>{% endfor %}

<path class="value" d="M{{ middle }},{{ top - 6 }}V{{ height }}"/>
{% for row in rows %}
<g><title>{{ row.title }}</title><text x="0" y="{{ row.y + 4 }}">{{ row.name }}</text>
{% if row.known %}<path class="upper" d="M{{ row.low }},{{ row.y }}H{{ row.high }}"/>{% endif %}
<path class="laeq" d="M{{ row.at }},{{ row.y - 6 }}v12"/></g>
{% endfor %}
</svg>
"""
