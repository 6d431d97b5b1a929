"""Test sounds: no seams, known spectra, limited peaks; and rooms found again from sweeps."""

import numpy as np
import pytest
from scipy.signal import fftconvolve

from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.excitation import (
    LARGEST_CREST,
    PEAK,
    exponential_sweep,
    impulse_response,
    steady_noise,
)
from sleepnoise.fieldwork.reverberation import band_squared, impulse_decay

FS = 16_000
BAND_HZ = (50.0, 7000.0)


def noise(colour="pink", seconds=8.0, seed=1):
    return steady_noise(np.random.default_rng(seed), seconds, FS, colour, BAND_HZ)


@pytest.mark.parametrize(("colour", "step_db"), [("pink", 0.0), ("white", 1.0)])
def test_third_octaves_of_noise_have_equal_power_if_pink_and_one_decibel_more_each_if_white(colour, step_db):
    thirds = (100.0, 200.0, 400.0, 800.0, 1600.0, 3150.0)
    # The noise goes on and on: three turns, of which the inner one is looked at.
    endless = np.tile(noise(colour), 3)
    inner = slice(8 * FS, 16 * FS)
    levels_db = [10 * np.log10(band_squared(endless, FS, hz)[inner].mean()) for hz in thirds]
    # Three thirds an octave, each 1 dB wider. The amplitudes are fixed, so hardly any spread.
    assert np.diff(levels_db) == pytest.approx(np.full(5, 3 * step_db), abs=0.1)


@pytest.mark.parametrize("colour", ["pink", "white"])
def test_noise_keeps_within_its_peak_and_a_low_crest(colour):
    found = noise(colour)
    assert np.abs(found).max() == pytest.approx(PEAK)
    assert PEAK / np.sqrt(np.mean(found**2)) < 1.05 * LARGEST_CREST


def test_noise_repeats_without_a_seam():
    found = noise("white")
    # At a seam the step between neighbours would stand out of all other steps.
    steps = np.abs(np.diff(found))
    assert abs(found[0] - found[-1]) <= steps.max()
    outside = np.abs(np.fft.rfft(np.tile(found, 2)))
    frequency_hz = np.fft.rfftfreq(2 * found.size, 1 / FS)
    beyond = (frequency_hz < BAND_HZ[0] - 0.1) | (frequency_hz > BAND_HZ[1] + 0.1)
    # A seam is a click and has energy everywhere.
    assert outside[beyond].max() < 1e-6 * outside.max()


def test_the_same_seed_is_the_same_noise_and_another_is_not():
    assert np.array_equal(noise(seed=4), noise(seed=4))
    assert not np.array_equal(noise(seed=4), noise(seed=5))


def test_a_sweep_spends_the_same_time_in_every_octave_and_begins_and_ends_softly():
    sweep = exponential_sweep(4.0, FS, BAND_HZ)
    assert sweep.size == 4 * FS
    assert np.abs(sweep).max() == pytest.approx(PEAK)
    assert abs(sweep[0]) + abs(sweep[-1]) < 1e-3
    energies = [band_squared(sweep, FS, hz).sum() for hz in (125.0, 500.0, 2000.0)]
    assert 10 * np.log10(energies) == pytest.approx(np.full(3, 10 * np.log10(energies[0])), abs=0.3)


@pytest.mark.parametrize("nominal_hz", [250.0, 1000.0, 4000.0])
def test_a_room_is_found_again_from_a_sweep_in_noise_and_with_distortion(nominal_hz):
    rng = np.random.default_rng(7)
    time_s = np.arange(FS) / FS
    room = np.concatenate([np.zeros(400), rng.standard_normal(FS) * 10 ** (-3 * time_s / 0.5)])
    sweep = exponential_sweep(5.0, FS, BAND_HZ)
    heard = fftconvolve(np.concatenate([sweep, np.zeros(2 * FS)]), room)[: 7 * FS]
    heard = heard + 0.01 * heard**2 / heard.std() + 0.02 * heard.std() * rng.standard_normal(heard.size)
    response = impulse_response(heard, sweep, 2 * FS)
    truth = impulse_decay(np.concatenate([room, np.zeros(FS)]), FS, nominal_hz)
    found = impulse_decay(response, FS, nominal_hz)
    assert found.t20_s == pytest.approx(truth.t20_s, rel=0.02)
    assert found.t30_s == pytest.approx(truth.t30_s, rel=0.04)
    # Level and delay come out right, too.
    error = band_squared(response[: room.size] - room, FS, nominal_hz).sum()
    assert error < 0.01 * band_squared(room, FS, nominal_hz).sum()


def test_distortion_lands_outside_the_response_even_if_that_is_as_long_as_the_recording():
    sweep = exponential_sweep(5.0, FS, BAND_HZ)
    heard = np.concatenate([sweep + sweep**2, np.zeros(FS)])
    response = band_squared(impulse_response(heard, sweep, heard.size), FS, 1000.0)
    assert response[FS:].sum() < 1e-3 * response[:FS].sum()


@pytest.mark.parametrize("band_hz", [(0.0, 1000.0), (2000.0, 1000.0), (40.0, 9000.0)])
def test_a_band_that_makes_no_sense_is_refused(band_hz):
    with pytest.raises(SettingsError, match="band must rise"):
        exponential_sweep(4.0, FS, band_hz)
    with pytest.raises(SettingsError, match="band must rise"):
        steady_noise(np.random.default_rng(1), 4.0, FS, band_hz=band_hz)


@pytest.mark.parametrize("seconds", [0.0, 0.1, 4000.0, float("nan")])
def test_a_length_that_makes_no_sense_is_refused(seconds):
    with pytest.raises(SettingsError, match="length must lie between"):
        exponential_sweep(seconds, FS, BAND_HZ)
