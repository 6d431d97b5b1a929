"""Trade-offs of a plan: money, masker and audible events, as a map and as stairs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from sleepnoise.dossier.plan_summary import FrontPlan, PlanSummary
from sleepnoise.planning.first_plan import FirstPlan
from sleepnoise.report.axes import WIDTH, Axis, axis_over, cut_text
from sleepnoise.report.drawings import drawn
from sleepnoise.report.night_trace import Mark
from sleepnoise.report.sections import Figure
from sleepnoise.wording.kept_plan_words import chosen_text, level_head, treatments_words

STAIRS = SimpleNamespace(WIDTH=WIDTH, HEIGHT=380, LEFT=60, RIGHT=938, TOP=26, BOTTOM=330)
"""Size of the stairs. Chosen: as other figures."""

END, HEAD, ROW, BELOW = 944, 48, 26, 10
"""Columns and rows of the map. Chosen: counts legible in each cell."""

STEP_NAMES, MONEY_NAMES = 390, 170
"""Room for the names of rows: measures, and amounts of money. Chosen: what most of them need."""

MAP_STEP_DBA = 5.0
"""Spacing of the columns of masker levels. Chosen: what is read at a glance."""

LEAST_MONEY = 100.0
"""Money that the stairs reach at least. Chosen: a plan that costs nothing still stands at their left end."""

MOST_STAIRS = 4
"""Lines of the stairs. Chosen: more can't be told apart; the map has all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapRow:
    """One row of a map: a name, and how many events stay audible with each masker."""

    name: str
    counts: tuple[int, ...]


def map_of_plan(plan: PlanSummary, key: str) -> Figure | None:
    """Return how few events stay audible for how much money and how loud a masker; none without a map."""
    if plan.map is None or not plan.events:
        return None
    currency = f" {plan.currency}" if plan.currency else ""
    rows = [
        MapRow(name=f"up to {money:.0f}{currency}", counts=counts)
        for money, counts in zip(plan.map.money, plan.map.audible, strict=True)
    ]
    return _map_figure(
        key, "Events that stay audible, by what is spent and the masker", rows, plan.map.levels_dba,
        events=len(plan.events), allowed=plan.wish.events_allowed, chosen=_chosen_place(plan),
        names=MONEY_NAMES,
    )  # fmt: skip


def _chosen_place(plan: PlanSummary) -> tuple[int, int] | None:
    """Return row and column of the map in which the chosen plan lies."""
    best, drawn_map = plan.plan, plan.map
    if best is None or drawn_map is None:
        return None
    # The first row and column that allow for what it costs and how loud it is.
    rows = [row for row, money in enumerate(drawn_map.money) if money >= best.money - 1e-6]
    columns = [
        column for column, level_dba in enumerate(drawn_map.levels_dba) if level_dba >= best.masker_dba - 1e-6
    ]
    return (rows[0], columns[0]) if rows and columns else None


def map_of_first_plan(plan: FirstPlan, key: str) -> Figure | None:
    """Return how few events stay audible behind each isolation step with each masker; none without events."""
    if not plan.events or not plan.choices:
        return None
    steps = {choice.step.key: choice.step for choice in plan.choices}
    cap_dba = plan.settings.cap_dba
    levels_dba = [-math.inf]
    while levels_dba[-1] < cap_dba:
        following = 20.0 if math.isinf(levels_dba[-1]) else levels_dba[-1] + MAP_STEP_DBA
        levels_dba.append(min(following, cap_dba))
    rows = [
        MapRow(name=step.title, counts=tuple(_fewest(plan, name, level_dba) for level_dba in levels_dba))
        for name, step in steps.items()
    ]
    return _map_figure(
        key, "Events that stay audible, by isolation step and masker", rows, levels_dba,
        events=plan.events, allowed=plan.settings.events_allowed,
    )  # fmt: skip


def _fewest(plan: FirstPlan, step: str, level_dba: float) -> int:
    """Return the fewest audible events behind a step with a masker of any shape, no louder than that."""
    return min(
        count
        for choice in plan.choices
        if choice.step.key == step
        for masker_dba, count in zip(choice.masker_dba, choice.audible_by_level, strict=True)
        if masker_dba <= level_dba + 1e-6
    )


