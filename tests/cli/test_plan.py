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
        "Here: what beats all that is cheaper.",
        "(now ",
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
        (["--guideline", "bbr-2013-bedroom"], "unverified, known from memory"),
        (["--guideline", "who-1999-bedroom", "--lafmax", 50], "a guideline was named"),
        (["--age", 12], "age must lie between 18 and 80"),
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


def test_a_guideline_sets_the_limits_and_says_what_it_does_not_set(assessed):
    named = ("--guideline", "who-1999-bedroom:who1999_bedroom_lafmax")
    done = run("plan", assessed, "--room", ROOM, *SIDES, *named, "--events-allowed", 5, "--json")
    document = json.loads(done.stdout)
    assert document["wish"]["lafmax_limit_dba"] == 45.0
    assert document["published_limits"]["used"][0]["level_db"] == 45.0
    text = " ".join(run("plan", assessed, "--room", ROOM, "--guideline", "who-1999-bedroom").output.split())
    assert "LAFmax 45 dB is that of WHO 1999, inside bedrooms at night" in text or "No plan keeps" in text
    assert "is meant outside" in text


def test_the_sleepers_age_is_said_and_an_older_one_hears_no_more(assessed):
    margins = []
    for words in ((), ("--age", 70)):
        done = run("plan", assessed, "--room", ROOM, *SIDES, "--events-allowed", 5, *words, "--json")
        document = json.loads(done.stdout)
        margins.append([each["margin_db"] for each in document["events"]])
        assert document["listener"]["age_years"] == (70.0 if words else 18.0)
    assert all(old <= young + 1e-9 for young, old in zip(*margins, strict=True))
    text = " ".join(run("plan", assessed, "--room", ROOM, "--age", 70).output.split())
    assert "at 70 years of age" in text
    assert "a plan for a young adult is the safe side" in text
