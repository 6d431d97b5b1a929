"""Background corrections against published rules and hand arithmetic; sources stand in the table."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.fieldwork import background

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "field_insulation.toml").read_text())


@pytest.mark.parametrize(("rule", "column"), [(background.FIELD_RULE, 2), (background.LABORATORY_RULE, 3)])
def test_background_correction_at_every_published_margin(rule, column):
    rows = np.array(PUBLISHED["background"]["rows"])
    found = background.without_background(40.0 + rows[:, 0], 40.0, rule)
    assert 40.0 + rows[:, 0] - found.levels_db == pytest.approx(rows[:, column], abs=0.00006)
    assert found.at_limit.tolist() == (rows[:, 0] <= 6).tolist()


def test_residual_sound_is_taken_off_above_3_db_only():
    rows = np.array(PUBLISHED["background"]["rows"])
    found = background.without_background(40.0 + rows[:, 0], 40.0, background.RESIDUAL_RULE)
    expected_db = np.where(rows[:, 0] <= 3, 0.0, rows[:, 1])
    assert 40.0 + rows[:, 0] - found.levels_db == pytest.approx(expected_db, abs=0.00006)
    assert found.at_limit.tolist() == (rows[:, 0] <= 3).tolist()


@pytest.mark.parametrize("case", PUBLISHED["residual"])
def test_level_without_residual_sound_agrees_with_iso_1996_2(case):
    found = background.without_background(case["total"], case["residual"], background.RESIDUAL_RULE)
    assert found.levels_db == pytest.approx(case["level"], abs=0.0005)


def test_door_steps_near_the_background_are_corrected_or_marked():
    case = PUBLISHED["door_background"]
    found = background.without_background(case["measured"], case["background"])
    assert found.levels_db == pytest.approx(case["corrected"], abs=0.005)
    assert found.at_limit.tolist() == case["at_limit"]


def test_a_level_below_its_background_is_a_limit_and_unknown_stays_unknown():
    found = background.without_background(
        [30.0, np.nan, 30.0, 30.0, -np.inf], [35.0, 20.0, np.nan, -np.inf, -np.inf]
    )
    assert found.levels_db == pytest.approx([28.7, np.nan, np.nan, 30.0, -np.inf], nan_ok=True)
    assert found.at_limit.tolist() == [True, False, False, False, False]


@given(st.floats(20, 80), st.floats(-40, 40), st.floats(0.01, 20))
def test_a_quieter_background_never_lowers_the_corrected_level(level_db, margin_db, quieter_db):
    """The rules jump at both ends: 0.04 dB at 6 dB and 0.46 dB at 10 dB in the field."""
    before = background.without_background(level_db, level_db - margin_db).levels_db
    after = background.without_background(level_db, level_db - margin_db - quieter_db).levels_db
    assert after >= before - 1e-9
    assert level_db - 1.3 - 1e-9 <= after <= level_db
