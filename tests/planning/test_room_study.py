"""The study of a room: from the room file to paths and advice."""

from pathlib import Path

import pytest

from sleepnoise.errors import ProfileError, SettingsError
from sleepnoise.planning.room_study import REFERENCE_DBA, study_room

SHIPPED = Path(__file__).parents[2] / "demo_audio" / "bedroom.toml"


def test_the_invented_bedroom_is_led_by_its_door_and_the_lane():
    study = study_room(SHIPPED)
    assert "invented" in study.bedroom.title.lower()
    assert {each.behind for each in study.standing} == {"hall", "outdoors", "neighbour"}
    now = study.advice.now
    assert now.paths.paths[now.strongest].part.key == "hall-door"
    shares = {"hall-door": 0.0, "window": 0.0, "lane-wall": 0.0, "neighbour-wall": 0.0}
    for path, share in zip(now.paths.paths, now.shares, strict=True):
        shares[path.part.key] += share
    assert shares["hall-door"] > shares["window"] > shares["neighbour-wall"] > shares["lane-wall"]


def test_the_measured_door_beats_the_tabulated_one_and_the_difference_is_kept():
    study = study_room(SHIPPED)
    assert study.comparison.measured_db == 11.0
    assert study.comparison.better_db < 0
    assert study.advice.now.room_dba > study.tabulated.room_dba


def test_the_window_of_the_invented_room_waits_for_an_answer():
    study = study_room(SHIPPED)
    assert all(each.part.key != "window" for each in study.advice.allowed)
    assert {each.part.key for each in study.advice.refused} == {"window"}


def test_a_named_sound_takes_the_place_of_those_in_the_file():
    everywhere, one_side = (
        study_room(SHIPPED, "road-urban"),
        study_room(SHIPPED, "pink-noise", "outdoors", 60.0),
    )
    assert [(each.behind, each.level_dba) for each in everywhere.standing] == [
        (side, REFERENCE_DBA) for side in ("hall", "neighbour", "outdoors")
    ]
    assert [(each.behind, each.level_dba) for each in one_side.standing] == [("outdoors", 60.0)]
    assert set(one_side.advice.now.arriving) == {"outdoors"}


def test_sounds_of_one_side_are_heard_together(tmp_path):
    text = SHIPPED.read_text(encoding="utf-8")
    again = '[[arriving]]\nbehind = "outdoors"\nsound = "road-urban"\nlevel_dba = 58\n\n[[part]]'
    room = tmp_path / "room.toml"
    room.write_text(text.replace("[[part]]", again, 1), encoding="utf-8")
    one, two = (study_room(file).advice.now for file in (SHIPPED, room))
    window = [path.part.key for path in one.paths.paths].index("window")
    assert two.levels_dba[window] - one.levels_dba[window] == pytest.approx(3.01, abs=0.005)


def test_a_room_without_sounds_needs_one(tmp_path):
    text = SHIPPED.read_text(encoding="utf-8")
    start, end = text.index("[[arriving]]"), text.index("[[part]]")
    room = tmp_path / "room.toml"
    room.write_text(text[:start] + text[end:], encoding="utf-8")
    with pytest.raises(SettingsError, match="says of no sound"):
        study_room(room)
    assert study_room(room, "pink-noise").standing


@pytest.mark.parametrize("keys", [{"side": "hall"}, {"level_dba": 50.0}])
def test_side_and_level_belong_to_a_named_sound(keys):
    with pytest.raises(SettingsError, match="belong to a source"):
        study_room(SHIPPED, **keys)


def test_what_is_no_room_or_no_sound_is_refused():
    with pytest.raises(ProfileError, match="the kind must be bedroom here"):
        study_room("second-door")
    with pytest.raises(ProfileError, match="no shipped profile"):
        study_room(SHIPPED, "no-such-sound")
    with pytest.raises(ProfileError, match="the kind must be sound here"):
        study_room(SHIPPED, "pink")
