"""The page of a survey: bedrooms at a glance, without a map, in one file that needs nothing else."""

import math

from markupsafe import Markup

from sleepnoise.portfolio.ranking import RankedBedroom
from sleepnoise.portfolio.survey import Survey
from sleepnoise.report.drawings import environment, policy_hash, template_text
from sleepnoise.report.sections import Figure, Section
from sleepnoise.wording.rounding import signed_text
from sleepnoise.wording.survey_words import (
    SHARED_NOTE,
    SURVEY_CAUTIONS,
    failure_table,
    gain_table,
    ranking_table,
    shared_table,
    survey_sentences,
)

WIDTH, LEFT, RIGHT, ROW, TOP = 1080, 300, 1040, 24, 30
"""Size of the overview and its rows, in its own units. Chosen: as wide as the other drawings."""

MOST_ROWS = 60
"""Bedrooms drawn at most, the worst of them. Chosen: what a screen shows without losing its head."""

LEAST_REACH_DB = 5.0
"""Least distance of the overview's ends from the value, dB. Chosen: small margins shall look small."""

LONGEST_NAME = 34
"""Characters of a name in the overview. Chosen: what fits beside it; the table has all."""


def survey_page(found: Survey) -> str:
    """Return the page of a survey as HTML; every text in it is escaped, and nothing is fetched or run."""
    style = template_text("page.css") + template_text("drawings.css")
    return environment().get_template("survey.html").render(
        found=found,
        sections=_sections(found),
        style=Markup(style),
        style_hash=policy_hash(style),
        head=lambda column: Markup(column.html),
        drawing=lambda figure: Markup(figure.svg),
        legend=lambda figure: Markup(figure.legend),
    )  # fmt: skip


def _sections(found: Survey) -> list[Section]:
    shared = shared_table(found.pairs)
    sections = [
        Section(
            key="overview",
            title="At a glance",
            sentences=survey_sentences(found),
            figures=() if found.ranking.bedrooms[0].counted == 0 else (overview_figure(found),),
        ),
        Section(key="ranking", title="Bedrooms, the worst first", tables=(ranking_table(found.ranking),)),
    ]
    if found.plans:
        sections.append(Section(key="gain", title="Where money helps", tables=(gain_table(found.plans),)))
    if found.pairs:
        sections.append(Section(key="shared", title="Common sources", tables=(shared,), notes=(SHARED_NOTE,)))
    if found.failures:
        sections.append(Section(key="failed", title="Nights that failed", tables=(failure_table(found),)))
    return [*sections, Section(key="cautions", title="Cautions", points=SURVEY_CAUTIONS)]


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
    return Figure(key="overview-figure", title=title, description=description, svg=place)


def _reach(room: RankedBedroom) -> float:
    return room.uncertainty_db if math.isfinite(room.uncertainty_db) else 0.0


def _across(margin_db: float, reach_db: float) -> float:
    return round(LEFT + (RIGHT - LEFT) * (margin_db + reach_db) / (2 * reach_db), 1)


def _row(number: int, room: RankedBedroom, reach_db: float) -> dict[str, object]:
    name = room.bedroom if len(room.bedroom) <= LONGEST_NAME else f"{room.bedroom[: LONGEST_NAME - 1]}…"
    return {
        "name": name,
        "title": f"{room.bedroom}: {signed_text(room.margin_db)} dB, {room.standing}",
        "y": TOP + ROW * number + ROW // 2,
        "at": _across(room.margin_db, reach_db),
        "low": _across(room.margin_db - _reach(room), reach_db),
        "high": _across(room.margin_db + _reach(room), reach_db),
        "known": math.isfinite(room.uncertainty_db),
    }


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
