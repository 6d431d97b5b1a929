"""Insulation measurements made backwards: rooms whose levels follow from published insulation."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.insulation import Sides, insulation
from sleepnoise.fieldwork.ratings import ENLARGED_HZ, OCTAVES_HZ, OUTDOOR_HZ, THIRD_OCTAVES_HZ

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "insulation_ratings.toml").read_text())
BANDS_HZ = {"100-3150": THIRD_OCTAVES_HZ, "50-5000": ENLARGED_HZ, "octaves": OCTAVES_HZ}
VOLUME_M3, AREA_M2, T_S = 40.0, 9.0, 0.8
TIMES_S = np.full(len(NOMINAL_HZ), T_S)
A_M2 = 0.16 * VOLUME_M3 / T_S


def behind(r_db, level_db=85.0):
    """L2 = L1 - R + 10 lg(S/A), A = 0.16 V/T (ISO 10140-2)."""
    return level_db - np.array(r_db, dtype=float) + 10 * np.log10(AREA_M2 / A_M2)


def measured(hz, receiving_db, level_db=85.0, **more):
    settings = {"before": more.pop("before", "room"), "area_m2": more.pop("area_m2", AREA_M2)}
    settings |= {key: more.pop(key) for key in ("octaves", "smallest_dimension_m") if key in more}
    times_s, volume_m3 = more.pop("times_s", TIMES_S), more.pop("volume_m3", VOLUME_M3)
    sides = Sides(
        nominal_hz=hz,
        source_db=np.full((2, len(hz)), level_db),
        receiving_db=np.array([receiving_db, receiving_db]),
        **more,
    )
    return insulation(sides, times_s, volume_m3, **settings)


def quantity(found, symbol):
    return next(each for each in found.quantities if each.symbol == symbol)


@pytest.mark.parametrize("case", [pytest.param(case, id=case["id"]) for case in PUBLISHED["weighted"]])
def test_levels_that_follow_from_a_published_wall_give_its_published_rating(case):
    hz = BANDS_HZ[case["bands"]]
    found = measured(hz, behind(case["r_db"]), octaves=case["bands"] == "octaves")
    r_prime = quantity(found, "R'")
    assert r_prime.values.levels_db == pytest.approx(case["r_db"], abs=1e-9)
    assert r_prime.weighted.rating_db == case["rating_db"]
    for name, value in case["terms_db"].items():
        assert r_prime.weighted.terms_db[name] == value


def test_quantities_differ_by_what_the_formulas_say():
    """D, DnT = D + 10 lg(T/0.5), Dn = D - 10 lg(A/10), R' = D + 10 lg(S/A) (ISO 16283-1)."""
    found = measured(THIRD_OCTAVES_HZ, np.full(16, 45.0))
    for symbol, more_db in (
        ("D", 0.0),
        ("DnT", 10 * np.log10(T_S / 0.5)),
        ("Dn", -10 * np.log10(A_M2 / 10)),
        ("R'", 10 * np.log10(AREA_M2 / A_M2)),
    ):
        assert quantity(found, symbol).values.levels_db == pytest.approx(np.full(16, 40.0 + more_db))
    without_area = measured(THIRD_OCTAVES_HZ, np.full(16, 45.0), area_m2=None)
    assert [each.symbol for each in without_area.quantities] == ["D", "DnT", "Dn"]


@pytest.mark.parametrize(
    ("before", "symbols", "more_db"),
    [
        ("2-m-before", ["D2m", "D2m,nT"], 10 * np.log10(T_S / 0.5)),
        ("on-element-loudspeaker", ["R'45"], 10 * np.log10(AREA_M2 / A_M2) - 1.5),
        ("on-element-traffic", ["R'tr,s"], 10 * np.log10(AREA_M2 / A_M2) - 3.0),
    ],
)
def test_facades_have_their_own_quantities(before, symbols, more_db):
    """Corrections for the incidence: ISO 16283-3:2016, 3.12 and 3.13 (library)."""
    found = measured(THIRD_OCTAVES_HZ, np.full(16, 45.0), before=before)
    assert [each.symbol for each in found.quantities] == symbols
    assert found.quantities[-1].values.levels_db == pytest.approx(np.full(16, 40.0 + more_db))


def test_classes_by_contour_are_named_only_where_they_may_be():
    hz = (*THIRD_OCTAVES_HZ, 4000.0)
    named = {
        each.symbol: each.contour_name
        for each in measured(hz, np.full(17, 45.0), smallest_dimension_m=2.4).quantities
    }
    assert named == {"D": "NIC", "DnT": "NNIC", "Dn": "", "R'": "ASTC"}
    for unfit in ({}, {"smallest_dimension_m": 2.2}, {"smallest_dimension_m": 2.4, "volume_m3": 160.0}):
        assert quantity(measured(hz, np.full(17, 45.0), **unfit), "DnT").contour is None
    assert quantity(measured(THIRD_OCTAVES_HZ, np.full(16, 45.0)), "D").contour is None


