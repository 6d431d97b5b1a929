"""What nobody means to give: one sentence that names file and cause, status 2, nothing written."""

import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sleepnoise.cli import program
from sleepnoise.cli.program import app

PLACE = ("--zone", "Europe/Vienna", "--start", "2026-01-14T23:00")
COLUMNS = ("--zone", "Europe/Vienna", "--column", "time=t", "--column", "laeq=L")
LONG = "n" * 300
"""Longer than any file system here takes: 255 bytes."""


@pytest.fixture
def refused(tmp_path, monkeypatch):
    """Return what runs a command that has to refuse in an empty folder, and gives back what it said."""
    monkeypatch.chdir(tmp_path)

    def refused(*words: str | Path) -> str:
        before = set(Path().iterdir())
        done: Result = CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "80"})
        assert done.exit_code == program.CANNOT, done.output
        assert isinstance(done.exception, SystemExit)
        assert done.stdout == ""
        assert set(Path().iterdir()) == before
        said = done.stderr
        assert said.startswith("Cannot go on: ")
        assert "What to do: " in said
        return said

    return refused


@pytest.mark.parametrize(
    "words",
    [
        ("assess", LONG, *PLACE, "--out", "out"),
        ("two-microphones", LONG, LONG),
        ("assess-log", LONG, *COLUMNS),
        ("calibrate", "--tone", LONG, "--out", "kept.toml"),
        ("calibrate", "--beside", LONG, "--out", "kept.toml"),
    ],
)
def test_a_name_that_no_file_can_have_is_refused(refused, words):
    said = refused(*words)
    assert LONG in said
    assert "File name too long" in said


@pytest.mark.parametrize("step", [LONG, f"open={LONG}"])
def test_a_step_of_a_door_test_that_is_no_file_and_no_level_is_refused(refused, step):
    assert "door test: " in refused("door-test", step, "closed=60")


@pytest.mark.parametrize(
    "words",
    [
        ("assess", os.devnull, *PLACE, "--out", "out"),
        ("assess-log", os.devnull, *COLUMNS),
        ("assess-log", "log.csv", *COLUMNS, "--mapping", os.devnull),
        ("calibrate", "--tone", os.devnull, "--out", "kept.toml"),
        ("calibrate", "--beside", os.devnull, "--out", "kept.toml"),
    ],
)
def test_a_device_is_refused_before_it_is_read(refused, words):
    """A pipe would keep one waiting, and some devices never end."""
    said = refused(*words)
    assert os.devnull in said
    assert "device or pipe" in said or "plain file" in said or "is no file" in said


def test_a_folder_that_cannot_be_listed_is_refused(refused, tmp_path, monkeypatch):
    (tmp_path / "night").mkdir()

    def forbidden(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "iterdir", forbidden)
    with monkeypatch.context() as listing:
        # The fixture lists its folder itself.
        listing.setattr(Path, "iterdir", lambda path: iter(()) if path == Path() else forbidden(path))
        said = refused("assess", "night", *PLACE, "--out", "out")
    assert "night: cannot be opened: Permission denied" in said


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (OSError(28, "No space left on device", "/disk/file"), "/disk/file: No space left on device."),
        (OSError("odd"), "this machine: odd."),
        (MemoryError(), "this machine: its memory does not suffice."),
    ],
)
def test_what_the_machine_refuses_anywhere_is_said_in_a_sentence(refused, monkeypatch, error, sentence):
    def stumbling(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("sleepnoise.assessing.assess_log.assess_log_file", stumbling)
    assert f"Cannot go on: {sentence}\n" in refused("assess-log", "log.csv", *COLUMNS)


def test_a_whole_number_that_no_arithmetic_takes_is_refused() -> None:
    done = CliRunner().invoke(app, ["assess", "night.wav", *PLACE, "--json", "--events-allowed", "9" * 400])
    assert done.exit_code == program.CANNOT
    assert "must be at most 1000000000, got 9999" in done.stderr
