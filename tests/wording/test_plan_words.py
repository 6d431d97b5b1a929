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
from sleepnoise.report.plan_sections import plan_sections
from sleepnoise.screens.plan_summary import show_bedroom_plan
from sleepnoise.wording.kept_plan_words import is_chosen, kept_plan_sentences
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


def test_screen_and_page_say_that_levels_in_tables_are_steps(both, capsys):
    plan, kept = both
    words = "Masker levels in tables go up in steps of 5 dB"
    show_bedroom_plan(plan)
    assert words in said(capsys.readouterr().out.split())
    [trade] = [each for each in plan_sections(kept, "p") if each.key == "p-trade"]
    assert any(words in note for note in trade.notes)


def test_a_plan_without_maskers_has_no_note_on_their_steps(both):
    kept = both[1]
    bare = kept.model_copy(update={"front": tuple(each for each in kept.front if not each.masker)})
    [trade] = [each for each in plan_sections(bare, "p") if each.key == "p-trade"]
    assert not any("steps" in note for note in trade.notes)


@pytest.mark.parametrize(
    ("level_dba", "chosen"), [(33.2, True), (34.0, True), (33.01, True), (33.0, False), (32.9, False)]
)
def test_the_row_of_the_plan_is_marked_although_its_level_is_a_step(both, level_dba, chosen):
    """The masker of the row at 34 dB(A), in steps of 1 dB, is louder than 33 and no louder than 34."""
    kept = both[1]
    row = kept.front[0].model_copy(update={"money": 50.0, "masker": "pink", "masker_dba": 34.0, "audible": 3})
    best = kept.plan.model_copy(update={"money": 50.0, "masker_dba": level_dba, "audible": 3})
    wish = kept.wish.model_copy(update={"masker_step_db": 1.0})
    assert is_chosen(kept.model_copy(update={"plan": best, "wish": wish}), row) is chosen
