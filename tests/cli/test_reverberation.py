"""The command ``reverberation``."""

import json
import tomllib

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.cli.program import app


@pytest.fixture
def bang(tmp_path):
    rng = np.random.default_rng(3)
    time_s = np.arange(32_000) / 16_000
    decay = rng.standard_normal(time_s.size) * 10 ** (-3 * time_s / 0.5)
    sound = np.r_[np.zeros(8000), decay, np.zeros(8000)] * 0.1
    path = tmp_path / "balloon.wav"
    soundfile.write(path, sound + 1e-5 * rng.standard_normal(sound.size), 16_000, subtype="PCM_24")
    return path


def run(*words):
    return CliRunner().invoke(app, ["reverberation", *map(str, words)], env={"COLUMNS": "80"})


def test_the_table_and_the_line_for_a_room_file_say_the_same(bang):
    done = run(bang, "--volume", "30")
    assert done.exit_code == 0, done.output
    line = done.stdout.strip().splitlines()[-1]
    times = tomllib.loads(line)["reverberation_octaves_s"]
    assert times["1000"] == pytest.approx(0.5, abs=0.06)
    row = next(row.split() for row in done.stdout.splitlines() if row.split()[:1] == ["1000"])
    assert (float(row[1]), row[5]) == (times["1000"], "1")
    assert all(len(row) <= 80 for row in done.stdout.splitlines()[:-1])


def test_json_has_everything(bang):
    done = run(bang, "--json", "--thirds")
    document = json.loads(done.stdout)
    assert (document["how"], document["octaves"], document["recordings"]) == ("bang", False, 1)
    assert document["bands"][0].keys() >= {"nominal_hz", "t20_s", "t30_s", "u_s", "warnings"}
    assert document["provenance"]["inputs"][0]["name"] == "balloon.wav"


def test_mistakes_end_with_status_2(bang, tmp_path):
    for words in ([tmp_path / "none.wav"], [bang, "--how", "sweep"], [bang, "--volume", "-3"]):
        done = run(*words)
        assert done.exit_code == 2, words
        assert "Traceback" not in done.output
