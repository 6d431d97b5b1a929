"""Test sounds, a way to have them measured, and a slow meter to compare with.

The slow meter shares nothing with the engine: whole sound at once, float64, sample by sample.
"""

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import scipy.fft
from scipy.signal import butter, fftconvolve, firwin, freqs_zpk, lfilter, sosfilt

from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.levels.engine import LevelEngine, level_history

PUBLISHED = Path(__file__).parents[1] / "published"
START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
ONE_PA_DB = 20 * np.log10(1 / 20e-6)


@pytest.fixture(scope="session")
def iec_61672():
    return tomllib.loads((PUBLISHED / "iec_61672_1_2013.toml").read_text())


@pytest.fixture(scope="session")
def iec_61260():
    return tomllib.loads((PUBLISHED / "iec_61260_1_2014.toml").read_text())


def _block(samples, rate_hz):
    return PressureBlock(pressure_pa=samples, sample_rate_hz=rate_hz, start=START)


@pytest.fixture(scope="session")
def block():
    """Return a function from samples, Pa, and a rate to a block."""
    return _block


@pytest.fixture(scope="session")
def measure():
    """Return a function that has samples, Pa, measured in the pieces that *cuts* make of them."""

    def _measure(samples, rate_hz, *, cuts=(), threads=1):
        with LevelEngine(rate_hz, START, threads=threads) as engine:
            for piece in np.split(np.asarray(samples, dtype=np.float32), sorted(cuts)):
                engine.update(_block(piece, rate_hz))
            return engine.result()

    return _measure


def _faded_tone(frequency_hz, seconds, rate_hz):
    """Return a tone of 1 Pa whose first and last quarter are the halves of a Hann window."""
    samples = round(seconds * rate_hz)
    fade = np.sin(np.pi / 2 * np.arange(samples // 4) / (samples // 4)) ** 2
    tone = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz / rate_hz * np.arange(samples))
    tone[: fade.size] *= fade
    tone[-fade.size :] *= fade[::-1]
    return tone.astype(np.float32)


@pytest.fixture(scope="session")
def hear_tones():
    """Return a function that has tones of 1 Pa measured, one after another.

    It gives every level re the tone's own, dB, as the energy mean over the steady middle:
    a dict with ``bands``, shape (bands, tones), and ``laeq, lceq, lzeq``, shape (tones,),
    and the nominal bands.
    """

    def hear(frequencies_hz, rate_hz, *, seconds=lambda frequency_hz: 1 if frequency_hz > 300 else 4):
        lengths_s = [seconds(frequency_hz) for frequency_hz in frequencies_hz]
        pairs = zip(frequencies_hz, lengths_s, strict=True)
        history = level_history(_block(_faded_tone(f, s, rate_hz), rate_hz) for f, s in pairs)
        ends = 8 * np.cumsum(lengths_s)
        middles = [
            slice(end - 8 * length + 3 * length, end - 3 * length)
            for end, length in zip(ends, lengths_s, strict=True)
        ]
        relative = {
            name: np.stack([_mean_db(getattr(history, name)[..., part]) for part in middles], axis=-1)
            for name in ("laeq", "lceq", "lzeq", "bands")
        }
        return {name: levels - ONE_PA_DB for name, levels in relative.items()}, history.nominal_hz

    return hear


def _mean_db(levels_db):
    with np.errstate(divide="ignore"):
        return 10 * np.log10(np.mean(10 ** (levels_db.astype(np.float64) / 10), axis=-1))


class Sounds:
    """Seeded sounds of about 1 Pa, float32."""

    @staticmethod
    def white(seconds, rate_hz, seed=1):
        return np.random.default_rng(seed).standard_normal(round(seconds * rate_hz)).astype(np.float32)

    @staticmethod
    def pink(seconds, rate_hz, seed=1):
        """Noise with as much energy in every band from 10 Hz up."""
        samples = round(seconds * rate_hz)
        lines = np.fft.rfft(np.random.default_rng(seed).standard_normal(samples))
        frequency_hz = np.fft.rfftfreq(samples, 1 / rate_hz)
        lines *= np.where(frequency_hz >= 10, 1 / np.sqrt(np.maximum(frequency_hz, 10)), 0.0)
        noise = np.fft.irfft(lines, n=samples)
        return (noise / noise.std()).astype(np.float32)

    @staticmethod
    def tone(seconds, rate_hz, frequency_hz=1000.0):
        time_s = np.arange(round(seconds * rate_hz)) / rate_hz
        return (np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * time_s)).astype(np.float32)

    @staticmethod
    def impulses(seconds, rate_hz):
        """Clicks of either sign, one every 0.7 s or so, never twice at the same place of a tick.

        Limited to 0.43 of the sampling rate, as recorders do: at half the rate itself, weightings
        would have to jump from one phase to its opposite.
        """
        samples = np.zeros(round(seconds * rate_hz))
        places = (np.arange(0.311, seconds - 0.1, 0.7127) * rate_hz).astype(int)
        samples[places] = 30.0 * (-1.0) ** np.arange(places.size)
        limiter = firwin(255, 0.43, window=("kaiser", 10.0), fs=1.0)
        return fftconvolve(samples, limiter, mode="same").astype(np.float32)

    @staticmethod
    def sweep(seconds, rate_hz, first_hz, last_hz):
        """An exponential sweep: as long in every band."""
        time_s = np.arange(round(seconds * rate_hz)) / rate_hz
        growth = np.log(last_hz / first_hz) / seconds
        return (np.sqrt(2) * np.sin(2 * np.pi * first_hz * np.expm1(growth * time_s) / growth)).astype(
            np.float32
        )


