"""A plan just made and the same read from its document say the same; every name and level is invented."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.assessing.published_limits import published_limits
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.plan_document import plan_document
from sleepnoise.dossier.plan_summary import plan_from
from sleepnoise.evidence.plain import document_text
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import PublishedLimits, plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.report.plan_sections import plan_sections
from sleepnoise.screens.plan_summary import show_bedroom_plan
from sleepnoise.wording.either_plan_words import OtherPlan, isolation_first, limit_sentences
from sleepnoise.wording.kept_plan_words import is_chosen, kept_plan_sentences
from sleepnoise.wording.planning_words import plan_sentences


@pytest.fixture(scope="module")
def both(record, room_file, tmp_path_factory):
    """Return a plan whose sides are guessed, and the same one read from its document."""
    folder = tmp_path_factory.mktemp("night")
    (folder / "assessment.json").write_text(document_text(assessment_document(record)), encoding="utf-8")
    wishes = RoomWishes(origins={"1": "hall"})
    maskers = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
    wish = Wish(margin_db=14.0, masker_step_db=5.0, masker_worth=0.0)
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


SEALS = {"money": 60.0, "cost": "60 EUR", "done": "door: seals"}
LEAF = {"money": 900.0, "cost": "about 900 EUR", "done": "door: solid leaf"}
NOTHING = {"money": 0.0, "cost": "nothing", "done": ""}
NONE = float("-inf")


def instead_of(*others, enough=12):
    rows = [OtherPlan(**words, level_dba=level_dba, audible=audible) for words, level_dba, audible in others]
    return isolation_first(rows, 33.2, enough=enough, events=32)


@pytest.mark.parametrize(
    ("others", "told", "untold"),
    [
        # As good for money alone: the cheaper of two that leave no more, no word on a quieter masker.
        (
            [(SEALS, NONE, 12), (LEAF, NONE, 10), (LEAF, 20.0, 9)],
            ["Without one: door: seals, costs 60 EUR, leaves 12 of 32 audible."],
            ["With a quieter", "leaf", "no plan was found"],
        ),
        # A quieter masker that does it for less is told beside what isolation alone would take.
        (
            [(LEAF, NONE, 12), (SEALS, 25.0, 11)],
            [
                "Without one: door: solid leaf, costs about 900 EUR",
                "door: seals, masker 25 dB(A), costs 60 EUR",
            ],
            [],
        ),
        # Nothing is as good: what leaves fewest, however much it costs.
        (
            [(SEALS, NONE, 30), (LEAF, NONE, 14), (SEALS, 25.0, 20)],
            ["Without one: door: solid leaf, costs about 900 EUR, leaves 14 of 32 audible."],
            ["seals", "--masker-worth"],
        ),
        (
            [(SEALS, 25.0, 12)],
            [
                "Without one no plan was found",
                "With a quieter one: door: seals, masker 25 dB(A)",
                "--masker-worth",
            ],
            ["Without one:"],
        ),
    ],
)
def test_beside_a_masker_alone_stands_what_isolation_would_do(others, told, untold):
    text = instead_of(*others, (NOTHING, NONE, 32), (NOTHING, 30.0, 13))
    assert "last resort: isolation comes first where it can be had" in text
    assert all(words in text for words in told)
    assert not any(words in text for words in untold)


def test_nothing_is_said_of_isolation_that_takes_a_louder_masker_or_is_none():
    assert instead_of((SEALS, 34.0, 10), (NOTHING, NONE, 32), (NOTHING, 30.0, 13)) == ""


def test_screen_and_page_put_isolation_before_a_masker_alone(both):
    """The plan is a masker of no worth: of the same front, only what can be paid for is told."""
    plan, kept = both
    alone = plan.masking_only
    bare = replace(plan, optimum=replace(plan.optimum, plan=alone))
    page = kept.model_copy(update={"plan": kept.masking_only})
    row = min(
        (each for each in kept.front if each.masker is None and each.treatments),
        key=lambda each: (max(each.audible, alone.outcome.audible_count), each.money),
    )
    for text in (said(plan_sentences(bare)), said(kept_plan_sentences(page))):
        assert "This is a masker alone, which is a last resort" in text
        assert f"{row.money:.0f} EUR, leaves {row.audible} of 3 audible. With a quieter one: " in text
    poor = replace(plan.problem, wish=replace(plan.problem.wish, budget=0.0))
    page = page.model_copy(update={"wish": kept.wish.model_copy(update={"budget": 0.0})})
    for text in (
        said(plan_sentences(replace(bare, problem=poor))),
        said(kept_plan_sentences(page)),
        said(plan_sentences(plan)),
        said(kept_plan_sentences(kept)),
    ):
        assert "This is a masker alone" not in text


def test_readings_of_one_document_that_are_taken_together_are_named_so_that_one_can_be_taken(both):
    """WHO 1999: Table 4.1 gives LAFmax 45 dB without a count, the text 10 to 15 events a night above it."""
    plan, kept = both
    limits = published_limits(["who-1999-bedroom"], ("23:00", "07:00"))
    for text in (
        said(plan_sentences(replace(plan, limits=limits))),
        said(kept_plan_sentences(kept.model_copy(update={"limits": limits}))),
    ):
        assert "Of 2 for LAFmax the strictest decides" in text
        assert "for LAeq the strictest" not in text
        for each in limits.used:
            assert each.named in text.partition("Criteria taken: ")[2]
    for each in limits.used:
        [alone] = published_limits([each.named], ("23:00", "07:00")).used
        assert alone == each
        assert "Criteria taken" not in said(limit_sentences(PublishedLimits(used=(alone,))))


def test_a_guideline_in_a_file_is_named_without_its_folder(tmp_path):
    profile = Path(__file__).parents[2] / "profiles" / "guidelines" / "who-1999-bedroom.toml"
    (tmp_path / "mine.toml").write_bytes(profile.read_bytes())
    used = published_limits([str(tmp_path / "mine.toml")], ("23:00", "07:00")).used
    assert used[0].named == "mine.toml:who1999_bedroom_laeq"
