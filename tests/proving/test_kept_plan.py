"""A plan that is kept and read back."""

import json

import numpy as np
import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.planning.outcome import outcome
from sleepnoise.proving.kept_plan import read_plan


def test_a_plan_read_back_promises_what_the_model_says_of_the_same_problem(plan_file, demo_night):
    path, room = plan_file
    kept = read_plan(path)
    problem, _ = kept.problem(room, [demo_night])
    wanted = {each.key: each.treatments for each in kept.promise.treated}
    choice = [
        [option.treatments for option in group.options].index(wanted.get(group.key, ()))
        for group in problem.groups
    ]
    found = outcome(problem, choice, kept.promise.masker)
    assert kept.promise.laeq.promised == pytest.approx(found.laeq_dba, abs=1e-9)
    assert [each.lafmax.promised for each in kept.promise.events] == pytest.approx(found.lafmax_dba.tolist())
    assert kept.promise.loss_db[problem.origins.index("inside")] == pytest.approx(np.zeros(29), abs=1e-9)


def test_before_is_the_night_as_it_was_even_with_required_treatments(plan_file, demo_record):
    promise = read_plan(plan_file[0]).promise
    before = [each.lafmax.before for each in promise.events]
    assert before == pytest.approx([each.lafmax for each in demo_record.assessment.events], abs=1e-6)
    assert promise.laeq.before == pytest.approx(demo_record.assessment.statistics.laeq, abs=0.1)


def test_what_is_made_inside_is_promised_without_doubt_and_the_rest_is_not(plan_file):
    promise = read_plan(plan_file[0]).promise
    doubt = {each.origin: each.lafmax.u_db for each in promise.events}
    assert doubt["inside"] == pytest.approx(0.0, abs=0.05)
    assert doubt["hall"] > 0.3


def test_other_files_than_those_of_the_plan_are_refused(plan_file, demo_night, tmp_path):
    path, room = plan_file
    changed = tmp_path / "room.toml"
    changed.write_text(room.read_text() + "\n# changed\n")
    with pytest.raises(SettingsError, match="not made from this room file"):
        read_plan(path).problem(changed, [demo_night])


@pytest.mark.parametrize(
    ("key", "value", "complaint"),
    [
        ("schema", {"name": "sleepnoise/plan", "version": 2}, "schema version"),
        ("promise", None, "holds no plan"),
        ("wish", {"margin_db": "loud"}, "margin_db"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(plan_file, tmp_path, key, value, complaint):
    document = json.loads(plan_file[0].read_text())
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps({**document, key: value}))
    with pytest.raises(SettingsError, match=complaint):
        read_plan(wrong)


def test_losses_that_miss_a_band_are_refused(plan_file, tmp_path):
    document = json.loads(plan_file[0].read_text())
    document["promise"]["loss_db"][0].pop()
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(document))
    with pytest.raises(SettingsError, match="one for each side and band"):
        read_plan(wrong)


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("LAeq_dB", "promised"), -1e308), (("background", "u_db"), 1e308), (("allowed",), 10**400),
        (("events", 0, "LAFmax_dB", "promised"), 1e308), (("loss_db", 0, 0), -1e308),
        (("duration_s",), 1e308),
    ],
)  # fmt: skip
def test_numbers_that_no_plan_holds_are_refused_before_they_overflow(plan_file, tmp_path, place, value):
    document = json.loads(plan_file[0].read_text())
    part = document["promise"]
    for key in place[:-1]:
        part = part[key]
    part[place[-1]] = value
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(document))
    with pytest.raises(SettingsError, match=rf"wrong\.json: promise {place[0]}"):
        read_plan(wrong)
