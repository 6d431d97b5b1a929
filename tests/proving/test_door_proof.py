"""Door tests held against a plan, and the plan made anew."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.planning.bedroom_plan import planned_bedroom
from sleepnoise.planning.outcome import left_over
from sleepnoise.profiles.files import read_door_test
from sleepnoise.proving.door_proof import problem_as_tested, prove_by_door_test, read_door_gain
from sleepnoise.proving.kept_plan import read_plan
from sleepnoise.trials.door_test import study_door_test

DEMO = Path(__file__).parents[2] / "demo_audio"


@pytest.fixture(scope="module")
def tested(tmp_path_factory):
    """Return the document of the shipped door test."""
    result = study_door_test(read_door_test(DEMO / "door_test.toml"), DEMO)
    path = tmp_path_factory.mktemp("door") / "door.json"
    path.write_text(document_text(door_test_document(result)))
    return path


@pytest.fixture(scope="module")
def kept(plan_file):
    """Return the plan that was kept."""
    return read_plan(plan_file[0])


@pytest.fixture
def as_promised(tested, kept, tmp_path):
    """Return a maker of door tests whose gains are those of the plan and some decibels more."""

    def make(more_db, at_least=False):
        document = json.loads(tested.read_text())
        proof = prove_by_door_test(kept.promise, read_door_gain(tested))
        gain = document["steps"][-1]["gain_since"]
        gain["gain_db"][0] = proof.overall.promised + more_db
        for place, each in enumerate(proof.bands, start=1):
            gain["gain_db"][place] = each.promised + more_db
        gain["at_least"] = [at_least] * len(gain["at_least"])
        path = tmp_path / "as_promised.json"
        path.write_text(json.dumps(document))
        return read_door_gain(path)

    return make


def test_the_shipped_test_reads_as_it_was_written(tested):
    """Eleven decibels from the bare closed door to curtain and seals, as the demo's truth has it."""
    gain = read_door_gain(tested)
    assert gain.gain_db[0] == pytest.approx(11.0, abs=0.2)
    assert (gain.before, gain.after) == ("door closed", "perimeter and threshold sealed")


@pytest.mark.parametrize(("more_db", "word"), [(0.0, "kept"), (20.0, "kept"), (-14.0, "not kept")])
def test_a_gain_is_kept_missed_or_surpassed(kept, as_promised, more_db, word):
    proof = prove_by_door_test(kept.promise, as_promised(more_db))
    assert proof.overall.difference == pytest.approx(more_db)
    assert proof.word == word


def test_a_gain_that_the_background_hides_is_not_called_missed(kept, as_promised):
    assert prove_by_door_test(kept.promise, as_promised(-14.0, at_least=True)).word == "cannot tell"


def test_treatments_err_in_all_bands_alike_so_that_their_errors_add_up(kept, tested):
    """2 dB in each band are 2 dB of the sum, not 2 dB over the root of the number of bands."""
    alike = replace(kept.promise, loss_u_db=np.full_like(kept.promise.loss_u_db, 2.0))
    gain = read_door_gain(tested)
    certain = replace(gain, expanded_db=np.zeros_like(gain.expanded_db))
    assert prove_by_door_test(alike, certain).overall.expanded == pytest.approx(4.0)


def test_many_bands_that_fail_break_a_promise_that_the_sum_keeps(kept, as_promised):
    gain = as_promised(0.0)
    gain.gain_db[10:20] -= 30.0
    proof = prove_by_door_test(kept.promise, gain)
    assert (proof.overall.word, proof.word) == ("kept", "not kept")


def test_a_test_as_promised_changes_nothing_in_the_plan(kept, plan_file, demo_night, as_promised):
    problem, study = kept.problem(plan_file[1], [demo_night])
    proof = prove_by_door_test(kept.promise, as_promised(0.0))
    anew = problem_as_tested(problem, kept.promise, proof)
    for one, other in zip(problem.groups, anew.groups, strict=True):
        assert other.factor == pytest.approx(one.factor, rel=1e-6)
    assert planned_bedroom(anew, study, ["night"]).optimum.plan.choice == tuple(
        [option.treatments for option in group.options].index(
            next((each.treatments for each in kept.promise.treated if each.key == group.key), ())
        )
        for group in problem.groups
    )


def test_the_treated_door_then_takes_off_what_was_measured(kept, plan_file, demo_night, as_promised):
    problem, _ = kept.problem(plan_file[1], [demo_night])
    proof = prove_by_door_test(kept.promise, as_promised(-4.0))
    anew = problem_as_tested(problem, kept.promise, proof)
    choice = [
        [option.treatments for option in group.options].index(
            next((each.treatments for each in kept.promise.treated if each.key == group.key), ())
        )
        for group in problem.groups
    ]
    hall = problem.origins.index("hall")
    lost_db = -10.0 * np.log10(left_over(anew, choice)[0][hall])
    assert lost_db == pytest.approx(kept.promise.loss_db[hall] - 4.0, abs=1e-6)
    assert left_over(anew, choice)[0][problem.origins.index("outdoors")] == pytest.approx(
        left_over(problem, choice)[0][problem.origins.index("outdoors")]
    )


def test_a_part_that_is_not_treated_and_a_test_without_bands_are_refused(kept, tested, tmp_path):
    gain = read_door_gain(tested)
    with pytest.raises(SettingsError, match="not window"):
        prove_by_door_test(kept.promise, gain, "window")
    document = json.loads(tested.read_text())
    document["nominal_hz"] = [63.0, 125.0]
    wrong = tmp_path / "octaves.json"
    wrong.write_text(json.dumps(document))
    with pytest.raises(SettingsError, match="has none"):
        read_door_gain(wrong)
    wrong.write_text(json.dumps({**document, "since_step": 4, "steps": document["steps"][:2]}))
    with pytest.raises(SettingsError, match="no step after"):
        read_door_gain(wrong)
