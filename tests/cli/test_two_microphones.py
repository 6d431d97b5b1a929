"""The command ``two-microphones``."""

import json

import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app

RATE_HZ = 16_000


def run(*words):
    return CliRunner().invoke(app, ["two-microphones", *map(str, words)], env={"COLUMNS": "80"})


@pytest.fixture(scope="module")
def both(tmp_path_factory, two_rooms):
    path = tmp_path_factory.mktemp("both") / "both.wav"
    channels = two_rooms(90, seed=4).noise_outside(6).recorded(lag_s=0.0, drift_ppm=0.0)
    soundfile.write(path, list(zip(*channels, strict=True)), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def two_files(both):
    samples, _ = soundfile.read(both)
    paths = [both.with_name(name) for name in ("hall.wav", "bed.wav")]
    for path, channel in zip(paths, samples.T, strict=True):
        soundfile.write(path, channel, RATE_HZ, subtype="PCM_24")
    return paths


def test_one_recording_with_two_channels_is_compared(both):
    done = run(both, "--same-gain")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("A-weighted, real noise is ")
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_channels_can_be_exchanged(both):
    done = run(both, "--same-gain", "--outer-channel", "2", "--pillow-channel", "1")
    assert done.exit_code == 0, done.output
    assert "wrong order" in " ".join(done.stdout.split())


def test_two_recordings_give_a_shape_or_with_calibrations_levels(two_files):
    shape = json.loads(run(*two_files, "--json").stdout)
    assert (shape["scale"], shape["one_file"], shape["verdict"]) == ("shape only", False, "measured")
    levels = ("--outer-full-scale-level", "110", "--pillow-full-scale-level", "100")
    calibrated = json.loads(run(*two_files, *levels, "--json").stdout)
    assert calibrated["scale"] == "calibrated"
    same = json.loads(run(two_files[0].with_name("both.wav"), "--same-gain", "--json").stdout)
    # The outer microphone then reads 10 dB more.
    assert calibrated["bands"][0]["median_db"] == pytest.approx(same["bands"][0]["median_db"] + 10.0, abs=0.2)


def test_the_document_is_the_only_output_and_repeatable(both):
    done = run(both, "--json")
    assert done.stdout == run(both, "--json").stdout
    assert done.stderr == ""


def test_mistakes_end_with_status_2_and_a_remedy(both, two_files, tmp_path):
    for words in (
        [tmp_path / "none.wav"],
        [both, "--outer-channel", "2"],
        [*two_files, "--same-gain"],
        [both, both, "--outer-channel", "3"],
        [*two_files, "--zone", "Nowhere/Here"],
        [*two_files, "--outer-tone", both, "--outer-full-scale-level", "100"],
    ):
        done = run(*words)
        assert done.exit_code == 2, words
        assert "What to do: " in done.stderr
        assert "Traceback" not in done.output


def test_the_command_is_listed_in_the_order_of_the_work():
    assert "two-microphones" in CliRunner().invoke(app, ["--help"]).stdout
