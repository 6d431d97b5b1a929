"""The page of a survey: bedrooms at a glance, without a map, in one file that needs nothing else."""

from markupsafe import Markup

from sleepnoise.portfolio.survey import Survey
from sleepnoise.report.drawings import environment, policy_hash, template_text
from sleepnoise.report.sections import Section
from sleepnoise.report.survey_figures import gain_figure, overview_figure, shared_figure
from sleepnoise.wording.survey_words import (
    SHARED_NOTE,
    SURVEY_CAUTIONS,
    failure_table,
    gain_table,
    ranking_table,
    shared_table,
    survey_sentences,
)


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
        figures = (gain_figure(found),)
        gain = (gain_table(found.plans),)
        sections.append(Section(key="gain", title="Where money helps", figures=figures, tables=gain))
    if found.pairs:
        figures, notes = (shared_figure(found),), (SHARED_NOTE,)
        common = Section(key="shared", title="Common sources", figures=figures, tables=(shared,), notes=notes)
        sections.append(common)
    if found.failures:
        sections.append(Section(key="failed", title="Nights that failed", tables=(failure_table(found),)))
    return [*sections, Section(key="cautions", title="Cautions", points=SURVEY_CAUTIONS)]
