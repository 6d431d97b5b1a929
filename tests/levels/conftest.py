"""Test sounds, a way to have them measured, and a slow meter to compare with."""

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import fftconvolve, firwin

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.levels.engine import LevelEngine, level_history
from tests.fixtures.slow_meter import SlowMeter

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


@pytest.fixture(scope="session")
def slow_meter():
    return SlowMeter
