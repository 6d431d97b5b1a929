"""A plan just made and the same read from its document say the same; every name and level is invented."""

import json
from dataclasses import replace

import pytest

from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.plan_document import plan_document
from sleepnoise.dossier.plan_summary import plan_from
from sleepnoise.evidence.plain import document_text
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.wording.kept_plan_words import kept_plan_sentences
from sleepnoise.wording.planning_words import plan_sentences


@pytest.fixture(scope="module")
def both(record, room_file, tmp_path_factory):
    """Return a plan whose sides are guessed, and the same one read from its document."""
    folder = tmp_path_factory.mktemp("night")
    (folder / "assessment.json").write_text(document_text(assessment_document(record)), encoding="utf-8")
    wishes = RoomWishes(origins={"1": "hall"})
    maskers = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
    wish = Wish(margin_db=6.0, masker_step_db=5.0, masker_worth=0.0)
    plan = plan_bedroom([read_kept_night(folder)], study_room(room_file), wishes, maskers, wish)
    document = json.loads(json.dumps(plan_document(plan, room_file, [folder], (wishes, maskers))))
    return plan, plan_from(document, "plan")


def said(sentences):
    return " ".join(sentences)


def test_page_and_screen_say_how_loud_it_is_now_and_afterwards_and_which_sides_are_guessed(both):
    plan, kept = both
    for text in (said(plan_sentences(plan)), said(kept_plan_sentences(kept))):
        assert f"LAeq is {kept.plan.laeq:.1f} (now {kept.as_it_is.laeq:.1f}) and the background" in text
        assert f"dB(A) (now {kept.as_it_is.background_dba:.1f}), masker included." in text
        assert "(for 2 of them the side is guessed)" in text


def test_page_and_screen_say_that_a_masker_makes_the_night_louder(both):
    plan, kept = both
    words = "The masker makes the night louder than it is."
    for laeq, louder in ((kept.as_it_is.laeq + 1.0, True), (kept.as_it_is.laeq - 1.0, False)):
        best = plan.optimum.plan
        changed = replace(best, outcome=replace(best.outcome, laeq_dba=laeq))
        of_screen = replace(plan, optimum=replace(plan.optimum, plan=changed))
        of_page = kept.model_copy(update={"plan": kept.plan.model_copy(update={"laeq": laeq})})
        assert (words in said(plan_sentences(of_screen))) is louder
        assert (words in said(kept_plan_sentences(of_page))) is louder


def test_a_document_without_the_levels_of_now_still_says_those_of_afterwards(both):
    older = both[1].model_copy(update={"as_it_is": None})
    text = said(kept_plan_sentences(older))
    assert f"Afterwards LAeq is {older.plan.laeq:.1f} and the background" in text
    assert "louder than it is" not in text
