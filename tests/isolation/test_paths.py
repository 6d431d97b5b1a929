"""A room as paths: worked examples, shares, and what seals, order and silence do."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.openings import leak_width_m
from sleepnoise.isolation.paths import levels, path_levels_dba, rectangular_u_db, room_paths
from sleepnoise.isolation.sounds import sound

PINK = sound("pink-noise").a_weighted_db
EVERYWHERE = {"hall": PINK + 70.0, "outdoors": PINK + 70.0, "neighbour": PINK + 70.0}


def test_from_hall_to_bedroom(room, even):
    """70 - 20 + 10 lg(1.69/11.06) = 41.84 (by hand, L2 = L1 - R + 10 lg(S/A), ISO 10140-2)."""
    found = levels(room_paths(room(even("door", 20.0, 1.69))), EVERYWHERE)
    assert found.room_dba == pytest.approx(41.84, abs=0.005)
    assert found.insertion_db == pytest.approx(28.16, abs=0.005)


def test_the_strongest_path_of_a_published_facade(room, even):
    """EN 12354-3:2000 Annex F (library): shares of wall, window, roof light and inlet at 250 Hz."""
    wall = even("wall", 46.0, 6.0)
    shipped = [
        {"construction": "window-example-4-5-m2", "area_m2": 4.5, "what": "window"},
        {"construction": "roof-light-example-0-5-m2", "area_m2": 0.5, "what": "window"},
        {"construction": "air-inlet-plain", "what": "vent"},
    ]
    others = [
        {"key": f"p{number}", "title": "p", "behind": "hall", **part} for number, part in enumerate(shipped)
    ]
    at_250_hz = np.where(np.array(NOMINAL_HZ) == 250.0, 70.0, -np.inf)
    found = levels(room_paths(room(wall, *others)), {"hall": at_250_hz})
    assert found.shares == pytest.approx([0.002, 0.356, 0.013, 0.629], abs=0.0005)
    assert found.strongest == 3


def test_what_taking_a_path_away_would_bring(room, even):
    """Paths of 52, 46, 44 and 36 dB: 53.57 in all; 5.19, 0.84, 0.51, 0.08 dB without each (by hand)."""
    wanted = np.array([52.0, 46.0, 44.0, 36.0])
    area_m2 = float(room(even("x", 1.0, 1.0)).absorption_m2[0])
    parts = [even(f"p{number}", 70.0 - level, area_m2) for number, level in enumerate(wanted)]
    found = levels(room_paths(room(*parts)), EVERYWHERE)
    assert found.levels_dba == pytest.approx(wanted)
    assert found.room_dba == pytest.approx(53.57, abs=0.005)
    assert found.gains_without_db == pytest.approx([5.19, 0.84, 0.51, 0.08], abs=0.005)


@pytest.mark.parametrize(
    ("percent", "noise_reduction"), [(1, 17), (2, 14), (4, 11), (8, 8), (16, 5), (32, 2)]
)
def test_what_stands_open(percent, noise_reduction, room, even):
    """US DOT open-area table, looked-up: -10 lg p - 3 dB; the 3 dB are a convention of incidence."""
    wall = even("wall", 90.0, 10.0) | {"open_area_m2": percent / 10.0}
    found = levels(room_paths(room(wall)), EVERYWHERE)
    facade_db = found.insertion_db[1] + 10 * np.log10(10.0 / 11.06)
    assert facade_db - 3.0 == pytest.approx(noise_reduction, abs=0.5)


def test_each_part_has_a_leaf_and_a_path_for_every_gap(room, parts):
    found = room_paths(room(*parts().values()))
    assert [(path.part.key, path.through) for path in found.paths] == [
        ("door", "leaf"), ("door", "gap bottom"), ("door", "gap sides"), ("door", "gap top"),
        ("window", "leaf"), ("window", "gap all round"), ("wall", "leaf"),
    ]  # fmt: skip


def test_each_path_hears_the_sound_of_its_side_only(room, parts):
    found = levels(room_paths(room(*parts().values())), {"outdoors": PINK + 60.0})
    assert np.isneginf(found.levels_dba).tolist() == [True] * 4 + [False] * 2 + [True]
    assert found.shares.sum() == pytest.approx(1.0)
    assert found.gains_without_db[[0, 6]].tolist() == [0.0, 0.0]


def test_sound_on_no_side_of_the_room_is_refused(room, parts):
    with pytest.raises(SettingsError, match=r"must stand on a side that the room has \(hall\), got outdoors"):
        levels(room_paths(room(parts()["door"])), {"outdoors": PINK})


def test_a_tight_gap_brings_nothing_and_harms_nothing(room, parts):
    door = parts()["door"]
    door["gap"][0]["width_mm"] = 0.0
    found = levels(room_paths(room(door)), EVERYWHERE)
    assert np.isneginf(found.levels_dba[1])
    assert np.isposinf(found.insertion_db[1]).all()
    assert np.isfinite(found.room_dba)


def test_the_simple_bound_stands_beside_the_slit(room, parts):
    found = room_paths(room(parts()["door"]))
    assert found.paths[1].simple_m2 == pytest.approx(0.83 * 0.010)
    assert found.paths[0].simple_m2 is None


def test_disagreement_of_sources_makes_a_path_less_certain(room, parts):
    wall = parts()["wall"]
    known, doubtful = (
        room_paths(room(wall | {"construction": key})).paths[0].u_db for key in ("stud-wood-1x1", "brick-100")
    )
    assert known == pytest.approx(2.0)
    # Sources of 100 mm brick differ by 9 dB: a rectangular range.
    assert doubtful == pytest.approx(np.hypot(2.0, 9.0 / np.sqrt(12.0)))
    assert rectangular_u_db(6.0) == pytest.approx(3.0 / np.sqrt(3.0))


def test_a_measured_gap_is_more_certain_than_one_from_paper_and_light(room, parts):
    _, bottom, sides, _ = room_paths(room(parts()["door"])).paths
    assert bottom.u_db < sides.u_db
    # 2 dB of the slit; and a width of half to twice, 3 dB either way, as a rectangular range.
    assert bottom.u_db == pytest.approx(2.0)
    assert sides.u_db == pytest.approx(np.hypot(2.0, 3.0 / np.sqrt(3.0)))


def test_a_gap_over_the_floor_leaks_more_bass_than_the_same_gap_between_walls(room, parts):
    """The floor mirrors it: it is half of a slit twice as wide, for which the wave is less long."""
    door = parts()["door"]
    door["gap"] = [{"edge": edge, "length_m": 1.0, "width_mm": 10} for edge in ("bottom", "top")]
    _, bottom_m2, top_m2 = room_paths(room(door)).open_m2
    depth_m = room(door).parts[0].depth_m
    assert bottom_m2 == pytest.approx(leak_width_m(NOMINAL_HZ, 0.010, depth_m, "along an edge"))
    assert top_m2 == pytest.approx(leak_width_m(NOMINAL_HZ, 0.010, depth_m, "in a wall"))
    low = NOMINAL_HZ.index(100.0)
    assert bottom_m2[low] > 1.2 * top_m2[low]


def test_paths_of_a_tested_part_err_together(room, even):
    """By hand, two equal paths: 1 dB if one test told both; with one untested 0.5 x 1 and 0.5 x 2 dB."""
    open_wall = even("door", 100.0, 2.0) | {"open_area_m2": 1e-3}
    twin = {**open_wall, "key": "twin"}
    both = room_paths(room(open_wall, twin))
    for tested, u_db in (
        ({"door": 1.0, "twin": 1.0}, np.hypot(0.5, 0.5)),
        ({"door": 1.0}, np.hypot(0.5, 1.0)),
        ({}, np.hypot(1.0, 1.0)),
    ):
        assert levels(replace(both, tested=tested), EVERYWHERE).u_db == pytest.approx(u_db, abs=0.01)
    r_db = -10 * np.log10(1e-3 / 2.0)  # leaf and opening bring the same
    alone = room_paths(room(even("door", r_db, 2.0) | {"open_area_m2": 1e-3}))
    assert levels(replace(alone, tested={"door": 1.0}), EVERYWHERE).u_db == pytest.approx(1.0)


def test_independent_paths_make_the_room_more_certain_than_each(room, even):
    one, two = (
        levels(room_paths(room(*[even(f"p{n}", 30.0, 2.0) for n in range(count)])), EVERYWHERE).u_db
        for count in (1, 2)
    )
    assert one == pytest.approx(2.0)
    assert two == pytest.approx(2.0 / np.sqrt(2.0))


def test_the_fast_way_gives_the_same_levels(room, parts):
    paths = room_paths(room(*parts().values()))
    assert path_levels_dba(paths, paths.open_m2, EVERYWHERE) == pytest.approx(
        levels(paths, EVERYWHERE).levels_dba
    )


walls = st.lists(st.tuples(st.floats(0, 80), st.floats(0.1, 20)), min_size=1, max_size=5)


@given(made=walls, random=st.randoms())
def test_parts_may_change_places_and_the_room_lies_between_its_loudest_path_and_their_sum(
    made, random, room, even
):
    entries = [even(f"p{number}", r_db, area_m2) for number, (r_db, area_m2) in enumerate(made)]
    one, other = (
        levels(room_paths(room(*order)), EVERYWHERE)
        for order in (entries, random.sample(entries, len(entries)))
    )
    assert one.room_dba == pytest.approx(other.room_dba, abs=1e-9)
    assert one.levels_dba.max() - 1e-9 <= one.room_dba
    assert one.room_dba <= one.levels_dba.max() + 10 * np.log10(len(made)) + 1e-9


@given(one_mm=st.floats(0, 20), other_mm=st.floats(0, 20))
def test_more_seal_never_means_more_sound(one_mm, other_mm, room, parts):
    def sealed_dba(width_mm):
        door = parts()["door"] | {"construction": "door-solid-wood-44"}
        door["gap"][0]["width_mm"] = width_mm
        return levels(room_paths(room(door)), EVERYWHERE).room_dba

    narrow_dba, wide_dba = map(sealed_dba, sorted((one_mm, other_mm)))
    assert narrow_dba <= wide_dba + 1e-9
