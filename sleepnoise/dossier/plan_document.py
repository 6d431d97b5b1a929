"""A bedroom's plan as one JSON document: everything, unrounded."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sleepnoise.evidence.plain import plain_value
from sleepnoise.evidence.provenance import file_mark, library_versions
from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.optimum import Plan
from sleepnoise.planning.outcome import as_it_is
from sleepnoise.planning.robustness import CertainPlan
from sleepnoise.proving.promise import promise_of

SCHEMA = {"name": "sleepnoise/plan", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""


def plan_document(
    plan: BedroomPlan,
    room: Path,
    folders: Sequence[Path],
    asked: tuple[RoomWishes, MaskerChoices],
) -> dict[str, Any]:
    """Return the document of a plan; what is not known is null, silence ``"-Infinity"``.

    Parameters
    ----------
    plan : BedroomPlan
    room : Path
        The room file that it was made from.
    folders : sequence of Path
        The assessments.
    asked : tuple of RoomWishes and MaskerChoices
        What it was made with, so that it can be made anew.
    """
    assessments = [folder / "assessment.json" if folder.is_dir() else folder for folder in folders]
    marks = [file_mark(room, "room file"), *(file_mark(each, "assessment") for each in assessments)]
    problem, optimum = plan.problem, plan.optimum
    parts = {
        "schema": SCHEMA,
        "made_from": {"files": marks, "versions": library_versions()},
        "room": plan.study.bedroom.title,
        "currency": plan.study.bedroom.currency or None,
        "wish": problem.wish,
        "asked": _asked(*asked),
        "promise": promise_of(plan),
        "combinations": problem.combinations,
        "reached": optimum.reached,
        "as_it_is": _now(plan),
        "plan": _plan(plan, optimum.plan),
        "isolation_only": _plan(plan, plan.isolation_only),
        "masking_only": _plan(plan, plan.masking_only),
        "target_5_dB_wider": _plan(plan, plan.eased),
        "events": _events(plan),
        "comes_in_by": plan.parts,
        "steps": plan.steps,
        "front": _front(plan),
        "map": plan.map,
        "audible_whatever_is_done": plan.whatever,
        "missing": plan.missing,
        "certainty": plan.certainty,
        "surer_plans": [_surer(plan, each) for each in plan.certain],
        "listener": problem.listener,
        "alarms": plan.alarms,
        "published_limits": plan.limits,
        "cautions": plan.cautions,
    }
    document = plain_value(parts)
    assert isinstance(document, dict)
    return document


def _asked(wishes: RoomWishes, maskers: MaskerChoices) -> dict[str, Any]:
    return {
        "room": wishes,
        "shapes": bool(maskers.shapes),
        "shaped": maskers.shaped,
        "lowest_hz": maskers.lowest_hz,
    }


def _surer(plan: BedroomPlan, each: CertainPlan) -> dict[str, Any]:
    return {
        "certainty": each.certainty,
        "probability": each.probability,
        "tightened_db": each.tightened_db,
        "plan": _plan(plan, each.plan),
    }


def _front(plan: BedroomPlan) -> list[dict[str, Any]]:
    return [
        {
            "money": point.money,
            "masker": point.shape or None,
            "masker_LA_dB": point.level_dba,
            "audible": point.audible,
            "treatments": _treatments(plan, point.choice),
        }
        for point in plan.front
    ]


def _events(plan: BedroomPlan) -> list[dict[str, Any]]:
    best, events = plan.optimum.plan, plan.problem.events
    return [
        {
            "event": name,
            "from": plan.problem.origins[origin],
            "margin_db": None if best is None else float(best.outcome.margins_db[row]),
            "audible": None if best is None else bool(best.outcome.audible[row]),
            "LAFmax_dB": None if best is None else float(best.outcome.lafmax_dba[row]),
        }
        for row, (name, origin) in enumerate(zip(events.names, events.origin, strict=True))
    ]


def _now(plan: BedroomPlan) -> dict[str, float]:
    now = as_it_is(plan.problem)
    return {"LAeq_dB": now.laeq_dba, "background_LA_dB": now.background_dba}


def _plan(plan: BedroomPlan, best: Plan | None) -> dict[str, Any] | None:
    if best is None:
        return None
    found = best.outcome
    return {
        "treatments": _treatments(plan, best.choice),
        "money": found.money,
        "masker": best.masker.name or None,
        "masker_spectrum": best.spectrum,
        "masker_LA_dB": found.masker_dba,
        "score": best.score,
        "audible": found.audible_count,
        "LAeq_dB": found.laeq_dba,
        "background_LA_dB": found.background_dba,
        "alarm_LA_dB": found.alarm_dba if np.isfinite(found.alarm_dba) else None,
        "not_kept": found.unmet,
        "method": best.method,
        "proved": best.proved,
        "gap": best.gap,
    }


def _treatments(plan: BedroomPlan, choice: tuple[int, ...]) -> list[dict[str, Any]]:
    return [
        {
            "part": group.key,
            "part_title": group.title,
            "treatments": option.treatments,
            "titles": option.titles,
            "money": option.money,
            "guessed": option.guessed,
        }
        for group, number in zip(plan.problem.groups, choice, strict=False)
        if (option := group.options[number]).treatments
    ]
