"""Masking noise as samples: its spectrum, peaks, steadiness and seam, re-measured by the level engine."""

import itertools
import math
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import combine, energy
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.statistics import band_equivalent_levels, level_statistics
from sleepnoise.masking.masker import masker_shapes, smooth_cover_db
from sleepnoise.masking.synthesis import LOOP_S, MaskerSound, line_amplitudes, masker_blocks, masker_period

BANDS_HZ = np.array(MODEL_BANDS_HZ)
START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
RATE_HZ = 32_000


def peaked_at(hz, lowest_hz):
    """Return the steepest spectrum that may be designed: full steps down from one band."""
    levels_db = smooth_cover_db(np.where(hz == BANDS_HZ, 38.0, -np.inf))
    return Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.where(lowest_hz <= BANDS_HZ, levels_db, -np.inf))


def flat(lowest_hz=100.0, highest_hz=12_500.0):
    inside = (lowest_hz <= BANDS_HZ) & (highest_hz >= BANDS_HZ)
    return Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.where(inside, 28.0, -np.inf))


def sound_of(spectrum, seconds=12.0, **more):
    return MaskerSound(spectrum=spectrum, seconds=seconds, **{"sample_rate_hz": RATE_HZ, **more})


@cache
def flat_period():
    return masker_period(sound_of(flat()))


def measured(samples, rate_hz, spectrum):
    """Return the engine's history of one channel, its level set to that of the spectrum."""
    rms = np.sqrt(np.mean(samples**2))
    pressure_pa = samples / rms * 20e-6 * np.sqrt(energy(combine(spectrum.levels_db)))
    return level_history([PressureBlock(pressure_pa=pressure_pa, sample_rate_hz=rate_hz, start=START)])


SPECTRA = {
    "flat": flat(),
    "peaked at 100 Hz": peaked_at(100.0, 100.0),
    "peaked at 1 kHz": peaked_at(1000.0, 63.0),
    **{
        f"shipped {shape.name}": shape.at(40.0)
        for shape in masker_shapes()
        if shape.name in ("brown", "white")
    },
}


@pytest.mark.parametrize("name", SPECTRA)
def test_the_engine_finds_the_designed_bands_and_a_steady_level(name):
    spectrum = SPECTRA[name]
    samples = masker_period(sound_of(spectrum))
    for channel in samples.T:
        history = measured(channel, RATE_HZ, spectrum)
        statistics = level_statistics(history)
        found_db = band_equivalent_levels(history)[: len(MODEL_BANDS_HZ)]
        # 60 dB below the strongest band the engine's own rounding shows; nobody hears it there.
        counted = spectrum.levels_db > spectrum.levels_db.max() - 60.0
        assert np.abs(found_db - spectrum.levels_db)[counted].max() < 0.5
        assert statistics.la10 - statistics.la90 < 1.0
        assert statistics.laeq == pytest.approx(spectrum.weighted_level("A"), abs=0.3)


def test_peaks_leave_headroom_and_the_crest_is_low():
    samples = flat_period()
    assert np.abs(samples).max() == pytest.approx(0.5)
    crest_db = 20 * np.log10(np.abs(samples).max(axis=0) / np.sqrt(np.mean(samples**2, axis=0)))
    # Gaussian noise of half a million samples would have 14.1 dB, sqrt(2 ln N) (common practice, no source).
    assert (crest_db < 12.6).all()


def test_two_channels_are_uncorrelated_and_equally_loud():
    left, right = masker_period(sound_of(peaked_at(100.0, 100.0))).T
    assert abs(np.corrcoef(left, right)[0, 1]) < 0.05
    assert np.sum(left**2) == pytest.approx(np.sum(right**2), rel=1e-6)


def test_the_end_joins_the_beginning():
    """A seam would spread over all frequencies, into those above the highest band, too."""
    samples = masker_period(sound_of(flat(highest_hz=4000.0), seconds=10.0))[:, 0]
    twice = np.concatenate([samples, samples])
    power = np.abs(np.fft.rfft(twice * np.hanning(twice.size))) ** 2
    line_hz = np.fft.rfftfreq(twice.size, 1 / RATE_HZ)
    outside = power[line_hz > 6000.0].mean() / power[(line_hz > 2000.0) & (line_hz < 4000.0)].mean()
    assert 10 * np.log10(outside) < -80.0


