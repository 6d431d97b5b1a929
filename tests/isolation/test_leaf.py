"""Leaves against published formulas and data; sources stand in the table."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.isolation import leaf

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "transmission_loss.toml").read_text())


@pytest.mark.parametrize("case", PUBLISHED["mass_law"])
def test_field_incidence_mass_law(case):
    assert leaf.mass_law(case["f"], case["m"], case["constant"]) == pytest.approx(case["r"], abs=0.005)


def test_normal_incidence_mass_law():
    case = PUBLISHED["normal_incidence"]
    assert leaf.normal_incidence(case["f"], case["m"], case["rho_c"]) == pytest.approx(case["r"], abs=0.005)


def test_critical_frequencies():
    case = PUBLISHED["critical_frequency"]
    found = [leaf.critical_frequency_hz(mm / 1000, "glass") for mm in case["glass_mm"]]
    assert found == pytest.approx(case["glass_hz"], abs=0.5)
    assert leaf.critical_frequency_hz(0.038, "chipboard") == pytest.approx(
        case["chipboard_38_mm_hz"], abs=0.5
    )
    found_hz = leaf.critical_frequency_from_speed_hz(0.006, 5200.0)
    assert found_hz == pytest.approx(case["glass_6_mm_from_speed_hz"], abs=0.5)


def test_six_millimetre_glass_agrees_with_the_worked_values():
    case = PUBLISHED["single_leaf"]
    assert leaf.single_leaf(case["f"], 15.0, 2083.0, 0.02) == pytest.approx(case["r"], abs=0.05)


def test_six_millimetre_glass_lies_near_published_octaves():
    # Single frequencies of a plain model against octaves of a real pane: 5.5 dB at worst.
    case = PUBLISHED["single_leaf"]
    found = leaf.single_leaf(case["published_f"], 15.0, 2083.0, 0.02)
    assert found == pytest.approx(case["published_r"], abs=5.5)


def test_a_leaf_has_no_steps_at_the_ends_of_its_ranges():
    for edge_hz in (1041.5, 2083.0):
        below, above = leaf.single_leaf([edge_hz * 0.99999, edge_hz * 1.00001], 15.0, 2083.0, 0.02)
        assert above == pytest.approx(below, abs=0.01)


@pytest.mark.parametrize("row", PUBLISHED["mass_air_mass"]["rows"])
def test_mass_air_mass_resonance(row):
    *given_values, f0_hz = row
    assert leaf.mass_air_mass_hz(*given_values) == pytest.approx(f0_hz, abs=0.5)


def test_double_leaf_between_resonance_and_cavity_limit():
    case = PUBLISHED["double_leaf"]
    each_db = leaf.mass_law(case["f"], case["m"])
    found = leaf.double_leaf(case["f"], each_db, each_db, case["m"], case["m"], case["d"])
    assert found == pytest.approx(case["r"], abs=0.05)


def test_double_leaf_below_resonance_is_one_mass_and_above_the_limit_both_leaves_and_6_db():
    found = leaf.double_leaf([50.0, 4000.0], [20.0, 30.0], [20.0, 30.0], 10.75, 10.75, 0.09)
    assert found[0] == pytest.approx(leaf.mass_law(50.0, 21.5))
    assert found[1] == pytest.approx(66.0)


def test_studs_limit_a_double_leaf():
    case = PUBLISHED["bridges"]
    found = leaf.bridged_limit(1000.0, 10.0, 10.0, case["b"], case["fc"]) - leaf.mass_law(1000.0, 20.0)
    assert found == pytest.approx(case["over_mass_law"], abs=0.05)


@given(st.floats(1, 60), st.floats(1, 40), st.floats(20, 20_000))
def test_a_heavier_leaf_never_insulates_less(mass, more, f_hz):
    assert leaf.mass_law(f_hz, mass + more) >= leaf.mass_law(f_hz, mass)
    assert (
        leaf.single_leaf(f_hz, mass + more, 2000.0, 0.02) >= leaf.single_leaf(f_hz, mass, 2000.0, 0.02) - 1e-9
    )


def test_silence_of_frequency_zero_is_no_insulation():
    assert leaf.mass_law(np.array([0.0]), 10.0).tolist() == [0.0]
