"""The command ``start``, its questions answered by options and by somebody at a terminal."""

import shlex
import shutil
from pathlib import Path

import click
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli import asking
from sleepnoise.cli.program import app

RATE_HZ = 16_000
PLACE = ("--zone", "Europe/Vienna", "--start", "2026-01-14T23:00")
NIGHT = ("--have", "phone", "--recording", "New Recording 4.wav")


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    rng = np.random.default_rng(5)
    samples = rng.normal(0.0, 1e-4, 60 * RATE_HZ)
    samples[30 * RATE_HZ : 31 * RATE_HZ] += rng.normal(0.0, 0.05, RATE_HZ)
    path = tmp_path_factory.mktemp("phone") / "New Recording 4.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture
def place(night, tmp_path, monkeypatch):
    shutil.copy(night, tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(asking, "zone_of_this_computer", lambda: "Europe/Vienna")
    return tmp_path


def start(*words, answers=None):
    typed = None if answers is None else "\n".join(answers) + "\n"
    return CliRunner().invoke(app, ["start", *words], input=typed, env={"COLUMNS": "80"})


def one_line(text):
    return " ".join(text.split())


@pytest.fixture
def somebody(monkeypatch):
    monkeypatch.setattr(asking, "somebody_answers", lambda: True)
    monkeypatch.setattr(asking, "somebody_watches", lambda: True)


def left_in(place):
    return sorted(path.name for path in place.iterdir())


def test_where_nobody_answers_it_says_so_names_the_option_and_writes_nothing(place):
    for words, option in (((), "--have"), (NIGHT, "--zone"), ((*NIGHT, *PLACE), "--yes")):
        done = start(*words)
        assert done.exit_code == 2
        assert "standard input is no terminal" in one_line(done.stderr)
        assert option in done.stderr
    assert left_in(place) == ["New Recording 4.wav"]


@pytest.mark.usefixtures("somebody")
def test_answers_lead_to_a_command_that_can_be_repeated_by_hand(place):
    answers = [
        "phone",
        "",
        "nothing.wav",
        "New Recording 4.wav",
        "",
        "2026-01-14 23:00",
        "",
        "",
        "closed",
        "",
        "y",
    ]
    done = start(answers=answers)
    assert done.exit_code == 0, done.output
    said = one_line(done.output)
    assert "there is no such file" in said
    assert "How loud it was in dB(A)" in said.partition("What it cannot tell")[2]
    assert "the recording lasts 1 min" in said
    (line,) = (line for line in done.stdout.splitlines() if line.startswith("sleepnoise assess"))
    assert shlex.split(line)[1:] == [
        "assess", "New Recording 4.wav", "--zone", "Europe/Vienna", "--start", "2026-01-14T23:00",
        "--windows", "closed", "--reader", "resident", "--out", "first-night",
    ]  # fmt: skip
    assert "Next: open first-night/report.html" in done.stderr
    # By hand, the same comes out.
    again = CliRunner().invoke(app, [*shlex.split(line)[1:-1], "by-hand"])
    assert again.exit_code == 0
    for name in ("events.csv", "assessment.json"):
        assert (place / "by-hand" / name).read_bytes() == (place / "first-night" / name).read_bytes()


@pytest.mark.usefixtures("somebody")
def test_who_says_no_gets_the_command_and_nothing_else(place):
    done = start(*NIGHT, *PLACE, answers=["", "", "none", "", "", "n"])
    assert done.exit_code == 0
    assert "Nothing was done." in done.stdout
    assert "sleepnoise assess 'New Recording 4.wav'" in done.stdout
    assert left_in(place) == ["New Recording 4.wav"]


@pytest.mark.usefixtures("somebody")
def test_an_interrupt_at_a_question_leaves_nothing_behind(place, monkeypatch):
    def interrupted(*_words, **_options):
        raise click.Abort

    monkeypatch.setattr(click, "confirm", interrupted)
    done = start(*NIGHT, *PLACE, answers=["", "", "none", "", ""])
    assert done.exit_code == 130
    assert left_in(place) == ["New Recording 4.wav"]


@pytest.mark.usefixtures("somebody")
def test_a_wrong_answer_is_asked_again_with_what_is_allowed(place):
    shutil.copy(place / "New Recording 4.wav", place / "tone.wav")
    answers = ["", "stated", "loud", "105", "Utopia", "DE", "half", "closed", "", "n"]
    done = start(*NIGHT, *PLACE, "--nights", "one", answers=answers)
    assert done.exit_code == 0, done.output
    said = one_line(done.output)
    for words in ("no number of decibels", "there are rules of", "unknown, open, closed"):
        assert words in said
    assert "--full-scale-level 105 --guideline international --guideline DE --windows closed" in said
    assert "How loud it was, with how far that may be off" in said
    assert "What rules say that hold only for closed" not in said


def test_what_is_given_wrongly_by_an_option_ends_it(place):
    for words in (("--zone", "Vienna"), (*PLACE, "--country", "XX"), (*PLACE, "--out", ".")):
        done = start(*NIGHT, *words, "--yes")
        assert done.exit_code == 2, words
        assert "Error: " in done.stderr
    assert left_in(place) == ["New Recording 4.wav"]


def test_a_recording_without_a_start_is_refused_where_nobody_can_be_asked(place):
    done = start(*NIGHT, "--zone", "Europe/Vienna", "--yes")
    assert done.exit_code == 2
    assert "--start" in done.stderr
    assert left_in(place) == ["New Recording 4.wav"]


def test_a_test_minute_is_heard_first_and_its_answer_goes_into_what_cannot_be_told(place):
    soundfile.write(place / "minute.wav", np.zeros(60 * RATE_HZ), RATE_HZ)
    done = start(*NIGHT, *PLACE, "--test", "minute.wav")
    said = one_line(done.stdout)
    assert "cannot do the job" in said.partition("What it cannot tell")[0]
    assert "Anything for sure" in said.partition("What it cannot tell")[2]


@pytest.mark.parametrize(
    ("words", "leads"),
    [
        (("--have", "nothing"), "sleepnoise guide record"),
        (("--have", "log"), "sleepnoise assess-log"),
        (("--have", "recorder", "--nights", "many"), "sleepnoise assess-many"),
    ],
)
def test_other_cases_are_led_to_the_command_for_them(words, leads):
    done = start(*words)
    assert done.exit_code == 0
    assert leads in done.stdout


@pytest.mark.parametrize(
    ("said", "target", "zone"),
    [
        ("Europe/Vienna", "", "Europe/Vienna"),
        (":Asia/Tokyo", "", "Asia/Tokyo"),
        ("", "/usr/share/zoneinfo/America/New_York", "America/New_York"),
        ("", "/usr/share/zoneinfo/Etc/UTC", ""),
        ("CET-1CEST", "", ""),
        ("", "/etc/localtime", ""),
    ],
)
def test_the_time_zone_is_guessed_from_the_system_or_not_at_all(monkeypatch, said, target, zone):
    monkeypatch.setenv("TZ", said)
    monkeypatch.setattr(asking.os.path, "realpath", lambda _path: target)
    assert asking.zone_of_this_computer() == zone


def test_the_beginning_of_a_word_is_answer_enough():
    @click.command()
    def asked():
        click.echo(asking.choose("Which?", {"open": "o", "closed": "c"}, "open"))

    assert CliRunner().invoke(asked, input="C\n").stdout.endswith("closed\n")
    assert Path(asking.__file__).is_file()
