"""Synthetic level histories: invented sounds on a steady floor, read as a sound level meter would."""

from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import combine, energy, level
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import LevelHistory

STEP_S = 0.0125
STEPS = 10  # of which a tick has ten
START = datetime(2025, 2, 3, 22, 0, tzinfo=UTC)


def _weighted(energies, time_constant_s):
    """Exponential average over steps of constant energy: exact, not sampled."""
    keep = np.exp(-STEP_S / time_constant_s)
    averaged, _ = lfilter([1 - keep], [1, -keep], energies, zi=[keep * energies[0]])
    return averaged


def _levels(values):
    return level(values).astype(np.float32)


class Sounds:
    """A-weighted energies on a grid of 12.5 ms; sounds are laid over each other, dB and seconds."""

    def __init__(self, seconds, background_db=27.0):
        self.energies = np.full(round(seconds / STEP_S), float(energy(background_db)))
        self.rng = np.random.default_rng(2025)

    def _add(self, start_s, levels_db):
        first = round(start_s / STEP_S)
        added = np.atleast_1d(energy(levels_db))[: self.energies.size - first]
        self.energies[first : first + added.size] += added

    def steady(self, start_s, seconds, level_db):
        self._add(start_s, np.full(round(seconds / STEP_S), level_db))
        return self

    def passage(self, start_s, seconds, peak_db, rise_db=25.0):
        """A level that rises by *rise_db* to its peak in the middle and falls again, in straight lines."""
        n = round(seconds / STEP_S)
        self._add(start_s, peak_db - rise_db * np.abs(np.linspace(-1, 1, n)))
        return self

    def slam(self, start_s, laf_db):
        """A burst of 50 ms after which F weighting reads *laf_db* (Eq. 7 of IEC 61672-1: 4.8 dB down)."""
        return self.steady(start_s, 0.05, laf_db - float(level(1 - np.exp(-0.05 / 0.125))))

    def steps(self, start_s, seconds, laf_db, apart_s=0.5):
        for at_s in np.arange(start_s, start_s + seconds, apart_s):
            self.slam(at_s, laf_db)
        return self

    def speech(self, start_s, seconds, low_db, high_db):
        """Syllables of 0.2 s between two levels, with a pause of 0.6 s about every 4 s."""
        n = round(seconds / 0.2)
        syllables_db = self.rng.uniform(low_db, high_db, n)
        for pause in range(10, n - 20, 20):
            syllables_db[pause + self.rng.integers(8) :][:3] = -np.inf
        self._add(start_s, np.repeat(syllables_db, round(0.2 / STEP_S)))
        return self

    def scattered(self, bandwidth_hz):
        """Let all energies scatter as those of Gaussian noise of one bandwidth do."""
        n, degrees = self.energies.size, bandwidth_hz * STEP_S
        if degrees >= 1:
            self.energies = self.energies * self.rng.gamma(degrees, size=n) / degrees
            return self
        lines = np.zeros(n, dtype=complex)
        used = max(1, round(bandwidth_hz * n * STEP_S))
        lines[:used] = self.rng.normal(size=used) + 1j * self.rng.normal(size=used)
        noise = np.abs(np.fft.ifft(lines)) ** 2
        self.energies = self.energies * noise / noise.mean()
        return self

    def history(self, start=START, left_out=(), shape_db=None):
        """Return what the engine would make of it; *shape_db* is the spectrum, by default pink."""
        ticks = self.energies.size // STEPS
        energies = self.energies[: ticks * STEPS]
        fast = _weighted(energies, 0.125).reshape(ticks, STEPS)
        slow = _weighted(energies, 1.0).reshape(ticks, STEPS)
        laeq = _levels(energies.reshape(ticks, STEPS).mean(axis=1))
        shape_db = np.zeros(len(NOMINAL_HZ)) if shape_db is None else np.asarray(shape_db)
        shape_db = shape_db - float(combine(shape_db + band_weighting_db(NOMINAL_HZ)))
        mask = np.zeros(ticks, dtype=bool)
        for first_s, last_s in left_out:
            mask[round(first_s * 8) : round(last_s * 8)] = True
        return LevelHistory(
            start=start,
            sample_rate_hz=48_000.0,
            laeq=laeq,
            lceq=laeq + np.float32(10),
            lzeq=laeq + np.float32(12),
            laf=_levels(fast[:, -1]),
            lafmax=_levels(fast.max(axis=1)),
            lafmin=_levels(fast.min(axis=1)),
            lasmax=_levels(slow.max(axis=1)),
            lcpeak=_levels(energies.reshape(ticks, STEPS).max(axis=1)) + np.float32(20),
            nominal_hz=NOMINAL_HZ,
            bands=(laeq + shape_db[:, np.newaxis]).astype(np.float32),
            left_out=mask,
        )


@pytest.fixture(scope="session")
def sounds():
    """Return the class that builds histories."""
    return Sounds


@pytest.fixture(scope="session")
def from_ticks():
    """Return a function that takes one level a tick for everything that a history holds."""

    def build(levels_db, start=START, left_out=None):
        levels = np.asarray(levels_db, dtype=np.float32)
        names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
        return LevelHistory(
            start=start,
            sample_rate_hz=48_000.0,
            nominal_hz=NOMINAL_HZ,
            bands=np.tile(levels, (len(NOMINAL_HZ), 1)),
            left_out=np.zeros(levels.size, dtype=bool) if left_out is None else np.asarray(left_out),
            **{name: levels.copy() for name in names},
        )

    return build


@pytest.fixture(scope="session")
def larch_court():
    """An invented night, eight hours from 23:00 local time, and the truth about every sound in it."""
    scene = Sounds(8 * 3600)
    for start_s in range(400, 28_000, 1500):  # the condenser: on for 8 of every 25 minutes, 3 to 6 dB up
        scene.steady(start_s, 480, float(level(energy(27 + 3 + start_s % 4) - energy(27))))
    scene.scattered(300.0)
    truth = []

    def put(kind, add, start_s, *numbers):
        before = scene.energies.copy()
        add(start_s, *numbers)
        alone = scene.energies - before
        heard = np.flatnonzero(alone > 0)
        alone = alone[heard[0] : heard[-1] + STEPS]
        truth.append(
            SimpleNamespace(
                kind=kind,
                start_s=start_s,
                end_s=start_s + alone.size * STEP_S,
                lafmax=float(level(_weighted(np.append(0, alone), 0.125).max())),
                lae=float(level(alone.sum() * STEP_S)),
                over_db=float(level(alone.max() / before[heard[0]])),
            )
        )

    for number, start_s in enumerate([*range(300, 6000, 570), *range(22_900, 28_700, 570)]):
        put("tram", scene.passage, start_s, 20 + 3 * (number % 4), 39 + 2 * (number % 5))
    for number, start_s in enumerate([1111, 2345, 7777, 9999, 12_345, 15_555, 20_202, 26_262]):
        put("door", scene.slam, start_s, 42 + 2 * number)
    for number, start_s in enumerate([3333, 8080, 11_000, 24_000]):
        put("steps", scene.steps, start_s, 10 + 6 * number, 40)
    put("television", scene.speech, 6200, 1500, 34, 39)
    put("van", scene.passage, 18_580, 40, 50)
    for number in range(6):
        put("crates", scene.slam, 18_650 + 20 * number, 52)
    truth.sort(key=lambda sound: sound.start_s)
    return SimpleNamespace(history=scene.history(), truth=truth)
