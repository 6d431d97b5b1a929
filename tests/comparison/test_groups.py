"""Pooling nights, exceedance days and the pattern of the week."""

import math

import numpy as np
import pytest
import scipy.stats

from sleepnoise.comparison.exceedance import exceedance_days, share_interval
from sleepnoise.comparison.groups import groups_of, pooled
from sleepnoise.comparison.weekdays import week_pattern
from sleepnoise.errors import SettingsError


def test_nights_with_different_windows_are_groups_of_their_own(nights):
    mixed = [
        *nights([30, 31, 32]),
        *nights([40, 41], first=3, window_state="open"),
        *nights([35], first=5, window_state=""),
    ]
    found = groups_of(mixed)
    assert [(group.window_state, len(group.nights)) for group in found] == [
        ("closed", 3),
        ("open", 2),
        ("", 1),
    ]
    assert repr(groups_of(mixed[::-1])) == repr(found)
    with pytest.raises(SettingsError, match=r"how the windows stood must be the same .* closed .* open"):
        pooled(mixed[:5])


@pytest.mark.parametrize("unusual", [{"window": "22:00-06:00"}, {"absolute": False}])
def test_other_hours_and_uncalibrated_nights_are_not_pooled(nights, unusual):
    mixed = [*nights([30, 31]), *nights([30], first=2, **unusual)]
    assert [len(group.nights) for group in groups_of(mixed)] == [2, 1]
    with pytest.raises(SettingsError, match="must be the same"):
        pooled(mixed)


def test_a_night_counts_once(night):
    with pytest.raises(SettingsError, match="got night-1 and twin"):
        pooled([night(1), night(1, name="twin")])


def test_no_night_is_no_group():
    assert groups_of([]) == ()
    with pytest.raises(SettingsError, match="there is none"):
        pooled([])


def test_a_group_has_the_figures_of_its_nights(night):
    found = pooled([night(1, 36.0, events=2), night(0, 33.0, events=6, expanded_uncertainty_db=4.0)])
    assert [each.name for each in found.nights] == ["night-0", "night-1"]
    assert found.laeq.mean == pytest.approx(34.754, abs=0.001)  # 10 lg((1995.3 + 3981.1) / 2)
    assert (found.lafmax.mean, found.la90.mean, found.events.mean) == (54.5, 26.5, 4)
    assert found.calibration_db == 4.0
    unknown = pooled([night(0), night(1, expanded_uncertainty_db=math.nan)])
    assert math.isnan(unknown.calibration_db)


def test_partial_nights_are_shown_and_not_counted(night):
    found = pooled([night(0, 30.0), night(1, 60.0, measured_share=0.94), night(2, 30.0, measured_share=0.95)])
    assert [each.name for each in found.partial] == ["night-1"]
    assert (found.laeq.nights, found.laeq.highest) == (2, 30.0)
    only = pooled([night(1, 60.0, measured_share=0.5)])
    assert (only.laeq.nights, only.exceedances, only.week.days) == (0, (), ())


def test_equal_nights_have_no_spread_in_any_figure(nights):
    found = pooled(nights([34.0] * 5))
    for figure in (found.laeq, found.lafmax, found.la90, found.events):
        assert figure.spread == pytest.approx(0, abs=1e-9)
        assert figure.low == pytest.approx(figure.high)


@pytest.mark.parametrize(("count", "of"), [(0, 3), (1, 3), (3, 3), (2, 10), (1, 1)])
def test_the_share_of_nights_has_the_exact_interval_of_the_library(count, of):
    expected = scipy.stats.binomtest(count, of).proportion_ci(0.95, method="exact")
    assert share_interval(count, of) == pytest.approx((expected.low, expected.high))


def test_exceedance_days_are_counted_by_verdict(night):
    words = ["exceeded", "exceeded", "kept", "cannot tell", "shown only"]
    found = exceedance_days(
        [night(day, verdicts={"B: mean": word, "A: peak": "kept"}) for day, word in enumerate(words)]
        + [night(9, verdicts={"A: peak": "exceeded"})]
    )
    assert [days.criterion for days in found] == ["B: mean", "A: peak"]
    mean, peak = found
    assert (mean.exceeded, mean.kept, mean.cannot_tell, mean.not_judged) == (2, 1, 1, 2)
    assert (mean.low, mean.high) == share_interval(2, 3)
    assert (peak.exceeded, peak.kept) == (1, 5)
    (undecided,) = exceedance_days([night(0, verdicts={"A: peak": "cannot tell"})])
    assert np.isnan([undecided.low, undecided.high]).all()


def test_the_week_is_told_by_evenings(nights):
    # Monday 12 January 2026 and the 13 days after it; Friday and Saturday nights are 10 dB louder.
    levels = [35.0 + (day % 7 in (4, 5)) * 10 + (day > 6) * 0.5 for day in range(14)]
    found = week_pattern(nights(levels))
    assert [day.name for day in found.days] == [
        *("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    ]
    assert [day.laeq.nights for day in found.days] == [2] * 7
    assert found.before_free_days.word == "louder"
    assert found.before_free_days.difference == pytest.approx(10, abs=0.1)
    assert (found.before_free_days.before_nights, found.before_free_days.after_nights) == (10, 4)


def test_labels_make_a_pattern_of_their_own(night):
    found = week_pattern(
        [night(0, 40.0, day_label="delivery"), night(1, 30.0), night(2, 42.0, day_label="delivery")]
    )
    assert [(label.name, label.laeq.nights) for label in found.labels] == [("delivery", 2)]
    assert found.before_free_days is None
