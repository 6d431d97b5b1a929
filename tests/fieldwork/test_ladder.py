"""Door tests as ladders, against hand arithmetic and common practice."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.fieldwork.ladder import ladder, loudness_ratio

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "door_ladder.toml").read_text())
TITLES = ("open", "closed", "curtain", "seals")


def test_steps_totals_and_shares_of_a_door_test():
    case = PUBLISHED["measured"]
    found = ladder(tuple(case["titles"]), case["levels"])
    assert found.step_gains_db() == pytest.approx(case["step_gains"])
    assert found.gain_db(1, 3) == pytest.approx(case["total_from_closed"])
    assert found.removed_db() == pytest.approx(case["removed_as_level"], abs=0.005)
    assert found.removed_share(1) == pytest.approx(case["share_of_closed"], abs=0.00005)
    assert found.left_share(1) == pytest.approx(case["share_left"], abs=0.00005)


def test_the_last_step_is_corrected_for_the_background():
    case = PUBLISHED["measured"]
    found = ladder(tuple(case["titles"]), case["levels"], case["background"])
    assert found.levels_db[-1] == pytest.approx(case["last_corrected"], abs=0.005)
    assert not found.at_limit.any()


def test_a_usual_door_test_reads_as_the_trade_expects():
    case = PUBLISHED["practice"]
    found = ladder(TITLES, case["levels"])
    assert found.gain_db(0, 1) == pytest.approx(case["door"])
    assert found.gain_db(1, 2) == pytest.approx(case["curtain"])
    assert found.gain_db(1, 3) == pytest.approx(case["all_from_closed"])
    assert loudness_ratio(found.gain_db(0, 1)) == pytest.approx(0.5)


def test_a_step_that_drowns_in_the_background_gains_at_least_and_the_next_one_is_unknown():
    found = ladder(TITLES, [70.0, 60.0, 45.0, 44.0], 41.0)
    assert [bool(found.gain_is_least(step)) for step in range(4)] == [False, False, True, True]
    # ISO 16283-1: 4 dB over the background counts as 1.3 dB less.
    assert found.gain_db(1, 2) == pytest.approx(60.0 - 43.7, abs=0.01)
    assert np.isnan(found.step_gains_db()[2])
    assert found.gain_db(1, 3) == pytest.approx(60.0 - 42.7, abs=0.01)


def test_bands_are_kept_apart():
    found = ladder(TITLES[:2], [[60.0, 70.0], [50.0, 55.0]], [20.0, 51.0])
    assert found.step_gains_db()[0] == pytest.approx([10.0, 70.0 - 53.7], abs=0.01)
    assert found.gain_is_least(1).tolist() == [False, True]


def test_a_step_that_changed_nothing_removed_silence():
    """Nothing taken away is a level of its own, unlike a step that made it louder."""
    assert np.isneginf(ladder(("closed", "curtain"), [40.0, 40.0]).removed_db()).all()


def test_a_step_that_made_it_louder_removed_nothing():
    found = ladder(TITLES[:3], [60.0, 61.0, 55.0])
    assert found.gain_db(0, 1) == pytest.approx(-1.0)
    assert np.isnan(found.removed_db()[0])
    assert found.removed_share(0)[0] < 0.0


@pytest.mark.parametrize(("titles", "levels"), [(("open",), [60.0]), (TITLES, [60.0, 50.0]), (TITLES, 60.0)])
def test_titles_and_levels_must_belong_together(titles, levels):
    with pytest.raises(ValueError, match="at least two steps"):
        ladder(titles, levels)


@given(st.lists(st.floats(20, 90), min_size=4, max_size=4))
def test_shares_and_what_is_left_make_a_whole_and_gains_add_up(levels):
    found = ladder(TITLES, levels)
    assert found.removed_share(0).sum() + found.left_share(0) == pytest.approx(1.0)
    assert found.step_gains_db().sum() == pytest.approx(found.gain_db(0, 3), abs=1e-9)
