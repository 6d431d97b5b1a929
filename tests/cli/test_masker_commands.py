"""The commands design-masker and check-masker, as they are typed."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app
from sleepnoise.dossier.document import assessment_document
from sleepnoise.evidence.plain import document_text

EASY = ("--margin", "13", "--lowest-band", "20", "--cap", "45")


@pytest.fixture
def folder(record, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "larch").mkdir()
    (tmp_path / "larch" / "assessment.json").write_text(document_text(assessment_document(record)))
    return tmp_path


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_a_design_its_sound_and_a_check_fit_together(folder, write_sound):
    done = run(
        "design-masker",
        "larch",
        *EASY,
        "--out",
        "m.json",
        "--sound",
        "m.wav",
        "--seconds",
        8,
        "--rate",
        32000,
    )
    assert done.exit_code == 0, done.output
    for words in ("quietest masker", "Saved, dB", "Setting the level", "last resort", "--alarm-level"):
        assert words in " ".join(done.output.split())
    design = json.loads((folder / "m.json").read_text())
    assert design["schema"] == {"name": "sleepnoise/masker", "version": 1}
    samples, rate_hz = soundfile.read("m.wav")
    assert (rate_hz, samples.shape) == (32_000, (256_000, 2))
    # Played at the level designed, recorded with a full scale of 100 dB, over a quiet room.
    levels_db = [-np.inf if level == "-Infinity" else level for level in design["spectrum"]["levels_db"]]
    rms = 20e-6 * np.sqrt(np.sum(10 ** (np.array(levels_db) / 10)))
    left = samples[:, 0] * rms / np.sqrt(np.mean(samples[:, 0] ** 2))
    full_scale_pa = 20e-6 * 10 ** (100 / 20) * np.sqrt(2)
    room = np.random.default_rng(1).normal(0.0, 1e-6, 256_000)
    for name, pressure_pa in (("a.wav", left + room), ("b.wav", left - room), ("off.wav", room)):
        write_sound(folder / name, pressure_pa / full_scale_pa, 32_000, subtype="PCM_24")
    words = ("m.json", "a.wav", "b.wav", "--off", "off.wav", "--full-scale-level", 100, "--same-recorder")
    checked = run("check-masker", *words, "--check")
    assert checked.exit_code == 0, checked.output
    assert "within ±1 dB" in checked.output
    assert "29 kept" in checked.output
    louder = run("check-masker", *(100 + 6 if word == 100 else word for word in words), "--check")
    assert louder.exit_code == 1
    assert "too loud" in louder.output
    plain = json.loads(run("check-masker", *words, "--json").output)
    assert plain["level"]["word"] == "kept"


def test_the_design_as_json_is_the_file(folder):
    printed = run("design-masker", "larch", *EASY, "--out", "m.json", "--json")
    assert printed.exit_code == 0
    assert printed.output == (folder / "m.json").read_text()
    assert json.loads(printed.output)["events"][0]["event"] == 1


@pytest.mark.usefixtures("folder")
def test_alarms_are_shown_and_never_promised():
    done = run("design-masker", "larch", *EASY, "--alarm-distance", 3, "--door-loss", 15)
    text = " ".join(done.output.split())
    assert done.exit_code == 0, text
    assert "Alarm of 3.1 kHz" in text
    assert "Alarm of 520 Hz" in text
    assert "unverified, no verdict" in text
    assert "No rule says that a sleeper hears an alarm" in text
    assert "will be heard" not in text
    assert text.count("rests on the generic value in that treatment's profile") == 1
    assert "generic value" not in run("design-masker", "larch", *EASY).output


@pytest.mark.usefixtures("folder")
def test_every_line_fits_80_columns():
    done = run("design-masker", "larch", *EASY, "--alarm-level", 60, "--behind", "door-seals-hollow-core")
    assert done.exit_code == 0, done.output
    assert max(map(len, done.output.splitlines())) <= 80


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--cap", "55"], "50 dB(A) at the pillow and no more"),
        (["--infant"], "none is designed for an infant"),
        (["--infant", "--carer-confirms", "--distance", "1"], "at least 2 m"),
        (["--aim", "inaudible", "--margin", "3"], "--aim and --margin"),
        (["--events", "1-x"], "must be numbers"),
        (["--events", "9"], "events 1 to 3"),
        (["--band-limit", "63:40"], "63=40"),
        (["--alarm-level", "60", "--door-loss", "20"], "needs no distance"),
        (["--door-loss", "20"], "neither its level"),
        (["--sound", "m.mp3"], "must end in .wav or .flac"),
        (["--behind", "nothing"], "no shipped profile"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(words, complaint, folder):
    done = run("design-masker", "larch", *words)
    assert done.exit_code == 2
    assert complaint in " ".join(done.output.split())
    assert "What to do:" in done.output
    assert [path.name for path in folder.iterdir()] == ["larch"]


def test_nothing_is_replaced_unless_told(folder):
    (folder / "m.json").write_text("mine")
    assert run("design-masker", "larch", *EASY, "--out", "m.json").exit_code == 2
    assert (folder / "m.json").read_text() == "mine"
    assert run("design-masker", "larch", *EASY, "--out", "m.json", "--force").exit_code == 0


def test_no_masker_no_sound(folder):
    done = run("design-masker", "larch", "--lowest-band", "8000", "--sound", "m.flac")
    assert done.exit_code == 0, done.output
    assert "none is proposed" in " ".join(done.output.split())
    assert not (folder / "m.flac").exists()