def test_an_outdoor_class_is_given_where_the_loudspeaker_stood_at_45_degrees():
    case = PUBLISHED["outdoor"][0]
    level_db = behind(case["tl_db"]) - 1.5  # R'45 = D - 1.5 dB + 10 lg(S/A), ISO 16283-3:2016 (library)
    found = {each: measured(OUTDOOR_HZ, level_db, before=each) for each in ("on-element-loudspeaker", "room")}
    assert found["on-element-loudspeaker"].quantities[-1].outdoor_class_db == pytest.approx(
        case["oitc"], abs=0.00006
    )
    assert all(each.outdoor_class_db is None for each in found["room"].quantities)


def test_the_background_is_taken_off_and_at_its_limit_insulation_reads_at_least():
    """ISO 16283-1, 9.2: at 6 dB and less 1.3 dB are taken off; from 10 dB on nothing."""
    hz = THIRD_OCTAVES_HZ
    quiet_db = np.array([45.0 - margin for margin in (3, 6, 8, 10, 20)] + [0.0] * 11)
    found = measured(hz, np.full(16, 45.0), background_db=quiet_db)
    by_hand = [43.7, 43.7, 10 * np.log10(10**4.5 - 10**3.7), 45.0, 45.0]
    assert found.receiving_db[:5] == pytest.approx(by_hand, abs=1e-9)
    assert found.at_limit.tolist() == [True, True] + [False] * 14
    assert not any("background" in each for each in found.remarks)
    assert any("No background" in each for each in measured(hz, np.full(16, 45.0)).remarks)


def test_insulation_follows_from_the_level_without_its_background():
    """By hand, 8 dB over the background: D = 85 - 10 lg(10^4.5 - 10^3.7) dB."""
    hz = THIRD_OCTAVES_HZ
    found = measured(hz, np.full(16, 45.0), background_db=np.full(16, 37.0))
    assert quantity(found, "D").values.levels_db == pytest.approx(85 - 10 * np.log10(10**4.5 - 10**3.7))


def test_without_a_background_nothing_is_taken_off_however_quiet_it_is():
    found = measured(THIRD_OCTAVES_HZ, np.full(16, 3.0))
    assert found.receiving_db == pytest.approx(3.0)
    assert not found.at_limit.any()


def test_of_several_corners_the_loudest_counts():
    """ISO 16283-1, clause 8, by hand: of 50 and 55 dB the latter."""
    hz = ENLARGED_HZ
    corners_db = np.stack([np.full(21, 50.0), np.full(21, 55.0)])
    found = measured(
        hz,
        np.full(21, 45.0),
        volume_m3=20.0,
        source_corners_db=np.full((2, 21), 85.0),
        receiving_corners_db=corners_db,
    )
    assert found.receiving_db[:3] == pytest.approx(10 * np.log10((10**5.5 + 2 * 10**4.5) / 3))


def test_octaves_and_facades_have_no_low_frequency_procedure():
    """The procedure is one for third octaves between rooms (ISO 16283-1, clause 8)."""
    octaves = measured(OCTAVES_HZ, np.full(5, 45.0), volume_m3=20.0, octaves=True)
    with_63_hz = measured((63.0, *OCTAVES_HZ), np.full(6, 45.0), volume_m3=20.0, octaves=True)
    facade = measured(ENLARGED_HZ, np.full(21, 45.0), volume_m3=20.0, before="2-m-before")
    for found in (octaves, with_63_hz, facade):
        assert not any("corner" in each for each in found.remarks)


def test_small_rooms_take_their_corners_at_50_to_80_hz():
    """ISO 16283-1, clause 8: (10^(corner/10) + 2 10^(room/10))/3; one time, that of the 63 Hz octave."""
    hz = ENLARGED_HZ
    times_s = TIMES_S.copy()
    times_s[[NOMINAL_HZ.index(each) for each in (50.0, 63.0, 80.0)]] = (0.4, 0.6, 0.8)
    corners = {"source_corners_db": np.full((4, 21), 85.0), "receiving_corners_db": np.full((4, 21), 55.0)}
    found = measured(hz, np.full(21, 45.0), volume_m3=20.0, times_s=times_s, **corners)
    assert found.receiving_db[:3] == pytest.approx(10 * np.log10((10**5.5 + 2 * 10**4.5) / 3))
    assert found.receiving_db[3:] == pytest.approx(45.0)
    assert found.reverberation_s[:3] == pytest.approx(0.6)
    assert "low-frequency procedure" in found.remarks[0]
    without = measured(hz, np.full(21, 45.0), volume_m3=20.0, times_s=times_s)
    assert "corners" in without.remarks[0]
    larger = measured(hz, np.full(21, 45.0), volume_m3=30.0, **corners)
    assert larger.receiving_db == pytest.approx(45.0)


@given(st.floats(20, 60), st.floats(0.1, 3.0))
def test_a_quieter_room_behind_never_rates_lower(receiving_db, less_db):
    loud, quiet = (measured(THIRD_OCTAVES_HZ, np.full(16, receiving_db - each)) for each in (0.0, less_db))
    for one, other in zip(loud.quantities, quiet.quantities, strict=True):
        assert other.weighted.rating_db >= one.weighted.rating_db


def test_sides_without_a_common_band_are_refused():
    with pytest.raises(SettingsError, match="in common"):
        measured((), np.zeros(0))
