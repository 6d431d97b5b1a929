"""Invented sounds and level histories for the tests of character."""

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import combine
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import LevelHistory

PUBLISHED = Path(__file__).parents[1] / "published"
START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def published():
    """Return a reader of published values: name -> tables."""
    return lambda name: tomllib.loads((PUBLISHED / f"{name}.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def as_history():
    """Return a maker of histories from band levels, shape (bands, ticks) or (bands,)."""

    def make(bands_db, ticks=None, nominal_hz=NOMINAL_HZ, left_out=None):
        bands = np.array(bands_db, dtype=np.float64)
        bands = bands if bands.ndim == 2 else np.tile(bands[:, None], (1, ticks))
        weighted = {
            kind: combine(bands + band_weighting_db(nominal_hz, kind)[:, None], axis=0).astype(np.float32)
            for kind in "ACZ"
        }
        return LevelHistory(
            start=START,
            sample_rate_hz=48_000,
            laeq=weighted["A"], lceq=weighted["C"], lzeq=weighted["Z"], laf=weighted["A"],
            lafmax=weighted["A"], lafmin=weighted["A"], lasmax=weighted["A"], lcpeak=weighted["C"] + 12,
            nominal_hz=nominal_hz,
            bands=bands.astype(np.float32),
            left_out=np.zeros(bands.shape[1], dtype=np.bool_) if left_out is None else left_out,
        )  # fmt: skip

    return make


@pytest.fixture(scope="session")
def as_pressure():
    """Return a maker of pressure blocks."""

    def make(samples_pa, rate_hz=16_000):
        return PressureBlock(
            pressure_pa=np.asarray(samples_pa, dtype=np.float32), sample_rate_hz=rate_hz, start=START
        )

    return make


@pytest.fixture(scope="session")
def start():
    """Return the instant at which invented sounds begin."""
    return START
