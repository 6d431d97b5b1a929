"""Sound files made for the tests: invented signals, written by the reference library."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

WRITE_FRAMES = 4800
"""Frames in one write. Chosen: writing a long Vorbis file in one call crashes the encoder."""


def write_sound(path: Path, samples, rate_hz=48_000, **form) -> Path:
    """Write samples, shape (frames,) or (frames, channels), in small blocks."""
    samples = np.asarray(samples)
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    with soundfile.SoundFile(path, "w", rate_hz, channels, **form) as file:
        for first in range(0, len(samples), WRITE_FRAMES):
            file.write(samples[first : first + WRITE_FRAMES])
    return path


@pytest.fixture(name="write_sound")
def write_sound_fixture():
    return write_sound


@pytest.fixture(name="make_sound", scope="session")
def make_sound_fixture():
    """Return the same for fixtures that outlive a test."""
    return write_sound


@pytest.fixture
def noise():
    """Return two seconds of white noise at 48 kHz, well below full scale."""
    return np.random.default_rng(20260305).standard_normal(96_000) * 0.05