def _map_figure(
    key: str,
    title: str,
    rows: Sequence[MapRow],
    levels_dba: Sequence[float],
    *,
    events: int,
    allowed: int,
    chosen: tuple[int, int] | None = None,
    names: int = STEP_NAMES,
) -> Figure:
    box = SimpleNamespace(
        WIDTH=WIDTH, HEIGHT=HEAD + ROW * len(rows) + BELOW, LEFT=names, RIGHT=END, TOP=HEAD,
        BOTTOM=HEAD + ROW * len(rows),
    )  # fmt: skip
    width = (END - names) / len(levels_dba)
    plot = {
        "columns": [
            Mark(at=round(names + width * (place + 0.5), 1), text=level_head(level_dba))
            for place, level_dba in enumerate(levels_dba)
        ],
        "rows": [
            {"y": HEAD + ROW * number, "name": cut_text(row.name, names - 14), "title": row.name[:300]}
            for number, row in enumerate(rows)
        ],
        "cells": [
            {
                "x": round(names + width * place, 1), "y": HEAD + ROW * number, "width": round(width, 1),
                "height": ROW, "count": count, "share": round(count / events, 3),
                "reached": count <= allowed, "chosen": (number, place) == chosen,
            }
            for number, row in enumerate(rows) for place, count in enumerate(row.counts)
        ],
        "reached": any(count <= allowed for row in rows for count in row.counts),
        "chosen": chosen is not None,
        "allowed": allowed,
        "events": events,
    }  # fmt: skip
    told = "Cells that reach the target are outlined." if plot["reached"] else "No cell reaches the target."
    description = (
        f"A map of {len(rows)} rows and {len(levels_dba)} columns: how many of {events} events stay audible "
        f"with a masker no louder than the column says. {told} A table has the same."
    )
    svg = drawn("trade_map", key, title, description, plot, box)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("trade_map_key", plot))


def stairs_figure(plan: PlanSummary, key: str) -> Figure | None:
    """Return the fewest audible events for what is spent at most, for a few maskers; none without plans."""
    if not plan.front:
        return None
    chosen = plan.plan
    moneys = [point.money for point in plan.front] + ([chosen.money] if chosen else [])
    across = axis_over([0.0, LEAST_MONEY, *moneys], STAIRS.LEFT, STAIRS.RIGHT)
    counts = [0.0, float(len(plan.events)), 4.0]
    up = axis_over(counts, STAIRS.BOTTOM, STAIRS.TOP)
    plot = {
        "across": across.marks,
        "marks": [mark for mark in up.marks if "." not in mark.text],
        "lines": _lines(plan, across, up),
        "points": [_point(point, across, up) for point in plan.front],
        "chosen": None if chosen is None else (across.at(chosen.money), up.at(chosen.audible)),
        "chosen_text": "" if chosen is None else chosen_text(plan),
        "target": up.at(plan.wish.events_allowed),
        "target_text": f"target: {plan.wish.events_allowed}",
        "budget": across.at(plan.wish.budget) if plan.wish.budget <= across.high else None,
        "unit": cut_text(f"money spent at most{', ' + plan.currency if plan.currency else ''}", 400),
    }
    sampled = "" if plan.map else " Not every combination was worked out: these are the best of some maskers."
    verdict = "The target can be reached." if plan.reached else "The target cannot be reached."
    title = "Fewest audible events for the money, by the loudest masker allowed"
    description = (
        f"{len(plan.front)} plans that no other one beats, and a falling stair for each of some maskers. "
        f"{verdict}{sampled} The table lists the plans."
    )
    svg = drawn("stairs", key, title, description, plot, STAIRS)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("stairs_key", plot))


def _lines(plan: PlanSummary, across: Axis, up: Axis) -> list[dict[str, str]]:
    levels_dba = sorted({point.masker_dba for point in plan.front})
    wanted = [-math.inf, *(each for each in _rounded_up(levels_dba) if math.isfinite(each))]
    found: list[dict[str, str]] = []
    for level_dba in wanted:
        path = _stair([point for point in plan.front if point.masker_dba <= level_dba + 1e-6], across, up)
        if path and all(path != each["path"] for each in found):
            name = "no masker" if math.isinf(level_dba) else f"masker of up to {level_dba:.0f} dB(A)"
            found.append({"name": name, "path": path})
    if len(found) > MOST_STAIRS:
        last = len(found) - 1
        found = [found[round(last * place / (MOST_STAIRS - 1))] for place in range(MOST_STAIRS)]
    return found


def _rounded_up(levels_dba: Sequence[float]) -> list[float]:
    """Return masker levels rounded up to the columns of the map, each once, rising."""
    finite = [each for each in levels_dba if math.isfinite(each)]
    up = {min(MAP_STEP_DBA * math.ceil(each / MAP_STEP_DBA - 1e-9), max(finite)) for each in finite}
    return sorted(up)


def _stair(points: Sequence[FrontPlan], across: Axis, up: Axis) -> str:
    """Return the fewest audible events for money spent at most, as path data to the end of the axis."""
    drawn_path, fewest = "", math.inf
    for point in sorted(points, key=lambda each: (each.money, each.audible)):
        if point.audible < fewest:
            fewest = point.audible
            x, y = across.at(point.money), up.at(point.audible)
            drawn_path += f"M{x},{y}" if not drawn_path else f"H{x}V{y}"
    return f"{drawn_path}H{across.end}" if drawn_path else ""


def _point(point: FrontPlan, across: Axis, up: Axis) -> dict[str, Any]:
    return {
        "x": across.at(point.money),
        "y": up.at(point.audible),
        "title": f"{point.money:.0f}, masker {level_head(point.masker_dba)}, {point.audible} audible: "
        f"{treatments_words(point.treatments)[:300]}",
    }
