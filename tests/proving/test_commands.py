"""The commands that hear a plan and check what it promised, run as a user runs them."""

import json

import pytest
from click.testing import CliRunner

from sleepnoise.cli.program import app
from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.evidence.plain import document_text
from sleepnoise.profiles.files import read_door_test
from sleepnoise.trials.door_test import study_door_test


@pytest.fixture
def run():
    """Return a runner of commands that gives status and what was printed."""

    def run_it(*words):
        found = CliRunner().invoke(app, [str(word) for word in words])
        return found.exit_code, " ".join(found.output.split())

    return run_it


def test_a_plan_is_heard_measured_anew_and_put_into_excerpts(run, plan_file, tmp_path):
    demo = plan_file[1].parent
    given = [next(demo.glob("larch*.flac")), "--tone", demo / "calibration_tone.flac"]
    given += ["--zone", "Europe/Vienna", "--guideline", "who-1999-bedroom"]
    status, text = run("hear-plan", plan_file[0], *given, "--out", tmp_path, "--excerpts", 1, "--wav")
    assert status == 0
    for part in ("Before, by the plan and measured anew", "WHO 1999", "Never louder", "volume at its lowest"):
        assert part in text
    assert "Not explained" not in text
    assert [each.name for each in tmp_path.iterdir()] == ["event_005_before_and_after.wav"]


def test_a_door_test_is_held_against_the_plan_and_the_plan_made_anew(run, plan_file, demo_night, tmp_path):
    demo = plan_file[1].parent
    door = tmp_path / "door.json"
    door.write_text(
        document_text(door_test_document(study_door_test(read_door_test(demo / "door_test.toml"), demo)))
    )
    anew = ["--room", plan_file[1], "--before", demo_night]
    status, text = run("check-plan", plan_file[0], "--door-test", door, *anew)
    assert status == 0
    for part in ("The promise was", "gain, A-weighted", "± (k = 2)", "Planned anew", "instead of"):
        assert part in text


def test_a_night_is_held_against_the_plan(run, plan_file, demo_night, tmp_path):
    document = json.loads((demo_night / "assessment.json").read_text())
    document["night"]["statistics"]["LAeq_dB"] -= 20.0
    for event in document["events"]:
        event["LAFmax_dB"] -= 20.0
    folder = tmp_path / "after"
    folder.mkdir()
    (folder / "assessment.json").write_text(json.dumps(document))
    status, text = run("check-plan", plan_file[0], "--night", folder, "--same-recorder")
    assert status == 0
    for part in ("LAeq", "mean LAFmax", "audible events", "the plan beside the night after"):
        assert part in text


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ([], "nothing was measured afterwards"),
        (["--night", ".", "--room", "room.toml"], "a plan is made anew from what was measured"),
    ],
)
def test_what_cannot_be_checked_is_refused_with_a_remedy(run, plan_file, words, complaint):
    status, text = run("check-plan", plan_file[0], *words)
    assert status == 2
    assert complaint in text
    assert "What to do" in text


def test_a_plan_is_kept_by_its_command_and_not_overwritten_unasked(run, plan_file, demo_night, tmp_path):
    kept = tmp_path / "plan.json"
    given = ["plan", demo_night, "--room", plan_file[1], "--no-masker", "--events-allowed", "5"]
    assert run(*given, "--out", kept)[0] == 0
    first = kept.read_bytes()
    assert json.loads(first)["promise"]["room"].startswith("Larch Court")
    status, text = run(*given, "--out", kept)
    assert status == 2
    assert "is there already" in text
    assert run(*given, "--out", kept, "--force")[0] == 0
    assert kept.read_bytes() == first
