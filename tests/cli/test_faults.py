"""Interrupts, killed processes, full disks, poor surroundings: a fast part of ``python -m tests.faults``."""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

DEMO = Path(__file__).parents[2] / "demo_audio"
TONE = DEMO / "calibration_tone.flac"
PROGRAM = [sys.executable, "-m", "sleepnoise"]
LONG = ["test-sound", "pink", "long.wav", "--seconds", "3600"]

unix = pytest.mark.skipif(sys.platform == "win32", reason="signals and descriptors of Unix")


def run(folder, *words, **more):
    given = {"stdin": subprocess.DEVNULL, "capture_output": True, "timeout": 120, **more}
    return subprocess.run([*PROGRAM, *words], cwd=folder, check=False, **given)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def stopped(folder, number):
    """Send a signal while a sound is half-written, and return the status and what was said."""
    with subprocess.Popen([*PROGRAM, *LONG], cwd=folder, stderr=subprocess.PIPE, text=True) as process:
        until = time.monotonic() + 60
        while not any(path.stat().st_size for path in folder.glob(".sleepnoise-*/new/*")):
            assert time.monotonic() < until
            assert process.poll() is None
            time.sleep(0.01)
        process.send_signal(number)
        said = process.stderr.read()
    return process.returncode, said


@unix
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_whoever_is_asked_to_end_leaves_nothing_and_says_nothing_strange(tmp_path, number, status):
    assert stopped(tmp_path, number) == (status, "")
    assert names(tmp_path) == []


@unix
def test_what_a_killed_command_left_is_cleared_away_by_the_next(tmp_path):
    assert stopped(tmp_path, signal.SIGKILL)[0] == -signal.SIGKILL
    [left] = names(tmp_path)
    assert left.startswith(".sleepnoise-")
    assert run(tmp_path, "test-sound", "pink", "short.wav", "--seconds", "2").returncode == 0
    assert names(tmp_path) == ["short.wav"]


@unix
def test_an_interrupt_at_the_terminal_ends_all_workers_without_a_word(tmp_path):
    bed = tmp_path / "bed"
    bed.mkdir()
    for number in (1, 2, 3):
        (bed / f"night{number}_20260211_040500.flac").symlink_to(next(DEMO.glob("larch*.flac")))
    words = ["assess-many", "bed", "--zone", "Europe/Vienna", "--out", "out", "--workers", "2"]
    with subprocess.Popen(
        [*PROGRAM, *words], cwd=tmp_path, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as process:
        until = time.monotonic() + 60
        while not list(tmp_path.glob("out/ledger/bed/*.claim")):
            assert time.monotonic() < until
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGINT)
        said = process.stderr.read()
    assert process.returncode == 130
    assert said in ("", "Found: 3 nights of 1 bedroom: bed (3).\n")
    while any_alive(process.pid):
        assert time.monotonic() < until
        time.sleep(0.05)
    assert not list(tmp_path.rglob(".sleepnoise-*"))


