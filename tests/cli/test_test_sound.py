"""The command ``test-sound``."""

import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app


def run(*words):
    return CliRunner().invoke(app, ["test-sound", *map(str, words)], env={"COLUMNS": "80"})


def test_noise_is_written_and_how_to_play_it_without_harm_is_said(tmp_path):
    done = run("pink", tmp_path / "noise.wav", "--seconds", "2", "--rate", "16000", "--to", "6000")
    assert done.exit_code == 0, done.output
    assert soundfile.info(tmp_path / "noise.wav").duration == 2.0
    said = " ".join(done.stdout.split())
    for word in (
        "lowest volume",
        "hearing protection",
        "Neighbours",
        "Loudspeaker",
        "10 dB above the background",
    ):
        assert word in said


def test_sweeps_and_defaults(tmp_path):
    done = run("sweep", tmp_path / "sweep.wav", "--sweeps", "2")
    assert done.exit_code == 0, done.output
    info = soundfile.info(tmp_path / "sweep.wav")
    assert (info.duration, info.samplerate, info.channels, info.subtype) == (30.0, 48_000, 1, "PCM_16")


def test_mistakes_end_with_status_2_and_a_file_is_kept_unless_forced(tmp_path):
    taken = tmp_path / "noise.wav"
    taken.write_text("mine")
    for words in (
        ["pink", taken],
        ["pink", tmp_path / "a.flac"],
        ["white", tmp_path / "a.wav", "--to", "30000"],
    ):
        done = run(*words)
        assert done.exit_code == 2, words
        assert "What to do: " in done.stderr
    assert taken.read_text() == "mine"
    assert run("white", taken, "--seconds", "1", "--force").exit_code == 0
    assert soundfile.info(taken).duration == 1.0
