"""The shipped excerpt of the invented night, assessed once and planned for its invented bedroom."""

from dataclasses import replace
from pathlib import Path

import pytest

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.plan_document import plan_document
from sleepnoise.evidence.plain import document_text
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.outcome import outcome
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.proving.promise import promise_of

DEMO = Path(__file__).parents[2] / "demo_audio"
ROOM = DEMO / "bedroom.toml"
MASKERS = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
SIDES = {"1": "outdoors", "2": "hall", "3": "inside", "4": "hall", "5": "hall"}


@pytest.fixture(scope="session")
def demo_record():
    """Return the excerpt's record."""
    settings = AssessSettings(
        tone=DEMO / "calibration_tone.flac", zone="Europe/Vienna", guidelines=("who-1999-bedroom",)
    )
    return assess_recording(next(DEMO.glob("larch*.flac")), settings)


@pytest.fixture(scope="session")
def demo_night(demo_record, tmp_path_factory):
    """Return the folder of its assessment."""
    folder = tmp_path_factory.mktemp("assessed")
    (folder / "assessment.json").write_text(document_text(assessment_document(demo_record)))
    return folder


@pytest.fixture(scope="session")
def planned(demo_night):
    """Return a maker of plans that draw a curtain: origins, share made inside, masker level."""

    def make(origins=None, inside=0.0, masker_dba=None):
        wishes = RoomWishes(
            origins=origins or {}, background_inside=inside, required=("doorway-curtain-closed-edges",)
        )
        wish = Wish(margin_db=13.0, events_allowed=5)
        plan = plan_bedroom([read_kept_night(demo_night)], study_room(ROOM), wishes, MASKERS, wish)
        if masker_dba is None:
            return plan, wishes
        best, spectrum = plan.optimum.plan, masker_shapes()[0].at(masker_dba)
        found = outcome(plan.problem, best.choice, spectrum)
        best = replace(best, spectrum=spectrum, outcome=found)
        return replace(plan, optimum=replace(plan.optimum, plan=best)), wishes

    return make


@pytest.fixture(scope="session")
def curtain(planned):
    """Return the promise of a curtain, everything from guessed sides."""
    return promise_of(planned()[0])


@pytest.fixture(scope="session")
def curtain_and_masker(planned):
    """Return the promise of a curtain and a masker, sides said, a third of the background made inside."""
    return promise_of(planned(SIDES, 0.3, 30.0)[0])


@pytest.fixture(scope="session")
def plan_file(planned, demo_night, tmp_path_factory):
    """Return a plan that was kept as a file, and its room file."""
    plan, wishes = planned(SIDES)
    path = tmp_path_factory.mktemp("plan") / "plan.json"
    path.write_text(
        document_text(plan_document(plan, ROOM, [demo_night], (wishes, MASKERS))), encoding="utf-8"
    )
    return path, ROOM
