"""The command ``speech-privacy``, on an assessed night."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app

DOOR = "door-hollow-wood-44"


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)), env={"COLUMNS": "80"})


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """Forty seconds of pink background of about 25 dB(A)."""
    folder = tmp_path_factory.mktemp("talk")
    rng = np.random.default_rng(2)
    lines = np.fft.rfft(rng.standard_normal(40 * 32_000))
    lines[1:] /= np.sqrt(np.arange(1, lines.size))
    samples = np.fft.irfft(lines)
    soundfile.write(folder / "n.wav", samples / samples.std() * 3e-4, 32_000, subtype="PCM_24")
    done = run(
        "assess", folder / "n.wav", "--start", "2026-01-14T23:30", "--zone", "Europe/Vienna",
        "--full-scale-level", "95", "--out", folder / "night",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return folder / "night"


def document(*words):
    done = run("speech-privacy", *words, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_a_masker_leaves_less_to_understand_and_a_better_wall_too(night):
    both = document(night, "--through", DOOR, "--level", "40")["findings"]
    alone, masked = both.values()
    assert 0.05 < masked["sii"] < alone["sii"] <= 1.0
    assert masked["peak_margin_db"] < alone["peak_margin_db"]
    [shouted] = document(night, "--through", DOOR, "--effort", "shout")["findings"].values()
    assert shouted["peak_margin_db"] > alone["peak_margin_db"]
    [wall] = document(night, "--through", "door-acoustic-metal-gasket-180")["findings"].values()
    assert wall["sii"] < alone["sii"]


def test_the_masker_that_is_said_to_be_enough_is_and_half_a_decibel_less_is_not(night):
    words = (night, "--through", "door-acoustic-steel-100", "--cap", "50")
    enough = document(*words)["needed_dba"]["not understood"]
    assert 20 < enough < 50
    with_it = list(document(*words, "--level", enough)["findings"].values())[1]
    less = list(document(*words, "--level", enough - 0.5)["findings"].values())[1]
    assert with_it["sii"] <= 0.05 < less["sii"]


def test_the_sheet_says_what_was_assumed_and_what_is_not_reached(night):
    done = run("speech-privacy", night, "--through", DOOR, "--effort", "shout")
    said = " ".join(done.stdout.split())
    for words in ("can be understood", "none up to 40 dB(A) will do", "ANSI S3.5", "this one element"):
        assert words in said
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--through", "no-such-door"), "no construction element"),
        (("--through", DOOR, "--masker", "loud"), "must be one of"),
        (("--through", DOOR, "--level", "60"), "50 dB(A)"),
        (("--through", DOOR, "--cap", "70"), "50 dB(A)"),
        (("--through", DOOR, "--age", "-4"), "age"),
    ],
)
def test_mistakes_end_with_status_2(night, words, complaint):
    done = run("speech-privacy", night, *words)
    assert done.exit_code == 2
    assert complaint in " ".join(done.output.split())
    assert "Traceback" not in done.output


def test_a_folder_without_a_night_is_refused(tmp_path):
    assert run("speech-privacy", tmp_path, "--through", DOOR).exit_code == 2
