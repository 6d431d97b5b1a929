"""The uncertainty budget of a level in a room; the example of ISO 1996-2:2017 stands in the table."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError
from sleepnoise.judgement.uncertainty import (
    GUARD_BAND_TEXT,
    Contribution,
    UncertaintyBudget,
    budget_for,
    of_meter,
    of_recorder,
)
from sleepnoise.recording.calibration import Calibration, calibration_from_sensitivity

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "field_insulation.toml").read_text())
SEEN = Source(document="An invented document", place="its only page", how_known="looked-up")


def part(standard_db, sensitivity=1.0):
    return Contribution(
        name="a reason", standard_db=standard_db, sensitivity=sensitivity, basis="invented", source=SEEN
    )


def budget(*parts):
    return UncertaintyBudget(quantity="weighted", contributions=parts)


def by_name(found):
    return {each.name: each for each in found.contributions}


def test_the_example_of_the_standard_comes_out():
    # ISO 1996-2:2017, G.2 (library): products c u, and what they add up to, printed to 0.01 dB.
    case = PUBLISHED["budget"]
    found = budget(*(part(product) for product in case["products"]))
    assert found.combined_db == pytest.approx(case["u"], abs=0.005)
    assert found.expanded_db == pytest.approx(case["u_95"], abs=0.005)
    # k = 1.3 for 80 % (library).
    assert found.expanded_80_db == pytest.approx(1.3 * case["u"], abs=0.0065)


@pytest.mark.parametrize("case", PUBLISHED["residual"])
def test_a_level_without_its_residual_sound_is_less_certain(case):
    # The table's two rows take u = 0.5 dB for the level and 0.5 or 2 dB for the residual sound.
    for residual_u_db, key in ((0.5, "u_half_half"), (2.0, "u_half_two")):
        corrected = budget_for([part(0.0)], residual=(case["total"], case["residual"], residual_u_db))
        position = by_name(corrected)["position in the room"]
        share = math.hypot(0.5 * position.sensitivity, by_name(corrected)["residual sound"].product_db)
        assert share == pytest.approx(case[key], abs=0.0005)


@pytest.mark.parametrize("residual_db", [37.0, 40.0, math.nan])
def test_residual_sound_that_is_too_loud_cannot_be_taken_off(residual_db):
    # ISO 1996-2:2017, 10.4: a margin of 3 dB or less allows no correction.
    with pytest.raises(SettingsError, match="more than 3 dB below"):
        budget_for([part(0.5)], residual=(40.0, residual_db, 0.5))


def test_a_recorder_counts_once_with_everything_that_its_calibration_holds():
    calibration = calibration_from_sensitivity(117.0)
    parts = of_recorder(calibration)
    assert budget(*parts).expanded_db == pytest.approx(calibration.expanded_uncertainty_db, abs=1e-12)
    assert [each.name for each in parts] == [each.what for each in calibration.parts]
    assert set(by_name(budget_for(parts))) == {*by_name(budget(*parts)), "position in the room"}


def test_a_calibration_that_does_not_tell_its_parts_counts_as_a_whole():
    calibration = replace(calibration_from_sensitivity(117.0), parts=())
    [whole] = of_recorder(calibration)
    assert 2 * whole.product_db == pytest.approx(calibration.expanded_uncertainty_db)


def test_nothing_is_known_of_a_recorder_without_calibration():
    assert math.isnan(budget_for(of_recorder(Calibration.relative())).expanded_db)


def test_meters_differ_by_their_class():
    # ISO 1996-2:2017, Table 1, footnote a (looked-up): 0.5 and 1.5 dB.
    assert [of_meter(each)[0].standard_db for each in (1, 2)] == [0.5, 1.5]
    with pytest.raises(SettingsError, match="must be 1 or 2, got 3"):
        of_meter(3)


def test_low_frequencies_depend_more_on_the_place():
    weighted, low = (budget_for(of_meter(1), quantity) for quantity in ("weighted", "low bands"))
    assert low.expanded_db > weighted.expanded_db + 3


def test_several_positions_tell_more_about_the_room():
    one, four = (by_name(budget_for([part(0.0)], positions=n))["position in the room"] for n in (1, 4))
    assert four.product_db == pytest.approx(one.product_db / 2)
    with pytest.raises(SettingsError, match="at least one"):
        budget_for([part(0.0)], positions=0)


def test_one_night_stands_for_itself_and_the_budget_says_so():
    found = budget_for([part(1.0)], nights_db=[30.0])
    assert "choice of nights" not in by_name(found)
    assert any("one night was measured" in text for text in found.not_included)


def test_several_nights_stand_for_all_the_better_the_more_there_are():
    # Standard deviation of 28, 30 and 32 dB is 2 dB: 2/sqrt 3 = 1.155 dB.
    found = budget_for([part(1.0)], nights_db=[28.0, 30.0, 32.0])
    assert by_name(found)["choice of nights"].product_db == pytest.approx(1.1547, abs=5e-5)
    assert not any("one night was measured" in text for text in found.not_included)


@given(st.lists(st.floats(0, 10), min_size=1, max_size=6), st.lists(st.floats(-3, 3), min_size=6, max_size=6))
def test_contributions_never_cancel_and_their_order_does_not_matter(u_db, sensitivities):
    parts = [part(u, c) for u, c in zip(u_db, sensitivities, strict=False)]
    found = budget(*parts)
    largest = max(each.product_db for each in parts)
    assert largest <= found.combined_db + 1e-12
    assert found.combined_db <= np.sqrt(len(parts)) * largest + 1e-12
    assert budget(*reversed(parts)).combined_db == pytest.approx(found.combined_db, abs=1e-12)


def test_every_contribution_says_where_it_comes_from():
    found = budget_for(of_meter(2), nights_db=[30.0, 31.0], residual=(40.0, 30.0, 1.0))
    assert len(found.contributions) == 4
    assert all(each.basis and str(each.source) for each in found.contributions)


def test_the_margin_is_explained_in_plain_words():
    for word in ("exceeded", "kept", "nobody can tell", "95 of 100"):
        assert word in GUARD_BAND_TEXT
