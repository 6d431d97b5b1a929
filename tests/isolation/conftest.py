"""What several tests of this room need."""

import copy
import tomllib
from pathlib import Path

import pytest

from sleepnoise.isolation.bedroom import bedroom_from_profile
from sleepnoise.profiles.bedroom import BedroomProfile

DOORS = Path(__file__).parents[1] / "published" / "door_transmission_loss.toml"

DOOR = {
    "key": "door",
    "title": "door",
    "what": "door",
    "behind": "hall",
    "construction": "door-hollow-wood-44",
    "area_m2": 1.69,
    "rated_fire_door": "no",
    "gap": [
        {"edge": "bottom", "length_m": 0.83, "width_mm": 10},
        {"edge": "sides", "length_m": 4.08, "seal": "partly"},
        {"edge": "top", "length_m": 0.83, "seal": "partly"},
    ],
}
WINDOW = {
    "key": "window",
    "title": "window",
    "what": "window",
    "behind": "outdoors",
    "construction": "glass-4-generic",
    "area_m2": 1.5,
    "escape_window": "no",
    "gap": [{"edge": "all round", "length_m": 5.0, "seal": "none"}],
}
WALL = {
    "key": "wall",
    "title": "wall",
    "what": "wall",
    "behind": "neighbour",
    "construction": "stud-wood-1x1",
    "area_m2": 8.0,
}
SAFE = {
    "air": {"burns_fuel": "no", "other_fresh_air": "yes", "damp": "no"},
    "home": {"tenancy": "owned", "protected_building": "no"},
    "alarm": {"place": "bedroom"},
}
# 3.6 x 3.2 x 2.4 m and 0.4 s are 11.06 m2 of absorption.
SIZE = {"length_m": 3.6, "width_m": 3.2, "height_m": 2.4, "reverberation_s": 0.4}


@pytest.fixture(scope="session")
def doors():
    """Return published transmission losses and ratings of doors."""
    return tomllib.loads(DOORS.read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def parts():
    """Return a door, a window and a wall, as a room file has them; to be changed at will."""
    return lambda: copy.deepcopy({"door": DOOR, "window": WINDOW, "wall": WALL})


@pytest.fixture(scope="session")
def room():
    """Return a maker of invented bedrooms, in which every question of safety is answered well."""

    def made(*part, **keys):
        given = {"kind": "bedroom", "title": "Invented", **SIZE, **SAFE, **keys, "part": list(part)}
        return bedroom_from_profile(BedroomProfile.model_validate(given))

    return made


@pytest.fixture(scope="session")
def even():
    """Return a maker of parts that take the same off in every band."""

    def made(key, r_db, area_m2, **keys):
        own = {"octaves_db": {"20": r_db}, "data_from": "invented"}
        given = {"key": key, "title": key, "what": "wall", "behind": "hall", "area_m2": area_m2, **own}
        return {**given, **keys}

    return made
