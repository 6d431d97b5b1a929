"""A history knows its times, gives views of itself, and refuses arrays that do not fit."""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

RATE_HZ = 8000
TICKS = 80


@pytest.fixture(scope="module")
def history(measure, sounds):
    return measure(sounds.white(10.05, RATE_HZ), RATE_HZ)


def test_times_are_counted_from_the_start(history):
    assert history.ticks == TICKS
    assert history.time_of(0) == history.start
    assert history.time_of(3) - history.start == timedelta(milliseconds=375)
    assert history.end - history.start == timedelta(seconds=10)
    assert history.left_over_s == pytest.approx(0.05)


@given(st.integers(0, TICKS))
def test_a_tick_is_found_again_by_its_time(history, tick):
    assert history.tick_of(history.time_of(tick)) == tick


@given(st.integers(-(10**7), 2 * 10**7))
def test_an_instant_belongs_to_the_first_tick_that_starts_no_earlier(history, microseconds):
    instant = history.start + timedelta(microseconds=microseconds)
    tick = history.tick_of(instant)
    assert 0 <= tick <= TICKS
    if 0 < tick < TICKS:
        assert history.time_of(tick - 1) < instant <= history.time_of(tick)


@given(st.integers(0, TICKS), st.integers(0, TICKS))
def test_a_part_has_its_own_start_and_the_same_levels(history, one, other):
    first, last = sorted((one, other))
    part = history.between(first, last)
    assert part.ticks == last - first
    assert part.start == history.time_of(first)
    assert (part.laeq == history.laeq[first:last]).all()
    assert (part.bands[:] == history.bands[:, first:last]).all()
    assert part.nominal_hz == history.nominal_hz


def test_a_part_is_a_view(history):
    assert np.shares_memory(history.between(10, 20).bands.kept, history.bands.kept)
    assert np.shares_memory(history.between(10, 20).laeq, history.laeq)


def test_leaving_out_adds_to_what_was_left_out(history):
    first, second = np.zeros(TICKS, dtype=bool), np.zeros(TICKS, dtype=bool)
    first[:10], second[5:20] = True, True
    both = history.without(first).without(second)
    assert both.left_out.sum() == 20
    assert not history.left_out.any()
    assert both.left_over_s == history.left_over_s


def test_nobody_can_write_to_it(history):
    for array in (history.laeq, history.bands.kept, history.left_out):
        with pytest.raises(ValueError, match="read-only"):
            array[..., 0] = 0


def test_arrays_of_another_length_are_refused(history):
    with pytest.raises(ValueError, match=r"left_out must have shape \(80,\), got \(79,\)"):
        type(history)(
            start=history.start,
            sample_rate_hz=history.sample_rate_hz,
            nominal_hz=history.nominal_hz,
            left_out=np.zeros(79, dtype=bool),
            **{
                name: getattr(history, name)
                for name in ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands")
            },
        )
