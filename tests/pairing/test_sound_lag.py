"""The sound of an event, found again in another recording or not."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, resample_poly, sosfilt

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.pairing.alignment import SAME_CLOCK, SHARP, Alignment
from sleepnoise.pairing.sound_lag import LOOK_S, SEARCH_S, Excerpts, Look, sound_lags

START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
WIDE_HZ = (250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0)


def blocks(samples, rate_hz=8000, size=7000):
    for first in range(0, samples.size, size):
        stretch = np.array(samples[first : first + size], dtype=np.float32)
        yield PressureBlock(pressure_pa=stretch, sample_rate_hz=rate_hz, start=START)


def noise(seed, seconds, rate_hz=8000):
    return np.random.default_rng(seed).normal(0, 0.01, round(seconds * rate_hz))


def only(outer, pillow, look, alignment=SAME_CLOCK):
    [found] = sound_lags(outer, pillow, [look], alignment)
    return found


@pytest.mark.parametrize("delay_s", [-0.2, 0.0123, 0.27])
def test_a_delayed_sound_is_found_where_it_is(delay_s):
    sound = noise(1, 6)
    moved = np.roll(sound, round(delay_s * 8000)) + noise(2, 6)
    found = only(blocks(sound), blocks(moved), Look(starts_s=(2.0, 3.0), heard_hz=WIDE_HZ))
    assert found.sharpness > 3 * SHARP
    assert found.outer_s == 2.5
    assert found.pillow_s - found.outer_s == pytest.approx(delay_s, abs=0.002)


def test_recorders_of_different_sampling_rates_are_compared():
    sound = noise(9, 4)
    # The general-purpose library's polyphase resampler, 320 to 441.
    pillow = resample_poly(np.roll(sound, 800), 441, 320)
    found = only(blocks(sound), blocks(pillow, 11_025), Look(starts_s=(1.5,), heard_hz=WIDE_HZ))
    assert found.sharpness > SHARP
    assert found.pillow_s - found.outer_s == pytest.approx(0.1, abs=0.002)


def test_a_loud_hum_does_not_hide_the_sound():
    time_s = np.arange(6 * 8000) / 8000
    hum, sound = 0.3 * np.sin(2 * np.pi * 300 * time_s), noise(10, 6)
    found = only(
        blocks(sound + hum), blocks(np.roll(sound, 800) + hum), Look(starts_s=(2.0,), heard_hz=WIDE_HZ)
    )
    assert found.sharpness > SHARP
    assert found.pillow_s - found.outer_s == pytest.approx(0.1, abs=0.002)


@pytest.mark.parametrize("heard_hz", [(250.0, 2000.0), (2000.0, 250.0)])
def test_every_band_that_was_heard_counts(heard_hz):
    sound = noise(11, 6)
    low = sosfilt(butter(4, 400, fs=8000, output="sos"), sound)
    look = Look(starts_s=(2.0, 3.0, 4.0), heard_hz=heard_hz)
    assert only(blocks(sound), blocks(low + 0.1 * noise(12, 6)), look).sharpness > SHARP


def test_reflections_within_milliseconds_make_one_peak():
    sound = noise(13, 6)
    response = np.random.default_rng(14).normal(size=24)
    spread = np.convolve(sound, response / np.sqrt(np.sum(response**2)))[: sound.size]
    look = Look(starts_s=(2.0, 3.0), heard_hz=WIDE_HZ)
    assert only(blocks(sound), blocks(spread + 3 * noise(15, 6)), look).sharpness > SHARP


def test_it_is_looked_for_where_the_clocks_say():
    sound = noise(3, 20)
    late = Alignment(lag_s=10.05, drift_ppm=100.0)
    pillow = np.concatenate([noise(4, 10), sound[:-80_000]])
    found = only(blocks(sound), blocks(pillow), Look(starts_s=(4.0, 6.0), heard_hz=WIDE_HZ), late)
    assert found.pillow_s == pytest.approx(15.0, abs=0.002)


@pytest.mark.parametrize("heard_hz", [WIDE_HZ, (500.0, 630.0)])
def test_unrelated_sounds_of_the_same_level_are_not_sharp(heard_hz):
    # A single second each: the hardest to judge.
    looks = [Look(starts_s=(float(at),), heard_hz=heard_hz) for at in range(0, 200, 2)]
    found = list(sound_lags(blocks(noise(5, 202)), blocks(noise(6, 202)), looks, SAME_CLOCK))
    assert sum(each.sharpness >= SHARP for each in found) <= 2


def test_a_hum_in_both_rooms_is_not_the_same_sound():
    time_s = np.arange(6 * 8000) / 8000
    hum = sum(0.05 * np.sin(2 * np.pi * 50 * n * time_s) for n in (2, 3, 4, 5, 6, 8))
    look = Look(starts_s=(2.0, 3.0), heard_hz=WIDE_HZ)
    assert only(blocks(noise(7, 6) + hum), blocks(noise(8, 6) + hum), look).sharpness < SHARP


def test_with_nothing_heard_nothing_is_looked_for():
    found = only(blocks(noise(1, 6)), blocks(noise(1, 6)), Look(starts_s=(2.0,), heard_hz=()))
    assert np.isnan([found.outer_s, found.pillow_s, found.sharpness]).all()


def test_silence_and_the_end_of_a_recording_are_no_sound():
    look = Look(starts_s=(2.0,), heard_hz=WIDE_HZ)
    assert only(blocks(noise(1, 6)), blocks(np.zeros(48_000)), look).sharpness == 0.0
    assert only(blocks(noise(1, 6)), iter(()), look).sharpness == 0.0
    assert only(blocks(noise(1, 1)), blocks(noise(1, 6)), look).sharpness == 0.0


@settings(max_examples=40)
@given(
    starts_s=st.lists(st.floats(-1, 6), min_size=1, max_size=8).map(sorted),
    sizes=st.lists(st.integers(1, 1500), min_size=1, max_size=5),
)
def test_excerpts_are_slices_however_the_stream_is_cut(starts_s, sizes):
    samples = np.random.default_rng(1).normal(size=4000).astype(np.float32)
    padded = np.pad(samples, 2000)

    def stream():
        first = 0
        while first < samples.size:
            size = sizes[first % len(sizes)]
            yield PressureBlock(
                pressure_pa=samples[first : first + size].copy(), sample_rate_hz=1000, start=START
            )
            first += size

    excerpts = Excerpts(stream())
    for start_s in starts_s:
        first = round(start_s * 1000) + 2000
        expected = np.pad(padded, (0, 4000))[first : first + 700]
        np.testing.assert_array_equal(excerpts.cut(start_s, 0.7), expected)


def test_memory_holds_no_more_than_a_stretch_and_a_block():
    excerpts = Excerpts(blocks(noise(1, 60)))
    largest = 0
    for start_s in np.arange(0, 58, 1.7):
        excerpts.cut(float(start_s), LOOK_S + 2 * SEARCH_S)
        largest = max(largest, sum(piece.size for piece in excerpts._held))
    assert largest <= 8000 * (LOOK_S + 2 * SEARCH_S) + 2 * 7000