@pytest.fixture(scope="session")
def sounds():
    return Sounds


class SlowMeter:
    """The same quantities, straight from their definitions."""

    POLES_HZ = (20.598997, 20.598997, 12194.217, 12194.217)  # IEC 61672-1:2013, Annex E (library)
    A_POLES_HZ = (107.65265, 737.86223)

    def __init__(self, samples, rate_hz):
        self.samples, self.rate_hz = samples.astype(np.float64), rate_hz
        tick_of = np.arange(samples.size) * 8 // rate_hz
        self._whole = samples.size * 8 // rate_hz
        self._tick_of = tick_of

    def weighted(self, weighting):
        """Return the weighted sound: the analogue filter's response to what the samples stand for."""
        poles = self.POLES_HZ + (self.A_POLES_HZ if weighting == "A" else ())
        zeros = [0.0] * (4 if weighting == "A" else 2)
        system = zeros, [-2 * np.pi * pole for pole in poles], 1.0
        length = scipy.fft.next_fast_len(self.samples.size + self.rate_hz, real=True)
        frequency_hz = scipy.fft.rfftfreq(length, 1 / self.rate_hz)
        _, response = freqs_zpk(*system, 2 * np.pi * frequency_hz)
        _, at_1_khz = freqs_zpk(*system, [2 * np.pi * 1000.0])
        spectrum = scipy.fft.rfft(self.samples, n=length) * response / abs(at_1_khz)
        return scipy.fft.irfft(spectrum, n=length)[: self.samples.size]

    def equivalent_db(self, sound):
        """Return the equivalent level of every whole tick."""
        sums = np.bincount(self._tick_of, weights=sound**2)[: self._whole]
        return pressure_level(sums / np.bincount(self._tick_of)[: self._whole])

    def peak_db(self, sound):
        peaks = np.zeros(self._tick_of[-1] + 1)
        np.maximum.at(peaks, self._tick_of, np.abs(sound))
        return pressure_level(peaks[: self._whole] ** 2)

    def detected_db(self, sound, time_constant_s):
        """Return level at the end, highest and lowest of every whole tick, shape (3, ticks).

        Before the first sample it is taken to have been as loud as in the first tick.
        """
        kept = np.exp(-1 / (self.rate_hz * time_constant_s))
        before = np.mean(sound[self._tick_of == 0] ** 2)
        mean_square, _ = lfilter([1 - kept], [1, -kept], sound**2, zi=[kept * before])
        edges = np.searchsorted(self._tick_of, np.arange(self._whole + 1))
        return pressure_level(
            [
                mean_square[edges[1:] - 1],
                np.maximum.reduceat(mean_square[: edges[-1]], edges[:-1]),
                np.minimum.reduceat(mean_square[: edges[-1]], edges[:-1]),
            ]
        )

    def band_db(self, lower_hz, upper_hz):
        """Return the level in a band over the whole sound, by a Butterworth band-pass of 16 poles.

        Such a filter passes more noise than an ideal one by (pi/16) / sin(pi/16), which is taken off.
        """
        filtered = sosfilt(
            butter(8, [lower_hz, upper_hz], "bandpass", fs=self.rate_hz, output="sos"), self.samples
        )
        excess = (np.pi / 16) / np.sin(np.pi / 16)
        return float(pressure_level(np.mean(filtered**2) / excess))


@pytest.fixture(scope="session")
def slow_meter():
    return SlowMeter
