"""Pages of one finding each: a door test, a room, a plan, nights compared."""

from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.dossier.kept_door_test import KeptDoorTest
from sleepnoise.dossier.plan_summary import PlanSummary
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.report.nights_sections import nights_sections
from sleepnoise.report.one_page import one_page
from sleepnoise.report.plan_sections import plan_sections, plan_sources
from sleepnoise.report.room_sections import (
    advice_sections,
    door_section,
    door_sources,
    paths_section,
    room_caution_points,
)
from sleepnoise.report.sections import Section
from sleepnoise.trials.door_test import CAUTIONS
from sleepnoise.wording.case_words import CASE_LIMITS
from sleepnoise.wording.tables import Table


def door_test_page(test: KeptDoorTest) -> str:
    """Return the page of a door test as HTML."""
    sections = [door_section(test, "door"), _cautions(CAUTIONS), _sources(door_sources(test))]
    return one_page(test.title, sections, kicker="A door test")


def room_page(study: RoomStudy) -> str:
    """Return the page of a room as HTML: how sound gets in, and what may be done."""
    sections = [
        paths_section(study, "paths"),
        *advice_sections(study, "treatments"),
        _cautions(room_caution_points(study)),
    ]
    return one_page(study.bedroom.title, sections, kicker="The paths of a bedroom")


def plan_page(plan: PlanSummary, notes: tuple[str, ...] = ()) -> str:
    """Return the page of a plan as HTML.

    Parameters
    ----------
    plan : PlanSummary
    notes : tuple of str, optional
        What has to be seen to before its treatments.
    """
    sections = [
        *plan_sections(plan, "plan"),
        _cautions(tuple(dict.fromkeys((*notes, *plan.cautions)))),
        _sources(plan_sources(plan)),
    ]
    return one_page(plan.room, sections, kicker="A plan for a bedroom")


def nights_page(compared: NightsCompared, value_db: float | None = None) -> str:
    """Return the page of nights compared as HTML."""
    limits = Section(key="limits", title="Limits", points=CASE_LIMITS)
    return one_page(
        compared.title, [*nights_sections(compared, value_db=value_db), limits], kicker="Nights compared"
    )


def _cautions(points: tuple[str, ...]) -> Section:
    return Section(key="cautions", title="Cautions", points=points, template="cautions.html")


def _sources(table: Table) -> Section:
    return Section(key="sources", title="What it was made from", folded=(table,), template="exhibits.html")
