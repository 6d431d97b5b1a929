import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.demo.noise import NoiseStream, shaped_noise

RATE_HZ = 16_000
SHAPE = {20.0: 40.0, 200.0: 30.0, 2000.0: 10.0, 20000.0: 0.0}
STREAM = NoiseStream((7, 3), RATE_HZ, SHAPE, 27.0)
LENGTH = 400_000
WHOLE_PA = NoiseStream((7, 3), RATE_HZ, SHAPE, 27.0).pressure_pa(0, LENGTH)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, LENGTH - 1), st.integers(1, 300_000))
def test_a_sample_is_the_same_wherever_reading_begins(first, count):
    last = min(first + count, LENGTH)
    assert np.array_equal(STREAM.pressure_pa(first, last), WHOLE_PA[first:last])


@pytest.mark.parametrize("rate_hz", [8000, 16_000, 48_000])
def test_noise_has_the_level_it_was_asked_for(rate_hz, second_way):
    noise_pa = NoiseStream((1, 3), rate_hz, SHAPE, 27.0).pressure_pa(0, 60 * rate_hz)
    # 60 s of noise mostly between 100 and 500 Hz: standard deviation 4.34 / sqrt(400 * 60) = 0.03 dB.
    assert second_way.laeq(noise_pa, rate_hz) == pytest.approx(27.0, abs=0.1)


def test_noise_has_no_seam_where_chunks_meet():
    chunk = 2**17 - 1600
    white = NoiseStream((7, 3), RATE_HZ, {20.0: 0.0, 20000.0: 30.0}, 27.0).pressure_pa(0, 3 * chunk)
    around = [np.mean(white[begin : begin + 400] ** 2) for begin in range(chunk - 2000, chunk + 2000, 400)]
    # 400 samples of white noise scatter by 4.34 / sqrt(200) = 0.3 dB, four times that.
    assert 10 * np.log10(np.array(around) / np.mean(white**2)) == pytest.approx(0.0, abs=1.2)


@pytest.mark.parametrize("make", ["stream", "stretch"])
def test_third_octaves_follow_the_shape(make):
    samples = 60 * RATE_HZ
    if make == "stream":
        noise = STREAM.pressure_pa(0, samples)
    else:
        noise = shaped_noise(np.random.default_rng(1), samples, RATE_HZ, SHAPE)
    power = np.abs(np.fft.rfft(noise)) ** 2
    frequency_hz = np.fft.rfftfreq(samples, 1 / RATE_HZ)
    levels_db = [
        10 * np.log10(np.sum(power[(frequency_hz > middle * 0.891) & (frequency_hz < middle * 1.122)]))
        for middle in (200.0, 632.5, 2000.0, 6325.0)
    ]
    # A straight line in dB over the logarithm of frequency between the points given.
    assert np.diff(levels_db) == pytest.approx([-10.0, -10.0, -5.0], abs=0.5)


def test_pink_noise_gives_equal_third_octaves():
    noise = shaped_noise(np.random.default_rng(1), 60 * RATE_HZ, RATE_HZ, {20.0: 0.0, 20000.0: 0.0})
    power = np.abs(np.fft.rfft(noise)) ** 2
    # Definition of pink noise: power falls as 1/f, so each octave holds as much (common practice, no source).
    octaves = [np.sum(power[60 * low : 60 * 2 * low]) for low in (100, 200, 400, 800, 1600)]
    assert 10 * np.log10(octaves / np.mean(octaves)) == pytest.approx(0.0, abs=0.3)
