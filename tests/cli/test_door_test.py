"""The command ``door-test``."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from sleepnoise.cli.program import app

DEMO = Path(__file__).parents[2] / "demo_audio"
STEPS = sorted((DEMO / "door_test").glob("[1-4]*.flac"))
OFF = DEMO / "door_test" / "5_background.flac"


def run(*words):
    return CliRunner().invoke(app, ["door-test", *map(str, words)], env={"COLUMNS": "80"})


def document(*words):
    done = run(*words, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_the_demo_file_is_a_ladder_on_one_screen():
    done = run(DEMO / "door_test.toml")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Larch Court, flat 3")
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "From 'door closed' to 'perimeter and threshold sealed': 11.0 ±" in " ".join(done.stdout.split())


def test_recordings_on_the_command_line_give_the_gains_of_the_file():
    told = document(*STEPS, "--background", OFF, "--tone", DEMO / "calibration_tone.flac")
    file = document(DEMO / "door_test.toml")
    assert [step["title"] for step in told["steps"]] == [path.stem for path in STEPS]
    for here, there in zip(told["steps"], file["steps"], strict=True):
        assert here["corrected_db"] == there["corrected_db"]
    relative = document(*STEPS, "--background", OFF)
    assert (told["absolute"], relative["absolute"]) == (True, False)
    assert relative["steps"][3]["gain_since"]["gain_db"][0] == pytest.approx(11.0, abs=0.2)


def test_levels_can_be_typed_and_a_title_given_again_is_a_repeat():
    told = document("open=70", "closed=60", "closed=61", "curtain = 53", "--background", "30", "--since", "1")
    assert [step["title"] for step in told["steps"]] == ["open", "closed", "curtain"]
    assert len(told["steps"][1]["readings"]) == 2
    assert (told["since_step"], told["background_db"]) == (1, [30.0])


def test_a_folder_is_a_step_with_repeats_and_names_may_hold_equals_signs(tmp_path):
    folder = tmp_path / "closed"
    folder.mkdir()
    for place in (1, 2):
        (folder / f"{place}.flac").write_bytes(STEPS[1].read_bytes() + bytes(place))
    opened = tmp_path / "door=open.flac"
    opened.write_bytes(STEPS[0].read_bytes())
    told = document(opened, folder)
    assert [step["title"] for step in told["steps"]] == ["door=open", "closed"]
    assert [each["name"] for each in told["steps"][1]["readings"]] == ["1.flac", "2.flac"]


def test_octaves_and_readings_beside_the_noise():
    told = document(*STEPS[:2], "--octaves", "--source", "80", "--source", "82")
    assert told["nominal_hz"][:3] == [31.5, 63.0, 125.0]
    assert told["steps"][1]["source_change_db"][0] == pytest.approx(2.0)
    assert told["steps"][1]["step_gain"]["gain_db"][0] == pytest.approx(13.0, abs=0.1)


def test_bands_are_printed_on_request():
    assert "Gain of each step by band, dB" in run(DEMO / "door_test.toml", "--bands").stdout


def test_mistakes_end_with_status_2_and_a_remedy(tmp_path):
    (tmp_path / "empty").mkdir()
    for words in (
        ["open=70"],
        ["open=70", "closed=none.wav"],
        ["open=70", "closed=1e9"],
        ["open=70", "closed=nan"],
        ["open=70", "closed=60", "--source", "80"],
        ["open=70", "closed=60", "--since", "2"],
        ["open=70", tmp_path / "empty"],
        [DEMO / "door_test.toml", "open=70"],
        [DEMO / "door_test.toml", "--since", "1"],
        [tmp_path / "none.toml"],
        [STEPS[0], STEPS[0]],
        [STEPS[0], STEPS[1], "--background", "30"],
        [STEPS[0], STEPS[1], "--channel", "3"],
        [STEPS[0], STEPS[1], "--tone", OFF],
    ):
        done = run(*words)
        assert done.exit_code == 2, words
        assert "What to do: " in done.stderr, words
        assert "Traceback" not in done.output
