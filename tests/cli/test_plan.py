"""The command ``plan``, on the invented night of the demo."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from sleepnoise.cli.program import app

DEMO = Path(__file__).parents[2] / "demo_audio"
ROOM = DEMO / "bedroom.toml"
SIDES = ("--from", "hall=2,3,5", "--from", "outdoors=4", "--from", "inside=1")


def run(*words):
    return CliRunner().invoke(app, [*map(str, words)], env={"COLUMNS": "90"})


@pytest.fixture(scope="module")
def assessed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("assessed") / "night"
    sound = next(DEMO.glob("larch-court-*.flac"))
    done = run(
        "assess", sound, "--tone", DEMO / "calibration_tone.flac", "--zone", "Europe/Vienna", "--out", folder
    )
    assert done.exit_code == 0, done.output
    return folder


def test_the_demo_bedroom_is_planned_end_to_end(assessed):
    done = run("plan", assessed, "--room", ROOM, *SIDES, "--events-allowed", 2, "--certainty", 80)
    assert done.exit_code == 0, done.output
    text = " ".join(done.stdout.split())
    for words in (
        "The target can be reached: 2 of 5 events stay audible",
        "hollow-core double door",
        "In this order",
        "What can be had for what",
        "With 80 % certainty",
        "Smoke alarm",
        "The last 5 dB",
        "A masker alone: misses the target",
        "evidence that it helps sleep is weak",
    ):
        assert words in text


def test_json_is_everything_and_nothing_else(assessed):
    done = run("plan", assessed, "--room", ROOM, *SIDES, "--target", "inaudible", "--json")
    document = json.loads(done.stdout)
    assert document["schema"] == {"name": "sleepnoise/plan", "version": 1}
    assert document["reached"] is False
    assert document["plan"]["audible"] == sum(event["audible"] for event in document["events"]) == 2
    assert document["audible_whatever_is_done"] == ["1", "4"]
    assert document["missing"][0]["part"].startswith("single-glazed window")
    assert [file["role"] for file in document["made_from"]["files"]] == ["room file", "assessment"]
    assert document["plan"]["masker_LA_dB"] <= 40.0
    assert document["cautions"]


def test_an_unreachable_target_is_said_with_what_stays_audible(assessed):
    done = run("plan", assessed, "--room", ROOM, *SIDES, "--margin", 0, "--no-masker", "--budget", 100)
    text = " ".join(done.stdout.split())
    assert done.exit_code == 0
    assert "The target cannot be reached: at least 5 of 5 events stay audible" in text
    assert "budget 100" in text


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--from", "hall"], "must be a side, an equals sign and events"),
        (["--from", "attic=1"], "must be hall"),
        (["--events-allowed", "many"], "must be a whole number, or a share"),
        (["--margin", 3, "--target", "inaudible"], "say the same thing twice"),
        (["--masker-cap", 60], "no more, got 60"),
        (["--lowest-band", 20000], "lowest band"),
        (["--require", "window-weatherstrip"], "may not or cannot be done"),
    ],
)
def test_mistakes_end_with_a_complaint_and_a_remedy(assessed, words, complaint):
    done = run("plan", assessed, "--room", ROOM, *words)
    assert done.exit_code == 2
    assert complaint in " ".join(done.output.split())
    assert "What to do" in done.output


def test_a_folder_without_an_assessment_is_refused(tmp_path):
    done = run("plan", tmp_path, "--room", ROOM)
    assert done.exit_code == 2
    assert "assessment" in done.output
