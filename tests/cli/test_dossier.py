"""The commands ``dossier ...``."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app

DEMO = Path(__file__).parents[2] / "demo_audio"


def run(*words):
    return CliRunner().invoke(app, ["dossier", *map(str, words)], env={"COLUMNS": "80"})


def done(*words):
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture
def recording(tmp_path):
    samples = np.random.default_rng(5).normal(0.0, 0.01, 8000 * 12)
    soundfile.write(tmp_path / "night.wav", samples, 8000, subtype="PCM_16")
    return tmp_path / "night.wav"


@pytest.fixture
def folder(tmp_path):
    told = ["--title", "Larch Court, flat 3 (invented)", "--zone", "Europe/Vienna"]
    done(
        "start", tmp_path / "case", *told, "--guideline", "who-1999-bedroom", "--room", DEMO / "bedroom.toml"
    )
    return tmp_path / "case"


def test_a_case_from_its_start_to_its_archive(folder, recording, tmp_path):
    added = ["--start", "2026-02-10T23:30", "--windows", "closed", "--full-scale-level", "100"]
    assert "night of 2026-02-10" in done("add-night", folder, recording, *added)
    (tmp_path / "said.csv").write_text("start,end,label\n23:30:02,23:30:04,tram\n", encoding="utf-8")
    done("add-words", folder, "2026-02-10", "--labels", tmp_path / "said.csv")
    assert "still to do: 2026-02-10" in " ".join(done("status", folder).split())
    assert done("assess", folder) == "2026-02-10: assessed\n"
    assert done("assess", folder) == "2026-02-10: there already\n"
    assert json.loads(done("status", folder, "--json"))["dossier"] == "Larch Court, flat 3 (invented)"
    assert "Tue 2026-02-10" in done("compare", folder)
    assert len(json.loads(done("compare", folder, "--json"))["nights"]) == 1
    done("report", folder, "--out", tmp_path / "case.json")
    assert (
        json.loads((tmp_path / "case.json").read_text("utf-8"))["journal"][0]["did"] == "started the dossier"
    )
    assert "is as it was put there" in " ".join(done("verify", folder).split())
    assert json.loads(done("verify", folder, "--again", "--json"))["verification"]["again"][0]["same_bytes"]
    done("export", folder, tmp_path / "case.zip")
    assert "each as it was exported" in done("import", tmp_path / "case.zip", tmp_path / "there")
    (page,) = (tmp_path / "there").glob("nights/*/assessed/*/report.html")
    page.write_text("another page", encoding="utf-8")
    assert run("verify", tmp_path / "there").exit_code == 1


def test_a_night_without_calibration_is_added_and_says_so_once_on_standard_error(folder, recording, tmp_path):
    added = run("add-night", folder, recording, "--start", "2026-02-10T23:30")
    assert added.exit_code == 0
    assert "No calibration" not in added.stdout
    said = " ".join(added.stderr.split())
    assert said.count("No calibration: ") == 1
    assert "dossier add-file" in said
    # Nothing is said of a night with its own, or where the dossier has one.
    again = tmp_path / "again.wav"
    again.write_bytes(recording.read_bytes()[:-800])
    own = run("add-night", folder, again, "--start", "2026-02-11T23:30", "--full-scale-level", "100")
    assert (own.exit_code, own.stderr) == (0, "")
    kept = ["calibrate", "--full-scale-level", "100", "--out", str(tmp_path / "kept.toml")]
    assert CliRunner().invoke(app, kept).exit_code == 0
    done("add-file", folder, "calibration", tmp_path / "kept.toml")
    third = tmp_path / "third.wav"
    third.write_bytes(recording.read_bytes()[:-1600])
    theirs = run("add-night", folder, third, "--start", "2026-02-12T23:30")
    assert (theirs.exit_code, theirs.stderr) == (0, "")


def test_what_is_not_answered_by_options_is_asked(tmp_path, monkeypatch):
    monkeypatch.setattr("sleepnoise.cli.asking.somebody_answers", lambda: True)
    answers = ["Flat 3", "", "Europe/Vienna", "", "who-1999-bedroom, who-2009-night", "", "", ""]
    words = ["dossier", "start", str(tmp_path / "case")]
    result = CliRunner().invoke(app, words, input="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    written = (tmp_path / "case" / "dossier.toml").read_text("utf-8")
    assert 'title = "Flat 3"' in written
    assert 'guidelines = ["who-1999-bedroom", "who-2009-night"]' in written


PLACE = ["--title", "x", "--zone", "Europe/Vienna"]
WRONG = {
    "no questions without a terminal": (["start", "NEW"], "Give --title and --zone"),
    "no such zone": (["start", "NEW", "--title", "x", "--zone", "Vienna"], "time zone"),
    "no such guideline": (
        ["start", "NEW", *PLACE, "--guideline", "nobody"],
        "no shipped profile",
    ),
    "no such room file": (
        ["start", "NEW", *PLACE, "--room", "x.toml"],
        "x.toml",
    ),
    "no such guideline file": (
        ["start", "NEW", *PLACE, "--guideline", "x.toml"],
        "x.toml",
    ),
    "a folder that is there": (["start", "CASE", *PLACE], "not empty"),
    "no dossier": (["status", "NEW"], "is no dossier"),
    "no recording": (["add-night", "CASE", "nothing.wav"], "nothing.wav"),
    "a note that acts on a terminal": (
        ["add-night", "CASE", "NIGHT", "--start", "2026-02-10T23:30", "--note", "\x1b[31m"],
        "control characters",
    ),
    "a recording by day": (["add-night", "CASE", "NIGHT", "--start", "2026-02-10T12:30"], "night window"),
    "words of no night": (["add-words", "CASE", "2026-02-10", "--diary", "x.csv"], "no night of"),
    "nothing to plan from": (["plan", "CASE"], "no night is assessed"),
    "a file that is no calibration": (["add-file", "CASE", "calibration", "NIGHT"], "night.wav"),
    "a second room file": (["add-file", "CASE", "room", str(DEMO / "bedroom.toml")], "there already"),
    "no archive": (["import", "NIGHT", "NEW"], "no archive"),
}


def times(folder):
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != ".lock")
    return {path: path.stat().st_mtime_ns for path in files}


@pytest.mark.parametrize("mistake", WRONG)
def test_a_mistake_is_one_clear_sentence_status_2_and_nothing_written(folder, recording, tmp_path, mistake):
    words, why = WRONG[mistake]
    places = {"NEW": tmp_path / "new", "CASE": folder, "NIGHT": recording}
    before = {
        path: path.stat().st_mtime_ns
        for path in tmp_path.rglob("*")
        if path.is_file() and path.name[0] != "."
    }
    result = run(*(places.get(word, word) for word in words))
    assert result.exit_code == 2, result.output
    assert why in result.stderr
    after = {
        path: path.stat().st_mtime_ns
        for path in tmp_path.rglob("*")
        if path.is_file() and path.name[0] != "."
    }
    assert after == before
    assert not (tmp_path / "new").exists()


def test_a_night_that_fails_does_not_stop_the_others(folder, recording, tmp_path):
    for evening in ("2026-02-10", "2026-02-11"):
        own = tmp_path / f"{evening}.wav"
        own.write_bytes(recording.read_bytes() + evening.encode())
        done("add-night", folder, own, "--start", f"{evening}T23:30")
    (tmp_path / "2026-02-10.wav").unlink()
    result = run("assess", folder)
    assert result.exit_code == 1
    assert result.stdout == "2026-02-11: assessed\n"
    assert "2026-02-10.wav" in result.stderr


def test_changes_by_hand_are_accepted_with_a_reason(folder):
    path = folder / "dossier.toml"
    path.write_text(path.read_text("utf-8") + 'place = "over the lane"\n', encoding="utf-8")
    assert "changed by hand" in run("assess", folder).stderr
    assert run("verify", folder).exit_code == 1
    assert done("accept", folder, "the place was missing") == "Accepted: dossier.toml.\n"
    assert done("accept", folder, "again") == "Nothing was changed by hand.\n"
    done("verify", folder)


def test_the_list_of_commands_tells_each_in_a_whole_sentence():
    listed = run("-h").stdout.partition("Commands:")[2]
    assert "add-night" in listed
    assert "..." not in listed
