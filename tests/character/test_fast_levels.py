"""F-weighted levels in fine steps, against the level engine and against the exponential itself."""

import numpy as np
import pytest

from sleepnoise.character.fast_levels import fast_levels
from sleepnoise.levels.engine import level_history


@pytest.mark.parametrize("rate_hz", [8000, 44_100])
def test_every_125_ms_the_level_is_that_of_the_history(as_pressure, rate_hz):
    rng = np.random.default_rng(2)
    loud = np.repeat(rng.uniform(0.001, 0.1, 12), rate_hz)[: 12 * rate_hz - 777]
    pressure = as_pressure(rng.standard_normal(loud.size) * loud, rate_hz)
    found = fast_levels([pressure], 125)
    history = level_history([pressure])
    assert found.size == history.ticks
    # The engine's guards are shorter: after a fall of 40 dB a little of the A weighting's ringing is cut off.
    np.testing.assert_allclose(found, history.laf, rtol=0, atol=0.03)


def test_a_steady_tone_falls_by_34_7_db_a_second_when_it_stops(as_pressure):
    rate_hz = 16_000
    times_s = np.arange(4 * rate_hz) / rate_hz
    pressure = as_pressure(np.where(times_s < 2, np.sin(2 * np.pi * 1000 * times_s), 0.0), rate_hz)
    laf = fast_levels([pressure], 10)
    # IEC 61672-1: time constant 125 ms, 10 lg e / 0.125 = 34.74 dB/s.
    assert laf[230] - laf[330] == pytest.approx(34.74, abs=0.02)


def test_no_sound_has_no_levels(as_pressure):
    assert fast_levels([as_pressure([])], 10).size == 0


def test_however_a_stretch_is_cut_its_levels_are_the_same(as_pressure):
    samples = np.random.default_rng(3).standard_normal(60_000).astype(np.float32)
    whole = fast_levels([as_pressure(samples)], 10)
    parts = fast_levels(map(as_pressure, np.split(samples, [1, 7000, 40_000])), 10)
    np.testing.assert_array_equal(parts, whole)
