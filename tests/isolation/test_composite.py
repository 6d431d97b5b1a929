"""Parts and wholes against published examples and hand arithmetic; sources stand in the table."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import combine
from sleepnoise.fieldwork.field import facade_level_difference
from sleepnoise.isolation import composite
from sleepnoise.isolation.openings import leak_width_m

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "transmission_loss.toml").read_text())


@pytest.mark.parametrize("case", PUBLISHED["composite"])
def test_elements_side_by_side(case):
    assert composite.composite(case["areas"], case["r"]) == pytest.approx(case["total"], abs=0.0051)


def test_the_facade_of_en_12354_3():
    case = PUBLISHED["facade"]
    found = composite.composite(case["areas"], case["r"], small_db=[case["dne"]], total_m2=case["s"])
    assert found == pytest.approx(case["r_prime"], abs=0.005)
    assert found[:3] == pytest.approx(case["printed"], abs=0.05)
    # 10 lg(0.16 V/(T0 S)) = 1.51 dB
    assert facade_level_difference(found, case["v"], case["s"]) - found == pytest.approx(1.51, abs=0.005)


def test_the_strongest_path_of_that_facade_is_the_air_inlet():
    case = PUBLISHED["facade"]
    tau = [area * 10 ** (-r[1] / 10) for area, r in zip(case["areas"], case["r"], strict=True)]
    inlet_m2 = composite.open_area_m2(small_db=[case["dne"]])[1]
    assert inlet_m2 / case["s"] == pytest.approx(case["small_tau_at_250_hz"], abs=0.000005)
    levels_db = 10 * np.log10([*tau, inlet_m2])
    assert composite.share_of_energy(levels_db) == pytest.approx(case["share_at_250_hz"], abs=0.0005)


def test_thirteen_paths_of_en_12354_1():
    case = PUBLISHED["flanking"]
    assert composite.with_flanking(case["direct"], case["paths"]) == pytest.approx(case["r_prime"], abs=0.005)


def test_a_layer_with_open_edges():
    case = PUBLISHED["layer"]
    found = composite.layer_insertion(case["r"], case["open_fraction"])
    assert found == pytest.approx(case["insertion_loss"], abs=0.005)


def test_a_layer_gains_nothing_near_its_resonance():
    found = composite.gained_above([5.0, 5.0, 5.0], [125.0, 148.3, 250.0], 106.0)
    assert found.tolist() == [0.0, 0.0, 5.0]


def test_a_lined_duct():
    case = PUBLISHED["duct"]
    found = composite.lined_duct_loss_per_m(case["alpha"], case["perimeter"], case["area"])
    assert found == pytest.approx(case["loss"], abs=0.05)


@pytest.mark.parametrize("case", PUBLISHED["paths"])
def test_paths_add_up_and_each_has_its_gain(case):
    assert combine(case["levels"]) == pytest.approx(case["total"], abs=0.005)
    if "gain" in case:
        assert composite.gain_without(case["levels"]) == pytest.approx(case["gain"], abs=0.005)


def test_a_path_ten_decibels_below_the_rest_is_worth_less_than_half_a_decibel():
    # 10 lg 1.1 = 0.41 dB
    assert composite.gain_without([50.0, 40.0])[1] == pytest.approx(0.414, abs=0.0005)


def test_equal_shares():
    case = PUBLISHED["equal_share"]
    assert composite.equal_share(case["target"], case["paths"]) == pytest.approx(case["each"], abs=0.005)


def test_a_joint_measured_per_metre():
    # ISO 10140-1 Annex J (memory): 5 m at 30 dB are 50 cm2.
    assert composite.joint_leak_m2(5.0, 30.0) == pytest.approx(0.005)


def test_silence_has_no_shares_and_a_single_path_is_everything():
    assert np.isnan(composite.share_of_energy([-np.inf, -np.inf])).all()
    assert composite.gain_without([40.0]).tolist() == [np.inf]


def test_a_weak_path_behind_a_very_strong_one_keeps_its_gain():
    found = composite.gain_without([[200.0], [10.0]])
    assert found[0, 0] == pytest.approx(190.0)


losses = st.floats(0, 80)
elements = st.lists(st.tuples(st.floats(0.01, 20), losses), min_size=1, max_size=6)


@given(elements)
def test_a_whole_lies_between_its_worst_and_its_best_part(parts):
    areas, r_db = np.array(parts).T
    found = composite.composite(areas, r_db)
    assert r_db.min() - 1e-9 <= found <= r_db.max() + 1e-9


@given(elements, st.randoms())
def test_paths_side_by_side_may_change_places(parts, random):
    shuffled = random.sample(parts, len(parts))
    found = [composite.composite(*np.array(order).T) for order in (parts, shuffled)]
    assert found[0] == pytest.approx(found[1], abs=1e-9)


@given(st.floats(0, 0.02), st.floats(0, 0.02), losses)
def test_more_seal_never_means_less_loss(one_m, other_m, leaf_db):
    def door(gap_m):
        leaks = [
            5.0 * leak_width_m(NOMINAL_HZ, gap_m, 0.04),
            0.8 * leak_width_m(NOMINAL_HZ, gap_m, 0.04, "along an edge"),
        ]
        return composite.composite([1.7], np.full((1, len(NOMINAL_HZ)), leaf_db), leaks_m2=leaks)

    assert np.all(door(min(one_m, other_m)) >= door(max(one_m, other_m)) - 1e-9)


@given(losses, st.floats(0, 1), st.floats(0, 1))
def test_a_layer_that_closes_better_never_takes_off_less(r_db, one, other):
    assert (
        composite.layer_insertion(r_db, min(one, other))
        >= composite.layer_insertion(r_db, max(one, other)) - 1e-9
    )
    assert composite.layer_insertion(r_db, one) + 1e-9 >= 0
    assert composite.layer_insertion(r_db, one) <= r_db + 1e-9
