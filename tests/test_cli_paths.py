"""The command ``paths``."""

import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sleepnoise.cli.program import app

ROOM = Path(__file__).parents[1] / "demo_audio" / "bedroom.toml"


def run(*words: object) -> Result:
    return CliRunner().invoke(app, ["paths", *map(str, words)], env={"COLUMNS": "80"})


def test_the_screen_shows_paths_and_advice() -> None:
    done = run(ROOM)
    assert done.exit_code == 0, done.output
    assert "How the sound gets in" in done.stdout


def test_json_is_everything_and_nothing_else() -> None:
    done = run(ROOM, "--json")
    document = json.loads(done.stdout)
    assert document["schema"] == {"name": "sleepnoise/paths", "version": 1}
    assert document["made_from"]["sha256"] == hashlib.sha256(ROOM.read_bytes()).hexdigest()
    assert sum(path["share"] for path in document["paths"]) == pytest.approx(1.0)
    assert [path["strongest"] for path in document["paths"]].count(True) == 1
    gains = [each["gain_dB"] for each in document["treatments"]["advised"]]
    assert gains == sorted(gains, reverse=True)
    assert document["door_test"]["open_minus_closed_dB"] == 11.0
    assert all(each["reasons"] for each in document["treatments"]["not_advised"])


def test_json_has_null_where_nothing_is_heard() -> None:
    document = json.loads(run(ROOM, "--json", "--source", "road-urban", "--side", "outdoors").stdout)
    by_part = {path["part"]: path["LA_dB"] for path in document["paths"]}
    assert by_part["hall-door"] is None
    assert by_part["lane-wall"] > 0


def test_source_side_and_level_arrive() -> None:
    words = ("--source", "pink-noise", "--side", "hall", "--level", "62.5", "--json")
    [sound] = json.loads(run(ROOM, *words).stdout)["sounds"]
    assert (sound["sound"], sound["behind"], sound["LA_dB"]) == ("pink-noise", "hall", 62.5)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["nowhere.toml"], "no such file"),
        ([ROOM, "--source", "nothing"], "no shipped profile"),
        ([ROOM, "--side", "hall"], "belong to a source"),
        ([ROOM, "--source", "pink-noise", "--side", "cellar"], "cellar"),
        ([], "Missing argument"),
    ],
)
def test_what_a_user_gets_wrong_ends_with_status_2_and_a_sentence(
    words: list[object], complaint: str
) -> None:
    done = run(*words)
    assert done.exit_code == 2
    assert complaint in done.stderr
    assert "Traceback" not in done.output
