"""The narrow-band method on sounds whose audibility follows from how they were made."""

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import level
from sleepnoise.character.narrow_band import Tone, averaged, line_noise_db, most_audible_tone, tonality
from sleepnoise.character.tone_audibility import critical_band_hz, masking_index_db

RATE_HZ = 16_000
SPACING_HZ = 2.7


def noise_pa(seconds, seed=1, effective_pa=0.002):
    return np.random.default_rng(seed).standard_normal(seconds * RATE_HZ) * effective_pa


def sine_pa(seconds, hz, effective_pa):
    return np.sqrt(2) * effective_pa * np.sin(2 * np.pi * hz * np.arange(seconds * RATE_HZ) / RATE_HZ)


def expected_db(hz, effective_pa, noise_effective_pa=0.002):
    """Audibility of a sine in white noise, from the noise's density; 1 kHz and above, where A is flat."""
    lower_hz, upper_hz = critical_band_hz(hz)
    band_pa2 = noise_effective_pa**2 / (RATE_HZ / 2) * (upper_hz - lower_hz)
    return float(level(effective_pa**2 / band_pa2) - masking_index_db(hz))


@pytest.mark.parametrize("hz", [1000.0, 1001.3, 4000.0])
@pytest.mark.parametrize("effective_pa", [0.0003, 0.001, 0.01])
def test_a_sine_in_white_noise_is_as_audible_as_theory_says(as_pressure, hz, effective_pa):
    found = tonality(as_pressure(noise_pa(39) + sine_pa(39, hz, effective_pa)))
    # The lines of the tone hold noise too: near the threshold it reads a little high.
    assert found.audibility_db == pytest.approx(expected_db(hz, effective_pa), abs=0.5)
    assert (found.spectra, found.enough) == (13, True)
    if found.audibility_db > 1:
        assert found.frequency_hz == pytest.approx(hz, abs=2.7)
        assert found.spectra_with_tone == 13


def test_noise_alone_has_no_tone(as_pressure):
    for seed in range(2):
        found = tonality(as_pressure(noise_pa(36, seed)))
        assert found.spectra_with_tone == 0
        assert found.adjustment_db == found.ramp_adjustment_db == 0
        assert np.isnan(found.frequency_hz)


def test_audibility_does_not_depend_on_the_calibration(as_pressure):
    sound = noise_pa(12) + sine_pa(12, 1000, 0.001)
    assert tonality(as_pressure(10 * sound)).audibility_db == pytest.approx(
        tonality(as_pressure(sound)).audibility_db, abs=1e-3
    )


def test_a_tone_half_of_the_time_counts_with_half_its_energy(as_pressure):
    sound = noise_pa(36) + np.concatenate([sine_pa(18, 1000, 0.01), np.zeros(18 * RATE_HZ)])
    always = tonality(as_pressure(noise_pa(36) + sine_pa(36, 1000, 0.01)))
    found = tonality(as_pressure(sound))
    assert found.spectra_with_tone == 6
    assert found.audibility_db == pytest.approx(always.audibility_db - 3.01, abs=0.1)
    assert found.standard_uncertainty_db > 1 > always.standard_uncertainty_db


def test_two_tones_in_one_critical_band_count_together(as_pressure):
    one = tonality(as_pressure(noise_pa(12) + sine_pa(12, 2000, 0.003)))
    two = tonality(as_pressure(noise_pa(12) + sine_pa(12, 2000, 0.003) + sine_pa(12, 2080, 0.003)))
    far = tonality(as_pressure(noise_pa(12) + sine_pa(12, 2000, 0.003) + sine_pa(12, 3500, 0.001)))
    assert two.audibility_db - one.audibility_db == pytest.approx(3.01, abs=0.2)
    assert far.audibility_db == pytest.approx(one.audibility_db, abs=0.1)


def test_two_low_tones_that_are_heard_apart_do_not(as_pressure):
    # Around 212 Hz two tones more than 21 Hz apart are heard as two; the critical band is 105 Hz wide.
    def with_second_at(hz):
        return tonality(as_pressure(noise_pa(12) + sine_pa(12, 200, 0.003) + sine_pa(12, hz, 0.0028)))

    alone = tonality(as_pressure(noise_pa(12) + sine_pa(12, 200, 0.003))).audibility_db
    assert with_second_at(240).audibility_db == pytest.approx(alone, abs=0.3)
    assert with_second_at(214).audibility_db > alone + 1.5


