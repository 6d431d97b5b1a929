"""The engine's A, C and Z for steady tones, against IEC 61672-1:2013, Table 3, at five sampling rates."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import exact_hz
from sleepnoise.acoustics.weighting import weighting_db

RATES_HZ = (16000, 32000, 44100, 48000, 96000)


@pytest.fixture(scope="module", params=RATES_HZ)
def heard(request, iec_61672, hear_tones):
    """Rows of Table 3 up to 0.45 of a sampling rate, exact frequencies, and what the engine made of them."""
    rate_hz = request.param
    rows = np.array([row for row in iec_61672["weighting"]["rows"] if exact_hz(row[0]) <= 0.45 * rate_hz])
    frequencies_hz = np.array([exact_hz(nominal) for nominal in rows[:, 0]])
    # A tone of 12.6 Hz has no whole number of cycles in a tick: the middle must be long enough.
    levels, _ = hear_tones(frequencies_hz, rate_hz, seconds=lambda f: 16 if f < 20 else 4 if f < 300 else 1)
    return rows, frequencies_hz, levels


@pytest.mark.parametrize(("name", "column"), [("laeq", 1), ("lceq", 2)])
def test_tones_are_weighted_within_the_class_1_limits(heard, name, column):
    rows, _, levels = heard
    deviations_db = levels[name] - rows[:, column]
    assert (deviations_db <= rows[:, 3]).all()
    assert (deviations_db >= rows[:, 4]).all()


@pytest.mark.parametrize(("name", "weighting"), [("laeq", "A"), ("lceq", "C")])
def test_tones_are_weighted_as_the_formula_says(heard, name, weighting):
    _, frequencies_hz, levels = heard
    np.testing.assert_allclose(levels[name], weighting_db(frequencies_hz, weighting), rtol=0, atol=0.05)


def test_z_is_flat_from_the_lowest_frequency_of_the_table(heard):
    """Table 3 asks for 0 dB, as do the limits of class 1; ours ends with the 20 kHz band."""
    rows, frequencies_hz, levels = heard
    np.testing.assert_allclose(levels["lzeq"], 0.0, rtol=0, atol=0.05)
    assert frequencies_hz[0] == pytest.approx(10.0)
    assert len(rows) >= 28


def test_a_tone_at_1_khz_reads_the_same_in_every_weighting(heard):
    """5.5.9 of the standard allows 0.2 dB (library)."""
    _, frequencies_hz, levels = heard
    at_1_khz = np.argmin(np.abs(frequencies_hz - 1000))
    for name in ("laeq", "lceq", "lzeq"):
        assert levels[name][at_1_khz] == pytest.approx(0.0, abs=0.01)