def any_alive(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


@contextmanager
def disk(place, how):
    """Mount a disk in memory, or skip the test where that is not allowed."""
    place.mkdir()
    mounted = sys.platform == "linux" and os.geteuid() == 0
    if mounted:
        words = ["mount", "-t", "tmpfs", "-o", how, "faults", place]
        mounted = subprocess.run(words, check=False, capture_output=True).returncode == 0
    if not mounted:
        pytest.skip("a disk of its own cannot be mounted here: that needs root on Linux")
    try:
        yield
    finally:
        subprocess.run(["umount", place], check=True)


@pytest.mark.parametrize("words", [("demo", "small/demo", "--hours", "0.05", "--rate", "8000"),
                                   ("test-sound", "pink", "small/a.wav", "--seconds", "60")])  # fmt: skip
def test_a_full_disk_is_one_sentence_and_nothing_is_left(tmp_path, words):
    with disk(tmp_path / "small", "size=300k"):
        done = run(tmp_path, *words)
        assert done.returncode == 2
        said = done.stderr.decode()
        assert said.startswith("Cannot go on: small/")
        assert "cannot be written" in said
        assert len(said.splitlines()) == 2
        assert names(tmp_path / "small") == []


@pytest.mark.parametrize(
    "words",
    [
        ("demo", "closed/demo", "--hours", "0.05", "--rate", "8000"),
        ("test-sound", "pink", "closed/a.wav"),
        ("calibrate", "--tone", str(TONE), "--out", "closed/a.toml"),
        ("dossier", "start", "closed/case", "--title", "x", "--zone", "Europe/Vienna"),
        ("assess", "none.wav", "--zone", "Europe/Vienna", "--out", "closed/night"),
    ],
    ids=lambda words: words[0],
)
def test_a_folder_that_takes_nothing_is_one_sentence_before_any_work(tmp_path, words):
    with disk(tmp_path / "closed", "ro"):
        done = run(tmp_path, *words)
        assert done.returncode == 2
        said = done.stderr.decode()
        assert said.startswith("Cannot go on: ")
        assert "closed/" in said
        assert "Read-only file system" in said
        assert len(said.splitlines()) == 2


NO_LOCALE = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PYTHONIOENCODING": "ascii"}


@unix
def test_names_from_elsewhere_do_where_no_locale_knows_them_nor_home_nor_terminal(tmp_path):
    tone = tmp_path / "Prüfton ☾.flac"
    tone.write_bytes(TONE.read_bytes())
    poor = {"HOME", "TERM", "USER", "LANG", "LC_ALL", "LC_CTYPE"}
    env = {**{key: value for key, value in os.environ.items() if key not in poor}, **NO_LOCALE}
    done = run(tmp_path, "calibrate", "--tone", tone.name, "--out", "Räume 部屋.toml", env=env)
    assert done.returncode == 0, done.stderr
    assert tone.name in (tmp_path / "Räume 部屋.toml").read_text(encoding="utf-8")


@unix
def test_a_recording_whose_name_is_no_text_is_assessed_the_same_wherever_it_is(tmp_path):
    name = "Nächte \udcff_20260211_230000.wav"
    try:
        (tmp_path / name).touch()
    except OSError:
        pytest.skip("this file system refuses such names")
    sound = np.random.default_rng(1).normal(0.0, 0.01, 20 * 8000)
    soundfile.write(tmp_path / "plain.wav", sound, 8000, subtype="PCM_16")
    (tmp_path / "plain.wav").replace(tmp_path / name)
    found = []
    for out, more in (("here", {}), ("elsewhere", NO_LOCALE)):
        words = ["assess", name, "--zone", "Europe/Vienna", "--threads", "1", "--out", out]
        done = run(tmp_path, *words, env={**os.environ, **more})
        assert done.returncode == 0, done.stderr
        found.append({path.name: path.read_bytes() for path in (tmp_path / out).iterdir()})
    assert found[0] == found[1]


@unix
@pytest.mark.parametrize(("ending", "status"), [("| head -1", 0), (">&-", 0), ("<&- >&- 2>&-", 0),
                                                (">/dev/full", 2), ("--help >/dev/full", 2)])  # fmt: skip
def test_nobody_to_print_for_is_no_fault(tmp_path, ending, status):
    # A program of its own, so that what is left over ends up nowhere else.
    command = f"set -o pipefail; '{sys.executable}' -m sleepnoise profiles list {ending}"
    done = subprocess.run(["bash", "-c", command], cwd=tmp_path, check=False, capture_output=True, text=True)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


@unix
def test_a_file_that_is_made_never_gets_what_is_printed(tmp_path):
    command = f"'{sys.executable}' -m sleepnoise calibrate --tone '{TONE}' --out kept.toml >&- 2>&-"
    assert subprocess.run(["bash", "-c", command], cwd=tmp_path, check=False).returncode == 0
    closed = (tmp_path / "kept.toml").read_bytes()
    assert run(tmp_path, "calibrate", "--tone", TONE, "--out", "open.toml").returncode == 0
    assert closed == (tmp_path / "open.toml").read_bytes()


LOST = """
import sys, time
from sleepnoise.cli import program
sys.unraisablehook = program._raise_again
class Dying:
    def __del__(self):
        raise KeyboardInterrupt
dying = Dying()
try:
    del dying
    time.sleep(60)
except KeyboardInterrupt:
    print("heard")
"""


@unix
def test_an_interrupt_that_falls_where_nothing_can_be_raised_is_heard_all_the_same():
    done = subprocess.run([sys.executable, "-c", LOST], check=False, capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("heard\n", "")


def test_sounds_are_told_apart_where_no_library_may_keep_its_cache(tmp_path):
    words = "from sleepnoise.recognition.features import _mel_bank; print(_mel_bank(8000.0, 512).shape[1])"
    caches = ("LIBROSA_CACHE_DIR", "NUMBA_CACHE_DIR", "XDG_CACHE_HOME")
    env = {**os.environ, **dict.fromkeys(caches, str(tmp_path / "file" / "cache"))}
    (tmp_path / "file").touch()
    done = subprocess.run([sys.executable, "-c", words], check=False, capture_output=True, text=True, env=env)
    assert done.stdout == "257\n", done.stderr
