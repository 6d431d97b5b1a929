"""A plan measured anew in the filtered sound of the shipped excerpt."""

import json
from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.dossier.proof_document import heard_document
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.proving.after_night import after_night, promised_events
from sleepnoise.proving.agreement import AGREEING_DB, NOT_EXPLAINED


@pytest.fixture(scope="module")
def behind_curtain(demo_record, curtain):
    """Return the night behind the curtain."""
    return after_night(demo_record, curtain)


@pytest.fixture(scope="module")
def with_masker(demo_record, curtain_and_masker):
    """Return the night behind the curtain, with the masker."""
    return after_night(demo_record, curtain_and_masker)


@pytest.mark.parametrize("which", ["behind_curtain", "with_masker"])
def test_computed_and_measured_levels_agree_or_the_difference_is_explained(which, request):
    after = request.getfixturevalue(which)
    for each in (*after.levels, *(event.lafmax for event in after.events)):
        assert each.agrees == (abs(each.difference_db) <= AGREEING_DB)
        assert each.agrees != bool(each.explanation)
        assert each.explanation != NOT_EXPLAINED


def test_a_loss_of_nothing_changes_nothing(demo_record, curtain):
    nothing = replace(
        curtain,
        loss_db=np.zeros_like(curtain.loss_db),
        background_loss_db=np.zeros_like(curtain.background_loss_db),
    )
    after = after_night(demo_record, nothing)
    assert after.assessment.statistics.laeq == pytest.approx(demo_record.assessment.statistics.laeq, abs=0.02)
    assert [each.number for each in after.assessment.events] == [each.number for each in after.events]
    for event in after.events:
        assert event.lafmax.measured == pytest.approx(event.lafmax.before, abs=0.02)
        assert event.margin_db == pytest.approx(event.margin_before_db, abs=0.3)
    words = [verdict.word for verdict in demo_record.assessment.verdicts]
    assert [verdict.word for verdict in after.assessment.verdicts] == words


def test_every_level_falls_by_a_loss_that_is_the_same_everywhere(demo_record, curtain):
    """Ten decibels on paper are ten decibels in the sound, through the whole assessment."""
    flat = replace(
        curtain,
        loss_db=np.full_like(curtain.loss_db, 10.0),
        background_loss_db=np.full_like(curtain.background_loss_db, 10.0),
    )
    after = after_night(demo_record, flat)
    before = demo_record.assessment
    assert after.assessment.statistics.laeq == pytest.approx(before.statistics.laeq - 10.0, abs=0.02)
    for event in after.events:
        assert event.lafmax.measured == pytest.approx(event.lafmax.before - 10.0, abs=0.02)


def test_what_is_made_inside_stays_and_the_masker_is_as_loud_as_planned(with_masker):
    _, background, masker = with_masker.levels
    assert masker.measured == pytest.approx(30.0, abs=0.1)
    assert background.measured == pytest.approx(background.computed, abs=0.3)
    inside = with_masker.events[2]
    assert inside.side == "inside"
    assert inside.lafmax.measured == pytest.approx(inside.lafmax.before, abs=0.3)


def test_what_the_masker_swallows_is_no_event_any_more(demo_record, curtain_and_masker):
    thick = curtain_and_masker.loss_db.copy()
    thick[curtain_and_masker.sides.index("hall")] = 45.0
    after = after_night(demo_record, replace(curtain_and_masker, loss_db=thick))
    of_hall = [each for each in after.events if each.side == "hall"]
    assert len(after.assessment.events) == len(after.events) - len(of_hall)
    assert all(each.margin_db < each.margin_before_db - 15.0 for each in of_hall)
    assert {each.number for each in after.audible}.isdisjoint(each.number for each in of_hall)


def test_another_night_or_relative_levels_are_refused(demo_record, curtain):
    event = replace(curtain.events[0], lafmax=replace(curtain.events[0].lafmax, before=99.0))
    with pytest.raises(SettingsError, match="not made from this night"):
        promised_events(demo_record, replace(curtain, events=(event, *curtain.events[1:])), 1)
    with pytest.raises(SettingsError, match="not made from this night"):
        promised_events(demo_record, curtain, 2)
    relative = replace(demo_record, calibration=replace(demo_record.calibration, absolute=False))
    with pytest.raises(SettingsError, match="without calibration"):
        promised_events(relative, curtain, 1)


def test_the_document_of_a_heard_night_holds_every_level_unrounded(behind_curtain):
    document = json.loads(document_text(heard_document(behind_curtain)))
    assert document["schema"] == {"name": "sleepnoise/plan-heard", "version": 1}
    assert [each["name"] for each in document["levels"]] == ["LAeq", "background"]
    for kept, each in zip(document["events"], behind_curtain.events, strict=True):
        assert kept["number"] == each.number
        assert kept["LAFmax_dB"]["measured"] == each.lafmax.measured
        assert kept["LAFmax_dB"]["difference_db"] == each.lafmax.difference_db
        assert kept["margin_db"] == each.margin_db
    assert document["audible"] == len(behind_curtain.audible)
    assert document["verdicts"][0]["verified"] is True


def test_events_come_out_as_planned_and_never_much_louder(behind_curtain):
    """The plan's bar: typically within 0.5 dB, never more than 1 dB too low."""
    off_db = [each.lafmax.difference_db for each in behind_curtain.events]
    assert np.median(np.abs(off_db)) < 0.5
    assert max(off_db) < 1.0
