import hashlib
import json
import os
import re
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from sleepnoise import __version__
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.cli.program import app
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.planning.first_plan import PlanSettings

RATE_HZ = 16_000
ZONE = ("--zone", "Europe/Vienna")
START = ("--start", "2026-01-14T23:00")
LEVEL = ("--full-scale-level", "100")
FILES = {
    "assessment.json", "levels.parquet", "intervals.csv", "events.csv", "known_sounds.json", "report.html",
    "manifest.json",
}  # fmt: skip


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "80"})


def noise(seconds: float) -> np.ndarray:
    """Return a minute's worth of room: steady noise with a knock in the middle."""
    rng = np.random.default_rng(5)
    samples = rng.normal(0.0, 1e-4, round(seconds * RATE_HZ))
    middle = samples.size // 2
    samples[middle : middle + RATE_HZ] += rng.normal(0.0, 0.05, RATE_HZ)
    return samples


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("night") / "night.wav"
    soundfile.write(path, noise(60.0), RATE_HZ, subtype="PCM_24")
    return path


def test_the_main_job_writes_the_whole_folder(night: Path, tmp_path: Path) -> None:
    done = run("assess", night, *ZONE, *START, *LEVEL, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES
    assert "LAFmax" in done.stdout
    assert "Written to" in done.stdout
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    [recording] = [mark for mark in manifest["inputs"] if mark["role"] == "recording"]
    assert recording["sha256"] == hashlib.sha256(night.read_bytes()).hexdigest()
    for output in manifest["outputs"]:
        data = (tmp_path / "out" / output["name"]).read_bytes()
        assert output["sha256"] == hashlib.sha256(data).hexdigest()


def test_json_is_all_there_is_on_standard_output(night: Path, tmp_path: Path) -> None:
    done = run("assess", night, *ZONE, *START, *LEVEL, "--json", "--out", tmp_path / "out")
    assert done.exit_code == 0
    assert done.stdout == (tmp_path / "out" / "assessment.json").read_text(encoding="utf-8")
    assert json.loads(done.stdout)["schema"]["name"] == "sleepnoise/assessment"


def test_json_needs_no_folder(night: Path) -> None:
    done = run("assess", night, *ZONE, *START, "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["calibration"]["absolute"] is False


def test_what_a_user_chooses_arrives(night: Path) -> None:
    done = run(
        "assess", night, *ZONE, *START, *LEVEL, "--json", "--window", "22:00-06:00", "--onset", "12",
        "--release", "5", "--min-length", "0.5", "--merge-gap", "1", "--background-minutes", "3",
        "--margin", "-2", "--events-allowed", "1", "--masker-cap", "35", "--guideline", "who-1999-bedroom",
        "--threads", "1",
    )  # fmt: skip
    settings = json.loads(done.stdout)["settings"]
    assert settings["window"] == "22:00-06:00"
    assert settings["guidelines"] == ["who-1999-bedroom"]
    assert settings["events"]["onset_db"] == 12
    assert settings["events"]["release_db"] == 5
    assert settings["events"]["min_length_s"] == 0.5
    assert settings["events"]["merge_gap_s"] == 1
    assert settings["events"]["background_minutes"] == 3
    assert (settings["plan"]["margin_db"], settings["plan"]["cap_dba"]) == (-2, 35)
    assert settings["plan"]["events_allowed"] == 1


def test_a_check_ends_with_status_1_only_if_something_is_exceeded(night: Path) -> None:
    loud = run("assess", night, *ZONE, *START, "--full-scale-level", "130", "--json", "--check")
    quiet = run("assess", night, *ZONE, *START, "--json", "--check")
    assert (loud.exit_code, quiet.exit_code) == (1, 0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["assess", "none.wav", *ZONE, "--json"], "none.wav: there is no such file"),
        (["assess", "none.wav", "--guideline", "nope", *ZONE, "--json"], "nope"),
        (["assess", "none.wav", "--onset", "99", "--json"], "onset_db"),
        (["assess", "none.wav", "--masker-cap", "60", "--json"], "50 dB(A)"),
        (["profiles", "show", "nope"], "nope"),
        (["profiles", "check", "none.toml"], "none.toml"),
        (["demo", "somewhere", "--hours", "99"], "8"),
    ],
)
def test_what_a_user_can_cause_is_a_complaint_with_a_remedy(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert done.exit_code == 2
    assert said in done.stderr.replace("\n", " ")
    assert "What to do: " in done.stderr
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words", [["assess"], ["assess", "x.wav"], ["assess", "x.wav", "--onset", "loud"], ["nope"]]
)
def test_wrong_usage_has_status_2(words: list[str]) -> None:
    assert run(*words).exit_code == 2