def test_a_narrow_band_of_noise_is_no_tone(as_pressure):
    rng = np.random.default_rng(4)
    spectrum = np.fft.rfft(rng.standard_normal(36 * RATE_HZ))
    hz = np.fft.rfftfreq(36 * RATE_HZ, 1 / RATE_HZ)
    band = np.fft.irfft(np.where(abs(hz - 1000) < 60, spectrum, 0)) * 0.02
    assert tonality(as_pressure(noise_pa(36) + band)).adjustment_db == 0


def test_silence_and_too_short_a_stretch_have_no_tone(as_pressure):
    silent = tonality(as_pressure(np.zeros(6 * RATE_HZ)))
    assert (silent.spectra, silent.audibility_db, silent.adjustment_db) == (2, -10.0, 0.0)
    short = tonality(as_pressure(noise_pa(2)))
    assert short.spectra == 0
    assert np.isnan([short.audibility_db, short.adjustment_db, short.standard_uncertainty_db]).all()
    assert not short.enough


def test_the_mean_of_iso_20065_is_met(published):
    example = published("tones")["mean_20065"]
    tones = [Tone(frequency_hz=100.0, audibility_db=value) for value in example["decisive_db"]]
    found_db = averaged(tones).audibility_db
    assert found_db == pytest.approx(example["recomputed_db"], abs=0.0005)
    assert found_db == pytest.approx(example["mean_db"], abs=0.02)


def test_spectra_without_tone_count_with_minus_10_db():
    one = Tone(frequency_hz=100.0, audibility_db=5.0)
    faint = Tone(frequency_hz=900.0, audibility_db=-30.0)
    # 10 lg ((10^0.5 + 2 x 10^-1) / 3) by hand.
    for found in (averaged([one, None, None]), averaged([one, faint, None])):
        assert found.audibility_db == pytest.approx(0.4953, abs=1e-3)
        assert (found.spectra_with_tone, found.frequency_hz) == (1, 100.0)


def test_the_noise_around_a_line_leaves_out_what_stands_out():
    lines_db = np.full(400, 30.0)
    lines_db[[150, 151, 160]] = 60.0
    # 1.76 dB: a noise's energy is counted 1.5 times by the window.
    assert line_noise_db(lines_db, 150, SPACING_HZ) == pytest.approx(30 - 1.76, abs=0.01)


def test_a_line_near_the_end_of_the_spectrum_has_no_noise_to_stand_out_of():
    lines_db = np.full(100, 30.0)
    lines_db[96] = 60.0
    assert np.isnan(line_noise_db(lines_db, 96, SPACING_HZ))
    assert most_audible_tone(lines_db, SPACING_HZ) is None


def test_lines_10_db_below_the_highest_do_not_belong_to_a_tone():
    lines_db = np.full(800, 30.0)
    lines_db[291:309] = 45.0  # 49 Hz wide: too broad for a tone
    lines_db[300] = 60.0
    assert most_audible_tone(lines_db, SPACING_HZ).frequency_hz == pytest.approx(810)


def test_a_low_hump_with_gentle_edges_is_no_tone():
    lines_db = np.full(400, 30.0)
    lines_db[18:26] = 37.0  # falls by 7 dB within 0.4 octaves, where 24 dB an octave are asked for
    lines_db[22] = 37.5
    assert most_audible_tone(lines_db, SPACING_HZ) is None
    lines_db[[18, 19, 25]] = 30.0
    assert most_audible_tone(lines_db, SPACING_HZ) is not None


def test_two_tops_of_one_tone_are_not_counted_twice():
    lines_db = np.full(800, 30.0)
    lines_db[[300, 301, 302, 303]] = [60.0, 55.0, 55.0, 59.0]
    once = most_audible_tone(lines_db, SPACING_HZ)
    lines_db[303] = 54.0  # no top any more; energies 2.427 and 1.883 by hand
    alone = most_audible_tone(lines_db, SPACING_HZ)
    assert once.audibility_db - alone.audibility_db == pytest.approx(1.10, abs=0.01)
