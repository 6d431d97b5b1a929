"""Changes between nights: against a statistics library, by hand, and with few nights."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.comparison.before_after import (
    RESAMPLED_FROM,
    before_and_after,
    difference_between,
    resampled_interval,
)
from sleepnoise.errors import SettingsError

FEW = st.lists(st.floats(10, 90), min_size=2, max_size=RESAMPLED_FROM - 1)


@settings(deadline=None)
@given(FEW, FEW)
def test_with_few_nights_the_interval_is_that_of_welch(before, after):
    if min(np.std(before), np.std(after)) < 1e-3:  # the library warns of such
        return
    found = difference_between(before, after, as_energy=False)
    expected = scipy.stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.95)
    assert found.method == "Student's t"
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-6, abs=1e-6)


def test_the_difference_of_two_energy_means_by_hand():
    # 30, 33, 36 dB has 33.665 dB (see test_spread); 23, 26, 29 dB then has 26.665 dB. Both u 2.0183:
    # together 2.8543, four degrees of freedom, t = 2.7764: half width 7.925.
    found = difference_between([30, 33, 36], [29, 23, 26], as_energy=True)
    assert found.difference == pytest.approx(-7.0)
    assert (found.low, found.high) == pytest.approx((-7 - 7.925, -7 + 7.925), abs=0.002)
    assert found.word == "cannot tell"


def test_the_resampled_interval_is_near_that_of_the_library():
    rng = np.random.default_rng(3)
    before, after = rng.normal(38, 2, 30), rng.normal(35, 3, 40)

    def energy_difference(one, other, axis):
        return 10 * np.log10(np.mean(10 ** (other / 10), axis) / np.mean(10 ** (one / 10), axis))

    expected = scipy.stats.bootstrap(
        (before, after), energy_difference, method="percentile", n_resamples=9999, rng=rng
    ).confidence_interval
    low, high = resampled_interval(before, after, as_energy=True)
    # Widened for 30 nights: by sqrt(30/29) x 2.045 / 1.960 = 1.06.
    middle, half = (expected.low + expected.high) / 2, (expected.high - expected.low) / 2
    assert (low, high) == pytest.approx((middle - 1.06 * half, middle + 1.06 * half), abs=0.15)


def test_resampled_intervals_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(5)
    for nights in (5, 10):
        sides = rng.normal(0, 2, (150, 2, nights)) + np.array([[38.0], [35.0]])
        found = [resampled_interval(*pair, as_energy=True) for pair in sides]
        share = np.mean([low <= -3.0 <= high for low, high in found])
        # 150 draws: the share scatters by 2 %.
        assert share > 0.89


def test_the_same_nights_give_the_same_interval_in_any_order():
    before, after = [40, 41, 43, 39, 42, 40], [35, 38, 36, 34, 37]
    found = difference_between(before, after, as_energy=True)
    assert found.method == "resampled"
    assert difference_between(before[::-1], after[::-1], as_energy=True) == found


@settings(deadline=None, max_examples=20)
@given(st.lists(st.floats(20, 60), min_size=5, max_size=8), st.floats(-15, 15))
def test_raising_all_nights_afterwards_moves_the_interval(levels, rise_db):
    as_before = difference_between(levels, levels, as_energy=True)
    found = difference_between(levels, [level + rise_db for level in levels], as_energy=True)
    assert as_before.difference == 0
    assert found.difference == pytest.approx(rise_db)
    assert (found.low - as_before.low, found.high - as_before.high) == pytest.approx((rise_db, rise_db))


@pytest.mark.parametrize(
    ("before", "after", "word"),
    [
        ([45, 46, 45.5], [30, 31, 30.5], "quieter"),
        ([30, 31, 30.5], [45, 46, 45.5], "louder"),
        ([45, 46], [40, 41], "quieter"),
        ([45, 48], [40, 42], "cannot tell"),
        ([40.0, 40.1, 40.2, 40.1, 40.0], [40.1, 40.2, 40.3, 40.0, 40.1], "about the same"),
        ([45, 46, 45, 44, 46, 45], [40, 41, 42, 40, 41, 39], "quieter"),
        ([45, 38, 41, 47, 36], [44, 37, 42, 45, 38], "cannot tell"),
        ([40, 40], [39.5, 39.5], "about the same"),
        ([40, 40], [38, 38], "quieter"),
    ],
)
def test_what_can_be_told(before, after, word):
    assert difference_between(before, after, as_energy=True).word == word


def test_one_night_on_a_side_tells_nothing():
    found = difference_between([45], [30, 31, 32], as_energy=True)
    assert (found.word, found.method) == ("cannot tell", "none")
    assert found.difference == pytest.approx(-13.93, abs=0.01)
    assert np.isnan([found.low, found.high]).all()
    # The spread of three nights is 1 dB: two nights each would tell 14 dB from none.
    assert found.more_nights == 1
    alone = difference_between([45], [30], as_energy=True)
    assert (alone.word, alone.more_nights) == ("cannot tell", None)
    nothing = difference_between([], [30], as_energy=True)
    assert math.isnan(nothing.difference)
    assert (nothing.word, nothing.more_nights) == ("cannot tell", None)


def test_more_nights_are_told_until_it_is_settled():
    found = difference_between([44, 40, 47, 38, 42], [41, 44, 37, 39, 36], as_energy=False)
    assert found.word == "cannot tell"
    # s is 3.49 and 3.21: 3.35 together. Half width for n nights each: t(2n - 2) x 3.35 x sqrt(2/n) < 2.8.
    assert found.difference == pytest.approx(-2.8)
    needed = found.more_nights + 5
    halves = [scipy.stats.t.ppf(0.975, 2 * n - 2) * 3.354 * math.sqrt(2 / n) for n in (needed - 1, needed)]
    assert halves[1] < 2.8 <= halves[0]
    settled = difference_between([44, 40, 47, 38, 42], [24, 20, 27, 18, 22], as_energy=False)
    assert (settled.word, settled.more_nights) == ("quieter", 0)


def test_where_nothing_changed_as_many_nights_are_asked_for_as_tell_1_db():
    found = difference_between([44, 40, 42], [40, 42, 44], as_energy=False)
    assert (found.difference, found.word) == (0, "cannot tell")
    # s = 2: t(2n - 2) x 2 x sqrt(2/n) < 1 for 32 nights (0.9995), not for 31.
    assert found.more_nights == 32 - 3


def test_whole_nights_are_compared_in_every_quantity(nights):
    before = nights([40, 41, 42, 40, 41], events=9)
    after = [*nights([34, 35, 33, 36, 34], first=7, events=2), *nights([80], first=20, measured_share=0.5)]
    found = before_and_after(before, after)
    assert found.window_states == ("closed", "closed")
    assert (found.laeq.word, found.lafmax.word, found.la90.word) == ("quieter",) * 3
    assert (found.events.before, found.events.after, found.events.word) == (9, 2, "quieter")
    assert [night.laeq for night in found.partial] == [80]
    assert (found.laeq.before_nights, found.laeq.after_nights) == (5, 5)


def test_closing_the_windows_is_a_change_and_is_told(nights):
    found = before_and_after(nights([45, 46], window_state="open"), nights([30, 31], first=5))
    assert found.window_states == ("open", "closed")


@pytest.mark.parametrize(
    ("unusual", "complaint"),
    [
        ({"window": "22:00-06:00"}, "hours of the night"),
        ({"absolute": False}, "kind of level"),
    ],
)
def test_what_cannot_be_compared_is_refused(nights, unusual, complaint):
    with pytest.raises(SettingsError, match=complaint):
        before_and_after(nights([40, 41]), nights([40, 41], first=5, **unusual))


def test_a_night_on_both_sides_and_mixed_windows_are_refused(nights, night):
    with pytest.raises(SettingsError, match="that of 2026-01-12 must count once"):
        before_and_after(nights([40, 41]), nights([40]))
    with pytest.raises(SettingsError, match="how the windows stood"):
        before_and_after([night(1), night(2, window_state="open")], nights([40], first=5))
    with pytest.raises(SettingsError, match="there is none"):
        before_and_after([], nights([40]))
