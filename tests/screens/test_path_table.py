"""A studied room on the terminal: it fits, and says what matters."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.cells import cell_len

from sleepnoise.planning.room_study import study_room
from sleepnoise.screens.path_table import show_room
from sleepnoise.wording.path_words import path_text
from sleepnoise.wording.room_words import door_test_text, room_sentences

ROOM = Path(__file__).parents[2] / "demo_audio" / "bedroom.toml"


@pytest.fixture(autouse=True)
def width(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def shown(file: Path, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    show_room(study_room(file, *words))
    return capsys.readouterr().out


def test_a_room_fits_80_columns_and_has_every_part(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(ROOM, capsys)
    assert max(map(cell_len, text.splitlines())) <= 80
    for words in (
        "How the sound gets in",
        "What may be done",
        "Most gain for the money",
        "Under 1 dB here",
        "Not advised",
        "Before anything is done",
        "Smoke alarm",
        "Local codes",
    ):
        assert words in text


def test_what_the_levels_of_an_alarm_rest_on_is_said_once_and_only_if_there_are_any(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = " ".join(shown(ROOM, capsys).split())
    assert text.count("computed from this room's own paths") == 1
    assert text.index("computed from this room's own paths") < text.index("Smoke alarm: ")
    room = tmp_path / "room.toml"
    inside = re.sub(r'(?m)^place = "hall"', 'place = "bedroom"', ROOM.read_text(encoding="utf-8"))
    room.write_text(inside, encoding="utf-8")
    assert "Smoke alarm: " not in (other := " ".join(shown(room, capsys).split()))
    assert "own paths" not in other


def test_what_is_not_advised_stands_with_its_reason_and_not_among_the_advice(
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = shown(ROOM, capsys)
    advice, refused = text.split("Not advised")
    assert "Secondary pane" not in advice
    assert "Secondary pane" in refused
    assert "does this window serve as an escape" in " ".join(refused.split())


def test_without_an_answer_about_the_appliance_nothing_is_sealed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room = tmp_path / "room.toml"
    text = ROOM.read_text(encoding="utf-8").replace('burns_fuel = "no"', 'burns_fuel = "unknown"')
    room.write_text(text, encoding="utf-8")
    advice, refused = shown(room, capsys).split("Not advised")
    assert "seal" not in advice.split("What may be done")[1].lower().replace("unsealed", "")
    assert "fuel-burning appliance" in refused


def test_every_caution_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join(shown(ROOM, capsys).split())
    assert text.count("Combustion: never seal") == 1


def test_doubt_stands_beside_what_is_not_verified(capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join(shown(ROOM, capsys, "aircraft-departure").split())
    assert "Aircraft, departing (unverified)" in text
    # The window's glass and two treatments.
    assert text.count("(unverified)") >= 3


def test_sides_without_sound_are_named_and_their_paths_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(ROOM, capsys, "road-urban", "outdoors")
    assert "No sound stands in the hall, nor at the neighbour." in text
    assert "silence" not in text
    assert "gap bottom" not in text.split("What may be done")[0].split("How the sound gets in")[1]


def test_the_sentences_name_the_strongest_path_and_the_door_test() -> None:
    sentences = " ".join(room_sentences(study_room(ROOM)))
    assert "Strongest path: hollow-core double door: gap bottom, 10 mm" in sentences
    assert "Door test: hall-door takes off 11.0 dB, the tables say" in sentences
    assert "dB less. The measured door counts." in sentences


def test_a_door_that_is_better_than_tabulated_is_called_so() -> None:
    comparison = study_room(ROOM).comparison
    assert comparison is not None
    bands = np.array([np.nan, 20.0, 22.0])
    better = replace(
        comparison, measured_db=bands, tabulated_db=bands - 3.0, at_limit=np.array([False, True, True])
    )
    text = door_test_text(better)
    assert "21.0 dB at least, for other paths decide" in text
    assert "18.0 dB on average over the bands measured: 3.0 dB more" in text


def test_a_width_from_paper_and_light_reads_about() -> None:
    paths = study_room(ROOM).advice.now.paths.paths
    assert path_text(paths[0]) == "hollow-core double door"
    assert path_text(paths[2]) == "hollow-core double door: gap middle, about 3 mm"


def test_text_from_a_room_file_is_not_markup(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    room = tmp_path / "room.toml"
    text = ROOM.read_text(encoding="utf-8").replace("hollow-core double door", "[red]oak[/red] :tram:")
    room.write_text(text, encoding="utf-8")
    assert "[red]oak[/red] :tram:" in shown(room, capsys)
