"""Intervals: clock times in odd zones and on odd nights, and statistics that add up."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.levels.statistics import level_statistics
from sleepnoise.night.intervals import intervals

HOUR = timedelta(hours=1)
VIENNA = ZoneInfo("Europe/Vienna")


def cut(history, minutes, zone=VIENNA):
    return intervals(history, history.start, history.end, minutes, zone)


def clocks(found, zone):
    return [f"{interval.start.astimezone(zone):%H:%M:%S}" for interval in found]


def test_intervals_begin_at_round_clock_times_and_the_first_where_the_recording_does(from_ticks):
    history = from_ticks(np.full(8 * 3600, 30.0), start=datetime(2025, 2, 3, 22, 40, 30, tzinfo=UTC))
    found = cut(history, 15)
    assert clocks(found, VIENNA) == ["23:40:30", "23:45:00", "00:00:00", "00:15:00", "00:30:00"]
    assert [interval.complete for interval in found] == [False, True, True, True, False]
    assert [interval.statistics.seconds for interval in found] == [270, 900, 900, 900, 630]


@pytest.mark.parametrize(
    ("zone", "minutes_utc"),
    # Offsets of 5 h 45 min, 5 h 30 min and 3 h 30 min: full hours fall on odd minutes of UTC.
    [("Asia/Kathmandu", 15), ("Asia/Kolkata", 30), ("America/St_Johns", 30)],
)
def test_hours_are_those_of_the_local_clock(from_ticks, zone, minutes_utc):
    found = cut(from_ticks(np.full(8 * 9000, 30.0)), 60, ZoneInfo(zone))
    assert found[1].start.minute == minutes_utc
    assert all(clock.endswith(":00:00") for clock in clocks(found, ZoneInfo(zone))[1:])


def test_the_hour_that_comes_twice_gives_two_intervals(from_ticks):
    start = datetime(
        2025, 10, 25, 23, 0, tzinfo=UTC
    )  # 01:00 summer time; 03:00 goes back to 02:00 at 01:00 UTC
    found = cut(from_ticks(np.full(8 * 4 * 3600, 30.0), start=start), 60)
    assert clocks(found, VIENNA) == ["01:00:00", "02:00:00", "02:00:00", "03:00:00"]
    assert all(interval.complete and interval.statistics.seconds == 3600 for interval in found)


def test_the_hour_that_is_skipped_gives_none(from_ticks):
    start = datetime(2025, 3, 30, 0, 0, tzinfo=UTC)  # 01:00 winter time; 02:00 goes on to 03:00 at 01:00 UTC
    found = cut(from_ticks(np.full(8 * 2 * 3600, 30.0), start=start), 60)
    assert clocks(found, VIENNA) == ["01:00:00", "03:00:00"]


def test_clocks_that_change_by_half_an_hour_cut_there_too(from_ticks):
    zone = ZoneInfo(
        "Australia/Lord_Howe"
    )  # 6 April 2025, 02:00 goes back to 01:30 at 15:00 UTC the day before
    history = from_ticks(np.full(8 * 2 * 3600, 30.0), start=datetime(2025, 4, 5, 14, 0, tzinfo=UTC))
    assert clocks(cut(history, 60, zone), zone) == ["01:00:00", "01:30:00", "02:00:00"]


def test_a_recording_that_misses_the_beginning_by_less_than_a_tick_is_still_complete(from_ticks):
    start = datetime(2025, 2, 3, 22, 0, 0, 100_000, tzinfo=UTC)
    history = from_ticks(np.full(8 * 3600, 30.0), start=start)
    assert cut(history, 60)[0].complete
    later = from_ticks(np.full(8 * 3600, 30.0), start=start + timedelta(milliseconds=25))
    assert not cut(later, 60)[0].complete


def test_an_hour_that_the_window_cuts_is_not_complete(from_ticks):
    history = from_ticks(np.full(8 * 3600 * 2, 30.0))
    found = intervals(history, history.start + HOUR / 2, history.end, 60, VIENNA)
    assert [interval.complete for interval in found] == [False, True]
    assert found[0].statistics.seconds == 1800


def test_a_part_outside_the_recording_gives_no_intervals(from_ticks):
    history = from_ticks(np.full(80, 30.0))
    assert intervals(history, history.end + HOUR, history.end + 2 * HOUR, 60, VIENNA) == ()
    wider = intervals(history, history.start - HOUR, history.end + HOUR, 60, VIENNA)
    assert [interval.statistics.seconds for interval in wider] == [10]


@pytest.mark.parametrize("minutes", [0, -15, 7, 90, 1440])
def test_lengths_that_do_not_fit_the_clock_are_refused(from_ticks, minutes):
    with pytest.raises(ValueError, match="minutes"):
        cut(from_ticks(np.full(80, 30.0)), minutes)


@settings(deadline=None, max_examples=40)
@given(
    seed=st.integers(0, 2**32 - 1),
    ticks=st.integers(1, 20_000),
    offset_s=st.integers(0, 7200),
    minutes=st.sampled_from([15, 60]),
)
def test_statistics_are_ordered_and_every_tick_counts_once(from_ticks, seed, ticks, offset_s, minutes):
    rng = np.random.default_rng(seed)
    start = datetime(2025, 2, 3, 22, 0, tzinfo=UTC) + timedelta(seconds=offset_s)
    history = from_ticks(rng.normal(30, 6, ticks), start=start, left_out=rng.random(ticks) < 0.1)
    found = [interval.statistics for interval in cut(history, minutes)]
    whole = level_statistics(history)
    assert sum(part.seconds for part in found) == whole.seconds
    assert sum(part.left_out_s for part in found) == pytest.approx(whole.left_out_s)
    heard = [part for part in found if part.seconds > part.left_out_s]
    for part in heard:
        assert part.la90 <= part.la50 <= part.la10 <= part.lafmax
    if heard:
        together = energy_mean(
            [part.laeq for part in heard], [part.seconds - part.left_out_s for part in heard]
        )
        assert together == pytest.approx(whole.laeq, abs=1e-9)
        assert max(part.lafmax for part in heard) == whole.lafmax
