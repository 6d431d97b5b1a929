"""The engine against the slow meter of conftest.py, tick by tick, at every kind of sampling rate."""

import numpy as np
import pytest
from scipy.signal import firwin

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.levels.statistics import level_statistics

RATES_HZ = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000, 192000)
KINDS = ("tone", "white", "pink", "impulses")

CLOSE_DB = 0.02
NYQUIST_DB = 0.03
"""Single samples of white noise: at half the sampling rate a weighting's phase has nowhere to go."""
STEP_DB = 0.035
"""What mean squares of 1 ms may change in an F-weighted level: 10 lg e x 1 ms / 125 ms."""
EXTREME_DB = 0.06
"""In a decay the extremes of a tick lie a step and a half from where sample-by-sample detection has them."""


def heard(levels_db, within_db=50.0):
    """Return where a level is worth comparing: float32 cannot follow a filter's ringing for ever."""
    return levels_db > levels_db.max() - within_db


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_tick_agrees_with_the_slow_meter(measure, slow_meter, sounds, rate_hz, kind):
    samples = getattr(sounds, kind)(6.3, rate_hz)
    history, slow = measure(samples, rate_hz), slow_meter(samples, rate_hz)
    a, c = slow.weighted("A"), slow.weighted("C")
    fast = slow.detected_db(a, 0.125)
    expected = {
        "laeq": (slow.equivalent_db(a), CLOSE_DB),
        "lceq": (slow.equivalent_db(c), CLOSE_DB),
        "lcpeak": (slow.peak_db(c), NYQUIST_DB),
        "laf": (fast[0], STEP_DB),
        "lafmax": (fast[1], EXTREME_DB),
        "lafmin": (fast[2], EXTREME_DB),
        "lasmax": (slow.detected_db(a, 1.0)[1], STEP_DB),
    }
    for name, (levels, tolerance_db) in expected.items():
        ours = getattr(history, name)
        assert levels.shape == ours.shape == (50,)
        kept = heard(levels)
        np.testing.assert_allclose(ours[kept], levels[kept], rtol=0, atol=tolerance_db, err_msg=name)


@pytest.mark.parametrize("rate_hz", [11025, 22050, 44100])
def test_a_click_is_as_loud_in_every_step_of_a_rate_that_is_no_multiple_of_1000(measure, slow_meter, rate_hz):
    # Steps of 1 ms hold 11 or 12 samples at 11025 Hz; the 44 clicks fall into each place of their pattern.
    samples = 1e-3 * np.random.default_rng(1).standard_normal(23 * rate_hz)
    places = (np.arange(44) * 0.5 + 0.3) * rate_hz + np.arange(44) * 10.3
    click = firwin(31, 0.43, window=("kaiser", 6.0), fs=1.0)
    for place in places.astype(int):
        samples[place : place + click.size] += 30 * click
    samples = samples.astype(np.float32)
    found, slow = measure(samples, rate_hz), slow_meter(samples, rate_hz)
    expected = slow.detected_db(slow.weighted("A"), 0.125)[1]
    loud = expected > expected.max() - 3
    np.testing.assert_allclose(found.lafmax[loud], expected[loud], rtol=0, atol=EXTREME_DB)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_laeq_of_the_whole_agrees_with_the_slow_meter(measure, slow_meter, sounds, rate_hz, kind):
    samples = getattr(sounds, kind)(6.25, rate_hz)
    laeq = level_statistics(measure(samples, rate_hz)).laeq
    slow = slow_meter(samples, rate_hz)
    assert laeq == pytest.approx(energy_mean(slow.equivalent_db(slow.weighted("A"))), abs=0.001)


@pytest.mark.parametrize("rate_hz", [8000, 22050, 48000])
def test_band_levels_of_noise_agree_with_butterworth_filters(measure, slow_meter, sounds, rate_hz):
    samples = sounds.white(30, rate_hz)
    history, slow = measure(samples, rate_hz), slow_meter(samples, rate_hz)
    for nominal_hz, levels_db in zip(history.nominal_hz, history.bands, strict=True):
        lower_hz, upper_hz = band_edges_hz((nominal_hz,))[:, 0]
        # Lower bands have too few degrees of freedom in half a minute: see the noise made of lines.
        if nominal_hz >= 500 and upper_hz < 0.45 * rate_hz:
            assert energy_mean(levels_db) == pytest.approx(slow.band_db(lower_hz, upper_hz), abs=0.1), (
                nominal_hz
            )
