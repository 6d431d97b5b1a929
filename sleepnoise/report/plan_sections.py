"""A plan as a part of a page, wherever it stands."""

from sleepnoise.dossier.plan_summary import PlanSummary
from sleepnoise.report.sections import Section
from sleepnoise.report.trade_plot import map_of_plan, stairs_figure
from sleepnoise.wording.either_plan_words import step_note
from sleepnoise.wording.kept_plan_words import (
    STEP_NOTE,
    event_table_of,
    kept_front_table,
    kept_map_table,
    kept_plan_sentences,
    kept_priorities,
    kept_step_table,
)
from sleepnoise.wording.masking_words import alarm_tables, rule_sentences
from sleepnoise.wording.tables import Table, plain_column


def plan_sections(plan: PlanSummary, key: str, title: str = "Plan") -> tuple[Section, ...]:
    """Return a plan: what to do, what can be had for what, and what it rests on."""
    stairs, drawn_map = stairs_figure(plan, f"{key}-stairs"), map_of_plan(plan, f"{key}-map")
    pairs = [(stairs, kept_front_table(plan)), (drawn_map, kept_map_table(plan))]
    shown = [(figure, table) for figure, table in pairs if figure is not None]
    return (
        Section(
            key=key, title=title, sentences=kept_plan_sentences(plan), tables=(kept_step_table(plan),),
            notes=(STEP_NOTE,) if plan.steps else (), template="exhibits.html",
        ),
        Section(
            key=f"{key}-trade", title="What can be had for what",
            figures=tuple(figure for figure, _ in shown), tables=tuple(table for _, table in shown),
            folded=(event_table_of(plan),),
            notes=(
                "Money and masker are what may be spent at most. Audible: more than the target over the "
                "limit of hearing, by a model from which others differ by about 3 dB either way.",
                *((step_note(plan.wish.masker_step_db),) if any(each.masker for each in plan.front) else ()),
            ),
            template="exhibits.html",
        ),
        Section(
            key=f"{key}-alarms", title="What is left of the smoke alarm",
            tables=tuple(alarm_tables(plan.alarms)),
            notes=tuple(rule_sentences(plan.alarms[0])) if plan.alarms else (), template="exhibits.html",
        ),
        Section(key=f"{key}-first", title="What to look at first", points=kept_priorities(plan)),
    )  # fmt: skip


def plan_sources(plan: PlanSummary) -> Table:
    """Return the files that a plan was made from."""
    columns = (
        plain_column("File"), plain_column("Used as"), plain_column("Bytes", number=True),
        plain_column("SHA-256"),
    )  # fmt: skip
    rows = tuple((each.name, each.role, str(each.size_bytes), each.sha256) for each in plan.made_from.files)
    return Table(title="Files that this plan was made from", columns=columns, rows=rows)