def test_the_place_for_results_is_looked_at_before_the_night(night: Path, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    done = run("assess", night, *ZONE, *START, *LEVEL, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "--force" in done.stderr
    # The recording itself was never opened: another complaint would have come first.
    again = run("assess", tmp_path / "none.wav", *ZONE, "--out", tmp_path / "out")
    assert "is there already" in again.stderr


def test_hostile_names_go_through_everything(tmp_path: Path) -> None:
    path = tmp_path / "=cmd [red]<script>🚋\n$(x).wav"
    soundfile.write(path, noise(10.0), RATE_HZ)
    done = run("assess", path, *ZONE, *START, *LEVEL, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "=cmd [red]<script>🚋\\n$(x).wav" in done.stdout
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert page.count("<script") == 2  # The page's own: its data and its script.
    assert "[red]<script>" not in page
    document = json.loads((tmp_path / "out" / "assessment.json").read_text(encoding="utf-8"))
    assert document["recording"]["files"][0]["name"] == path.name


def test_profiles_are_listed_shown_and_checked() -> None:
    listed = run("profiles", "list")
    assert "who-1999-bedroom" in listed.stdout
    assert "Doors (construction; element keys: profiles show doors)" in " ".join(listed.stdout.split())
    assert "key: door-hollow-unsealed" in run("profiles", "show", "doors").stdout
    shown = run("profiles", "show", "who-1999-bedroom")
    assert "level_db: 30" in shown.stdout
    shipped = Path(__file__).parents[1] / "profiles" / "guidelines" / "who-1999-bedroom.toml"
    checked = run("profiles", "check", shipped)
    assert (listed.exit_code, shown.exit_code, checked.exit_code) == (0, 0, 0)
    assert "valid guideline profile" in checked.stdout


def test_the_demo_can_be_assessed_by_the_line_that_it_prints(tmp_path: Path) -> None:
    made = run("demo", tmp_path / "larch-court", "--hours", "0.2", "--rate", "8000")
    assert made.exit_code == 0, made.output
    [line] = [line for line in made.stdout.splitlines() if line.startswith("sleepnoise assess")]
    done = run(*line.split()[1:])
    assert done.exit_code == 0, done.output
    assert {path.name for path in (tmp_path / "larch-court-assessed").iterdir()} == FILES


def test_the_defaults_that_help_names_are_the_real_ones() -> None:
    text = " ".join(run("assess", "--help").stdout.split())
    options = re.findall(r" (--[\w-]+) [A-Z-]+ ((?:(?! --).)*)", text)
    stated = {name: found[1] for name, said in options if (found := re.search(r"\[default: (.*?)\]", said))}
    settings, events, plan = AssessSettings(), EventSettings(), PlanSettings()
    assert stated["--window"] == settings.window
    assert float(stated["--tone-level"]) == settings.tone_level_db
    assert float(stated["--tone-frequency"]) == settings.tone_frequency_hz
    assert int(stated["--channel"]) == settings.channel
    assert float(stated["--onset"]) == events.onset_db
    assert float(stated["--release"]) == events.release_db
    assert float(stated["--min-length"]) == events.min_length_s
    assert float(stated["--merge-gap"]) == events.merge_gap_s
    assert float(stated["--background-minutes"]) == events.background_minutes
    assert float(stated["--margin"]) == plan.margin_db
    assert int(stated["--events-allowed"]) == plan.events_allowed
    assert float(stated["--masker-cap"]) == plan.cap_dba


def program(*words: str | Path) -> list[str]:
    return [sys.executable, "-m", "sleepnoise", *map(str, words)]


@pytest.mark.parametrize("words", [["--help"], ["assess", "-h"], ["--version"], ["profiles", "-h"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys; from sleepnoise.cli.program import main; sys.argv[1:] = sys.argv[1:]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print(sorted({'numpy', 'scipy', 'pydantic', 'rich', 'pyarrow', 'jinja2'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_version_is_told() -> None:
    assert run("--version").stdout == f"sleepnoise {__version__}\n"


def test_piped_output_is_quiet_and_plain(night: Path, tmp_path: Path) -> None:
    words = program("assess", night, *ZONE, *START, *LEVEL, "--out", tmp_path / "out")
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "\x1b" not in done.stdout


def test_a_reader_that_leaves_early_is_no_error(night: Path, tmp_path: Path) -> None:
    words = program("assess", night, *ZONE, *START, *LEVEL, "--out", tmp_path / "out")
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES


@pytest.mark.parametrize(("sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
@pytest.mark.skipif(os.name != "posix", reason="signals of this kind are POSIX's")
def test_an_interrupted_run_leaves_nothing(tmp_path: Path, sent: signal.Signals, status: int) -> None:
    # Four hours of silence at 96 kHz, of which the disk holds only the header: surely still at it.
    path = tmp_path / "long.wav"
    samples = 4 * 3600 * 96_000
    header = struct.pack("<4sI8sIHHIIHH4sI", b"RIFF", 36 + 2 * samples, b"WAVEfmt ", 16, 1, 1, 96_000,
                         192_000, 2, 16, b"data", 2 * samples)  # fmt: skip
    path.write_bytes(header)
    os.truncate(path, len(header) + 2 * samples)
    words = program("assess", path, *ZONE, *START, *LEVEL, "--out", tmp_path / "out", "--threads", "1")
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        time.sleep(2.0)
        process.send_signal(sent)
        out, error = process.communicate(timeout=30)
    assert process.returncode == status, error
    assert (out, "Traceback" in error) == ("", False)
    assert [entry.name for entry in tmp_path.iterdir()] == ["long.wav"]