def test_no_line_stands_out():
    """A narrow-band analysis, averaged, finds neighbours of equal strength, and nothing like a tone."""
    samples = flat_period()[:, 0]
    frames = samples[: samples.size // 8192 * 8192].reshape(-1, 8192) * np.hanning(8192)
    power_db = 10 * np.log10(np.mean(np.abs(np.fft.rfft(frames)) ** 2, axis=0))
    line_hz = np.fft.rfftfreq(8192, 1 / RATE_HZ)
    inside = (line_hz > 150.0) & (line_hz < 10_000.0)
    neighbours_db = np.convolve(power_db, np.ones(21) / 21, mode="same")
    # 46 averages scatter by 4.34/sqrt(46) = 0.6 dB; four of that.
    assert (power_db - neighbours_db)[inside].max() < 2.6
    with_tone = power_db.copy()
    with_tone[500] += 6.0
    assert (with_tone - neighbours_db)[500] > 3.0


def test_lines_of_silent_bands_are_silent_and_others_have_no_steps():
    line_hz = np.arange(0, 16_000.0, 0.5)
    amplitude = line_amplitudes(peaked_at(1000.0, 100.0), line_hz)
    assert amplitude[line_hz < 89.0].max() == 0.0
    assert amplitude[line_hz > 14_200.0].max() == 0.0
    sounding = amplitude[(line_hz > 90.0) & (line_hz < 14_000.0)]
    assert np.abs(20 * np.diff(np.log10(sounding))).max() < 0.2


def test_a_long_sound_is_whole_periods_over_and_over():
    sound = sound_of(flat(highest_hz=3150.0), seconds=2.5 * LOOP_S, sample_rate_hz=8_000, channels=1)
    blocks = list(masker_blocks(sound))
    samples = np.concatenate(blocks)
    assert samples.shape == (150 * 8_000, 1)
    assert max(map(len, blocks)) <= 8_000
    first, *others = samples.reshape(3, -1)
    assert all(np.array_equal(first, other) for other in others)


def test_an_endless_sound_goes_on_and_never_ends():
    sound = sound_of(flat(highest_hz=3150.0), seconds=math.inf, sample_rate_hz=8_000)
    blocks = list(itertools.islice(masker_blocks(sound), 130))
    assert sum(map(len, blocks)) == 130 * 8_000
    assert np.array_equal(blocks[0], blocks[60])


def test_fades_begin_and_end_in_silence_and_leave_the_middle_alone():
    form = {"seconds": 10.0, "sample_rate_hz": 8_000}
    plain = np.concatenate(list(masker_blocks(sound_of(flat(highest_hz=3150.0), **form))))
    faded = np.concatenate(list(masker_blocks(sound_of(flat(highest_hz=3150.0), fade_s=2.0, **form))))
    assert (faded[[0, -1]] == 0.0).all()
    assert np.array_equal(faded[16_000:-16_000], plain[16_000:-16_000])
    # Half way up a fade has half its amplitude.
    assert faded[8_000] == pytest.approx(plain[8_000] / 2, rel=1e-9)
    assert faded[-8_001] == pytest.approx(plain[-8_001] / 2, rel=1e-9)


def test_the_seed_decides_which_noise_it_is():
    form = {"seconds": 2.0, "sample_rate_hz": 8_000}
    one, again, other = (
        masker_period(sound_of(flat(highest_hz=3150.0), seed=seed, **form)) for seed in (1, 1, 2)
    )
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize(
    ("changed", "complaint"),
    [
        ({"seconds": 0.5}, "length must be"),
        ({"seconds": math.nan}, "length must be"),
        ({"seconds": 50_000.0}, "length must be"),
        ({"sample_rate_hz": 7_999}, "sampling rate must be"),
        ({"sample_rate_hz": 16_000}, "cannot carry its highest band, which ends at 14125 Hz"),
        ({"channels": 3}, "1 or 2 channels"),
        ({"seed": -1}, "seed must be"),
        ({"fade_s": 15.5}, "fade must be"),
        ({"fade_s": -1.0}, "fade must be"),
        ({"spectrum": Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.full(29, -np.inf))}, "no band that"),
    ],
)
def test_what_makes_no_sense_is_refused(changed, complaint):
    with pytest.raises(SettingsError, match=complaint) as raised:
        MaskerSound(**{"spectrum": flat(), "seconds": 30.0, "sample_rate_hz": 48_000, **changed})
    assert raised.value.remedy
