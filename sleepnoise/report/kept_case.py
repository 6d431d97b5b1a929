"""What a dossier holds, read for its page; every kept result is held against the journal first."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.casework.dossier import Dossier, Night, kept_content
from sleepnoise.casework.missing import Point
from sleepnoise.casework.night_results import is_assessed, result_folder
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.dossier.kept_door_test import KeptDoorTest, read_kept_door_test
from sleepnoise.dossier.night_sketch import NightSketch, night_sketch
from sleepnoise.dossier.plan_summary import PlanSummary, read_plan_summary
from sleepnoise.errors import SleepNoiseError
from sleepnoise.night.window import NightWindow
from sleepnoise.planning.room_study import RoomStudy, study_room
from sleepnoise.report.night_strip import ShownNight


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCase:
    """What a dossier holds, read for its page.

    Attributes
    ----------
    dossier : Dossier
    points : sequence of Point
    compared : NightsCompared
    nights : tuple of ShownNight
        In order of time.
    door_tests : mapping of str to KeptDoorTest
    plans : mapping of str to PlanSummary
        In the order in which they came.
    study : RoomStudy or None
    not_read : mapping of str to str
        What cannot be made sense of, and why.
    """

    dossier: Dossier
    points: Sequence[Point]
    compared: NightsCompared
    nights: tuple[ShownNight, ...]
    door_tests: Mapping[str, KeptDoorTest]
    plans: Mapping[str, PlanSummary]
    study: RoomStudy | None
    not_read: Mapping[str, str]


def kept_case(dossier: Dossier, points: Sequence[Point], compared: NightsCompared) -> KeptCase:
    """Read what a dossier holds for its page.

    Raises
    ------
    RecordingError
        If a kept result is not what was written.
    """
    not_read: dict[str, str] = {}
    door_tests, plans = {}, {}
    for folder in dossier.door_tests:
        content = kept_content(dossier, folder / "result.json")
        try:
            door_tests[folder.name] = read_kept_door_test(Path(f"{folder.name}/result.json"), content)
        except SleepNoiseError as error:
            not_read[f"door test {folder.name}"] = error.complaint
    for path in dossier.papers("plan"):
        content = kept_content(dossier, path)
        try:
            plans[path.name] = read_plan_summary(Path(path.name), content)
        except SleepNoiseError as error:
            not_read[f"plan {path.name}"] = error.complaint
    return KeptCase(
        dossier=dossier,
        points=points,
        compared=compared,
        nights=tuple(_shown(dossier, night, compared) for night in dossier.nights),
        door_tests=door_tests,
        plans=plans,
        study=_study(dossier, not_read),
        not_read=not_read,
    )


def _study(dossier: Dossier, not_read: dict[str, str]) -> RoomStudy | None:
    if dossier.room is None:
        return None
    try:
        return study_room(dossier.room)
    except SleepNoiseError as error:
        not_read["room"] = error.complaint.replace(f"{dossier.root}/", "")
        return None


def _shown(dossier: Dossier, night: Night, compared: NightsCompared) -> ShownNight:
    figures = next((each for each in compared.nights if each.name == night.name), None)
    window = NightWindow.parse(dossier.about.night_hours, dossier.about.zone)
    return ShownNight(
        name=night.name,
        evening=night.file.evening,
        windows=night.file.windows,
        opens_minute=60 * window.start.hour + window.start.minute,
        figures=figures,
        sketch=_sketch(dossier, night, figures, window),
    )


def _sketch(
    dossier: Dossier, night: Night, figures: NightFigures | None, window: NightWindow
) -> NightSketch | None:
    if figures is None or not is_assessed(dossier, night):
        return None
    document = json.loads(kept_content(dossier, result_folder(dossier, night) / "assessment.json"))
    start, end = (datetime.fromisoformat(document["night"][key]) for key in ("start_utc", "end_utc"))
    return night_sketch(document, window.overlapping(start, end)[0], night.name)
