"""Third-octave filter shapes against IEC 61260-1:2014, as functions of frequency."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ, OCTAVE_RATIO, exact_hz
from sleepnoise.levels.bands import (
    above_edge,
    band_amplitude,
    bands_within,
    below_edge,
    infrasound_amplitude,
    low_pass_amplitude,
    remainder_amplitude,
)

RATES_HZ = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000, 192000)


def attenuation_db(frequency_hz, nominal_hz):
    with np.errstate(divide="ignore"):
        return -20 * np.log10(band_amplitude(np.asarray(frequency_hz), nominal_hz))


@pytest.fixture(scope="module")
def mask_db(iec_61260):
    """Return a function from f/fm to the least and the most attenuation that class 1 allows."""
    rows = np.array(iec_61260["mask"]["rows"])
    # The edge itself is the one place where the limits jump: a hair apart, so that lines can be drawn.
    lg_ratio = np.log10(rows[:, 1]) + np.where(np.arange(len(rows)) > 4, 1e-12, 0.0)

    def limits(ratio):
        distance = np.abs(np.log10(ratio))
        least = np.interp(distance, lg_ratio, rows[:, 2])
        most = np.interp(distance, lg_ratio[:5], rows[:5, 3])
        return least, np.where(distance > lg_ratio[4], np.inf, most)

    return limits


@pytest.mark.parametrize("nominal_hz", NOMINAL_HZ)
def test_every_filter_lies_inside_the_class_1_mask(nominal_hz, mask_db):
    ratio = np.concatenate([np.geomspace(1 / 300, 300, 20_001), np.geomspace(0.88, 1.13, 20_001)])
    least_db, most_db = mask_db(ratio)
    found_db = attenuation_db(ratio * exact_hz(nominal_hz), nominal_hz)
    assert (found_db >= least_db).all()
    assert (found_db <= most_db).all()


@pytest.mark.parametrize("nominal_hz", NOMINAL_HZ)
def test_every_breakpoint_of_the_mask_is_met(nominal_hz, iec_61260):
    middle_hz = exact_hz(nominal_hz)
    for exponent, ratio, least_db, most_db in iec_61260["mask"]["rows"]:
        # Limits on both sides of the edge hold just beside it.
        inside = ratio * (1 - 2e-5) if exponent == 0.5 and most_db < np.inf else ratio * (1 + 2e-5)
        for factor in (inside, 1 / inside):
            assert least_db <= attenuation_db(factor * middle_hz, nominal_hz) <= most_db, (exponent, factor)


def test_the_breakpoints_follow_from_formula_9(iec_61260):
    """IEC 61260-1:2014, Formula 9 (library): from octaves to thirds."""
    for exponent, ratio, *_ in iec_61260["mask"]["rows"]:
        share = (OCTAVE_RATIO ** (1 / 6) - 1) / (OCTAVE_RATIO**0.5 - 1)
        expected = 1 + share * (OCTAVE_RATIO**exponent - 1)
        assert ratio == pytest.approx(expected, abs=iec_61260["mask"]["printed_step_ratio"] / 2)


@pytest.mark.parametrize("nominal_hz", NOMINAL_HZ)
def test_a_filter_is_as_wide_as_its_band(nominal_hz, iec_61260):
    """Normalised effective bandwidth: the integral of the energy response over d lg f (5.12, memory)."""
    ln_ratio = np.linspace(-2, 2, 40_001)
    response = band_amplitude(np.exp(ln_ratio) * exact_hz(nominal_hz), nominal_hz) ** 2
    width = np.trapezoid(response, ln_ratio)
    deviation_db = 10 * np.log10(width / (np.log(OCTAVE_RATIO) / 3))
    assert abs(deviation_db) < 0.001 < iec_61260["bandwidth"]["limit_db"]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_all_responses_together_pass_everything_once(rate_hz):
    """From where LZ is whole, above 9 Hz, to half the rate or to the end of the 20 kHz band."""
    frequency_hz = np.geomspace(9.0, rate_hz / 2, 50_000)
    bands = bands_within(rate_hz)
    total = sum(band_amplitude(frequency_hz, nominal) ** 2 for nominal in bands)
    total += infrasound_amplitude(frequency_hz) ** 2 + remainder_amplitude(frequency_hz, rate_hz) ** 2
    whole = frequency_hz < (21_000 if bands[-1] == NOMINAL_HZ[-1] else np.inf)
    # The widest slopes of one band just overlap, where both are all but flat: 0.00003 dB.
    np.testing.assert_allclose(total[whole], 1.0, rtol=0, atol=1e-5)
    assert (total <= 1 + 1e-5).all()


def test_slopes_add_up_to_one_in_energy_and_end():
    frequency_hz = np.geomspace(100, 10_000, 2001)
    above, below = above_edge(frequency_hz, 1000.0), below_edge(frequency_hz, 1000.0)
    np.testing.assert_allclose(above**2 + below**2, 1.0, atol=1e-12)
    assert (np.diff(above) >= 0).all()
    assert above[0] == below[-1] == 0.0
    assert below_edge(np.array([1000.0]), 1000.0) ** 2 == pytest.approx(0.5)


def test_steady_pressure_belongs_to_no_band():
    nothing = np.zeros(1)
    assert (band_amplitude(nothing, 20.0) == 0.0).all()
    assert (infrasound_amplitude(nothing) == 0.0).all()


def test_lz_below_the_bands_is_open_at_10_hz_and_shut_at_4_hz():
    assert infrasound_amplitude(np.array([10.0])) == pytest.approx(1.0)
    assert infrasound_amplitude(np.array([4.0])) == 0.0


@pytest.mark.parametrize(
    ("rate_hz", "highest_hz"), [(8000, 3150), (16000, 6300), (44100, 16000), (48000, 20000), (192000, 20000)]
)
def test_the_rate_limits_the_bands(rate_hz, highest_hz):
    bands = bands_within(rate_hz)
    assert bands[0] == 20.0
    assert bands[-1] == highest_hz
    assert (band_amplitude(np.array([rate_hz / 2]), highest_hz) == 0.0).all()


def test_nothing_is_left_above_the_20_khz_band():
    assert (remainder_amplitude(np.array([15_000.0, 23_000.0]), 48_000) == 0.0).all()
    assert (remainder_amplitude(np.array([21_000.0]), 44_100) == 1.0).all()


def test_the_low_pass_leaves_the_highest_coarse_band_alone_and_ends_at_nothing():
    frequency_hz = np.linspace(0, 1000, 1001)
    gain = low_pass_amplitude(frequency_hz, 250.0)
    passing = band_amplitude(frequency_hz, 250.0) > 0
    assert (gain[passing] == 1.0).all()
    assert gain[-1] == pytest.approx(0.0, abs=1e-12)
    assert (np.diff(gain) <= 0).all()
