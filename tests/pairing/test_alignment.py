"""Two clocks on one line, from levels and from lags."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.pairing.alignment import (
    FEWEST_WITNESSES,
    LARGEST_DRIFT_PPM,
    Alignment,
    SoundLag,
    align_histories,
    fluctuation_db,
    line_through,
)


def bumps(ticks, seed, every=400):
    """Levels of a night: a quiet floor and sounds of a second to a minute."""
    rng = np.random.default_rng(seed)
    levels = 30 + rng.normal(0, 1, ticks)
    for first in rng.integers(0, ticks, ticks // every):
        levels[first : first + rng.integers(8, 200)] += rng.uniform(5, 25)
    return levels


def heard_later(levels, lag_s, drift_ppm, seed=9):
    """What another clock makes of the same levels, 20 dB lower on a floor of its own."""
    own = np.arange(levels.size)
    true = (own - 8 * lag_s) / (1 + 1e-6 * drift_ppm)
    moved = np.interp(true, own, levels, left=30, right=30) - 20
    floor = 12 + np.random.default_rng(seed).normal(0, 1, levels.size)
    return 10 * np.log10(10 ** (moved / 10) + 10 ** (floor / 10))


@pytest.mark.parametrize(("lag_s", "drift_ppm"), [(0.0, 0.0), (7.4, 30.0), (-412.0, -150.0), (1800.0, 80.0)])
def test_levels_alone_align_a_night_to_a_tick(from_ticks, lag_s, drift_ppm):
    hours = 4
    levels = bumps(hours * 3600 * 8, 1)
    found = align_histories(from_ticks(levels), from_ticks(heard_later(levels, lag_s, drift_ppm)))
    for outer_s in (1800.0, hours * 1800.0, hours * 3600.0 - 3600.0):
        expected_s = outer_s * (1 + 1e-6 * drift_ppm) + lag_s
        assert found.pillow_s(outer_s) == pytest.approx(expected_s, abs=0.25)


def test_only_lags_that_are_possible_are_looked_at(from_ticks):
    levels = bumps(20_000, 2)
    late = from_ticks(heard_later(levels, 60.0, 0.0))
    assert align_histories(from_ticks(levels), late, (50.0, 70.0)).lag_s == pytest.approx(60.0, abs=0.15)
    assert abs(align_histories(from_ticks(levels), late, (-20.0, 20.0)).lag_s) <= 28.0


def test_what_cannot_be_compared_is_not_aligned(from_ticks):
    levels = bumps(4000, 3)
    silent = from_ticks(np.full(4000, -np.inf))
    assert align_histories(from_ticks(levels), silent) is None
    assert align_histories(from_ticks(levels), from_ticks(levels[:400])) is None
    assert align_histories(from_ticks(levels), from_ticks(levels), (9000.0, 9100.0)) is None


def test_what_is_left_out_or_unknown_does_not_move(from_ticks):
    levels = bumps(4000, 4)
    levels[100:200] = np.nan
    out = np.zeros(4000, dtype=bool)
    out[300:400] = True
    spoilt = levels.copy()
    spoilt[300:400] = 120.0
    expected = fluctuation_db(from_ticks(levels, left_out=out))
    assert np.isfinite(expected).all()
    np.testing.assert_array_equal(fluctuation_db(from_ticks(spoilt, left_out=out)), expected)


def lags_on(line, times_s, errors_s, sharpness=50.0):
    return [
        SoundLag(outer_s=time_s, pillow_s=line.pillow_s(time_s) + error_s, sharpness=sharpness)
        for time_s, error_s in zip(times_s, errors_s, strict=True)
    ]


@given(
    lag_s=st.floats(-3600, 3600),
    drift_ppm=st.floats(-150, 150),
    events=st.integers(9, 60),
    seed=st.integers(0, 2**32 - 1),
)
def test_a_line_is_found_though_some_sounds_stray(lag_s, drift_ppm, events, seed):
    rng = np.random.default_rng(seed)
    line = Alignment(lag_s=lag_s, drift_ppm=drift_ppm)
    # Spread over the night, as a clock can be told from; a fifth of the sounds lie anywhere.
    times_s = np.sort(np.linspace(0, 25_000, events) + rng.uniform(0, 100, events))
    errors_s = rng.normal(0, 0.001, events)
    strays = rng.choice(events, events // 5, replace=False)
    errors_s[strays] = rng.choice([-1, 1], strays.size) * rng.uniform(0.1, 0.3, strays.size)
    found = line_through(lags_on(line, times_s, errors_s), one_clock=False)
    assert found.witnesses >= events - strays.size
    assert found.drift_ppm == pytest.approx(drift_ppm, abs=0.5)
    assert found.pillow_s(12_000.0) == pytest.approx(line.pillow_s(12_000.0), abs=0.005)


def test_one_clock_has_no_drift():
    lags = lags_on(Alignment(lag_s=0.01, drift_ppm=0.0), [0.0, 100.0, 200.0], [0.0, 0.002, 0.004])
    found = line_through(lags, one_clock=True)
    assert found.drift_ppm == 0.0
    assert found.lag_s == pytest.approx(0.012)
    assert found.spread_s == pytest.approx(0.004 / np.sqrt(6))


@pytest.mark.parametrize("sharpness", [9.9, np.nan])
def test_sounds_that_do_not_stand_out_are_no_witnesses(sharpness):
    lags = lags_on(Alignment(lag_s=1.0, drift_ppm=0.0), range(20), np.zeros(20), sharpness)
    assert line_through(lags, one_clock=False) is None


def test_too_few_witnesses_or_contradicting_ones_give_no_line():
    line = Alignment(lag_s=1.0, drift_ppm=0.0)
    few = FEWEST_WITNESSES - 1
    assert line_through(lags_on(line, range(few), np.zeros(few)), one_clock=False) is None
    # Sixteen sounds, 40 ms to 0.6 s apart, as if found by chance all over the search.
    anywhere = np.random.default_rng(1).permutation(np.linspace(-0.3, 0.3, 16))
    assert line_through(lags_on(line, np.arange(16) * 1000.0, anywhere), one_clock=False) is None


def test_events_close_together_do_not_make_up_a_drift():
    lags = lags_on(Alignment(lag_s=1.0, drift_ppm=0.0), [0.0, 1.0, 2.0], [0.0, 0.01, 0.02])
    assert line_through(lags, one_clock=False).drift_ppm == pytest.approx(LARGEST_DRIFT_PPM)
