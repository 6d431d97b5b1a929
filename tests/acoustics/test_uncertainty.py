"""Uncertainty against ISO 1996-2:2017 as read by a public library; sources stand in the table."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.acoustics import uncertainty

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "field_insulation.toml").read_text())


def test_sensitivities_to_level_and_residual_sound_at_every_published_margin():
    margin_db, of_level, of_residual = np.array(PUBLISHED["background"]["sensitivities"]).T
    found = uncertainty.residual_sensitivities(40.0 + margin_db, 40.0)
    assert found[0] == pytest.approx(of_level, abs=0.00006)
    assert found[1] == pytest.approx(of_residual, abs=0.00006)


@pytest.mark.parametrize("case", PUBLISHED["residual"])
def test_uncertainty_of_a_level_corrected_for_residual_sound(case):
    for residual_u_db, key in ((0.5, "u_half_half"), (2.0, "u_half_two")):
        found = uncertainty.residual_uncertainty(case["total"], case["residual"], 0.5, residual_u_db)
        assert found == pytest.approx(case[key], abs=0.0005)


def test_no_sensitivity_where_the_residual_sound_is_everything():
    assert np.isnan(uncertainty.residual_sensitivities(40.0, 40.0)[0])
    assert np.isnan(uncertainty.residual_uncertainty(40.0, 41.0, 0.5, 0.5))


def test_budget_of_the_standards_example():
    case = PUBLISHED["budget"]
    u_db = uncertainty.combined(case["products"])
    assert u_db == pytest.approx(case["u"], abs=0.005)
    # Printed as twice the rounded value.
    assert uncertainty.COVERAGE_95 * round(u_db, 2) == pytest.approx(case["u_95"], abs=0.005)


def test_coverage_factors_are_those_of_the_standard():
    """ISO 1996-2:2017, clause 4: 2 for 95 %, 1.3 for 80 % (library); a normal one has 1.96, 1.28."""
    assert (uncertainty.COVERAGE_95, uncertainty.COVERAGE_80) == (2.0, 1.3)


@pytest.mark.parametrize("case", PUBLISHED["repeats"])
def test_mean_and_uncertainty_of_repeats(case):
    mean_db, u_db = uncertainty.repeated_levels(case["levels"])
    assert mean_db == pytest.approx(case["mean"], abs=0.0005)
    assert u_db == pytest.approx(case["u"], abs=0.0005)


def test_a_single_reading_has_no_known_spread():
    mean_db, u_db = uncertainty.repeated_levels([50.0])
    assert mean_db == pytest.approx(50.0)
    assert np.isnan(u_db)


def test_residual_level_from_exceeded_levels():
    case = PUBLISHED["exceeded"]
    assert uncertainty.residual_from_exceeded(case["l50"], case["l90"]) == pytest.approx(
        case["leq"], abs=0.0005
    )
