"""The command ``check-recorder``. Every recording is invented."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app

RATE_HZ = 48_000
LEVEL = ("--full-scale-level", "105")


def run(*words):
    return CliRunner().invoke(app, ["check-recorder", *map(str, words)], env={"COLUMNS": "80"})


def minute(rate_hz=RATE_HZ):
    """A quiet room of white noise with one clap after twenty seconds."""
    rng = np.random.default_rng(1)
    samples = rng.normal(0, 3e-5, 60 * rate_hz)
    clap = rng.normal(0, 0.1, rate_hz // 10) * np.exp(-np.arange(rate_hz // 10) / (rate_hz / 50))
    samples[20 * rate_hz : 20 * rate_hz + clap.size] += clap
    return samples


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    path = tmp_path_factory.mktemp("test") / "good [red].wav"
    soundfile.write(path, minute(), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def telephone(tmp_path_factory):
    """8 kHz and companded: no recorder for a quiet room."""
    path = tmp_path_factory.mktemp("test") / "telephone.wav"
    soundfile.write(path, 100 * minute(8000), 8000, subtype="ULAW")
    return path


def test_a_good_recorder_can_do_the_job(good):
    done = run(good, *LEVEL, "--check")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("This recorder can do the job.\ngood [red].wav\n")
    assert "±4.7 dB (k = 2)" in done.stdout
    assert "What to change" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_without_calibration_one_point_stays_open(good):
    done = run(good, "--check")
    assert done.exit_code == 0
    said = " ".join(done.stdout.split())
    assert "As far as this test tells, the recorder can do the job; 1 of 8 points is still open." in said
    assert "quiet sounds: Record a calibrator" in said
    assert "Calibration:" not in said


def test_a_recorder_that_cannot_ends_a_check_with_status_1(telephone):
    asked, unasked = run(telephone, "--check"), run(telephone)
    assert (asked.exit_code, unasked.exit_code) == (1, 0)
    assert asked.stdout == unasked.stdout
    assert asked.stdout.startswith("Set up like this, the recorder cannot do the job.")
    # The weakest comes first, with what to do about it.
    assert asked.stdout.index("▲ cannot") < asked.stdout.index("● can ")
    assert "Record WAV or FLAC" in asked.stdout


def test_the_document_is_all_there_is(good, telephone):
    done = run(good, *LEVEL, "--json")
    document = json.loads(done.stdout)
    assert document["schema"] == {"name": "sleepnoise/recorder-check", "version": 1}
    assert document["answer"] == "can"
    assert {point["ability"] for point in document["points"]} == {"can"}
    assert document["calibration"]["origin"] == "stated: a full-scale sine is 105 dB"
    assert document["inputs"][0]["name"] == good.name
    assert done.stdout == run(good, *LEVEL, "--json").stdout
    failed = run(telephone, "--json", "--check")
    assert (failed.exit_code, json.loads(failed.stdout)["answer"]) == (1, "cannot")
    assert json.loads(failed.stdout)["calibration"] is None


def test_a_kept_calibration_counts_whenever_the_test_was_made(good, tmp_path):
    kept = tmp_path / "kept.toml"
    words = ["calibrate", *LEVEL, "--made-on", "2020-01-14", "--out", str(kept)]
    assert CliRunner().invoke(app, words).exit_code == 0
    by_file = json.loads(run(good, "--calibration", kept, "--json").stdout)
    assert by_file["LA90_dB"] == json.loads(run(good, *LEVEL, "--json").stdout)["LA90_dB"]
    assert by_file["calibration"]["remarks"] == []


def test_another_channel_can_be_checked(good, tmp_path):
    samples, _ = soundfile.read(good)
    both = tmp_path / "both.wav"
    soundfile.write(both, np.stack([0 * samples, samples], axis=1), RATE_HZ, subtype="PCM_24")
    assert json.loads(run(both, *LEVEL, "--json").stdout)["answer"] == "cannot"
    assert json.loads(run(both, *LEVEL, "--channel", 2, "--json").stdout)["answer"] == "can"


def test_the_tone_is_taken_from_the_same_channel(good, tmp_path):
    samples, _ = soundfile.read(good)
    tone = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(8 * RATE_HZ) / RATE_HZ)
    for name, heard in (("test.wav", samples), ("tone.wav", tone)):
        both = np.stack([np.zeros_like(heard), heard], axis=1)
        soundfile.write(tmp_path / name, both, RATE_HZ, subtype="PCM_24")
    done = run(tmp_path / "test.wav", "--tone", tmp_path / "tone.wav", "--channel", 2)
    assert "Calibration: tone of 94 dB in tone.wav" in done.stdout


@pytest.mark.parametrize(
    "words", [["--channel", "3"], ["--tone", "none.wav"], [*LEVEL, "--calibration", "x"]]
)
def test_mistakes_end_with_status_2_and_a_remedy(good, words):
    done = run(good, *words)
    assert done.exit_code == 2
    assert "What to do: " in done.stderr


def test_a_test_of_another_length_is_refused(tmp_path):
    path = tmp_path / "short.wav"
    soundfile.write(path, minute()[: 10 * RATE_HZ], RATE_HZ)
    done = run(path)
    assert (done.exit_code, "45 to 600 s" in done.stderr) == (2, True)
