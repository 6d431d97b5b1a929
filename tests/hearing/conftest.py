"""Sounds as rows of components, the way the standard's annexes describe them."""

from types import SimpleNamespace

import numpy as np
import pytest

from sleepnoise.hearing.excitation import excitations
from sleepnoise.hearing.loudness import specific_loudness, total_sone


def white_noise(lower_hz, upper_hz, density_db):
    """Return components in the middle of steps of 10 Hz."""
    frequency_hz = np.arange(lower_hz + 5.0, upper_hz, 10.0)
    return frequency_hz, np.full(frequency_hz.size, density_db + 10.0)


def uneven_white_noise(lower_hz, upper_hz, density_db):
    """Return few components whose spacing grows with frequency, and their levels with it."""
    edges_hz = np.geomspace(lower_hz, upper_hz, 400)
    return np.sqrt(edges_hz[1:] * edges_hz[:-1]), density_db + 10 * np.log10(np.diff(edges_hz))


def pink_noise(lower_hz, upper_hz, density_db):
    """Return components every 10 Hz; the density is that at 1 kHz."""
    frequency_hz = np.arange(lower_hz, upper_hz + 1.0, 10.0)
    return frequency_hz, density_db + 10.0 - 3.0 * np.log2(frequency_hz / 1000.0)


def third_octaves(nominal_hz, levels_db):
    """Return components of nominal third octaves as in ISO 532-2, 5.5: 10 Hz apart, 1 Hz up to 125 Hz."""
    half = 2 ** (1 / 6)
    frequencies_hz, components_db = [], []
    for middle_hz, level_db in zip(nominal_hz, levels_db, strict=True):
        step_hz = 1.0 if middle_hz <= 125 else 10.0
        first, last = np.ceil(middle_hz / half / step_hz), np.floor(middle_hz * half / step_hz)
        frequencies_hz.append(np.arange(first, last + 1) * step_hz)
        density_db = level_db - 10 * np.log10(middle_hz * (half - 1 / half))
        components_db.append(np.full(frequencies_hz[-1].size, density_db + 10 * np.log10(step_hz)))
    return np.concatenate(frequencies_hz), np.concatenate(components_db)


def sone(frequency_hz, levels_db, field="free"):
    """Return the loudness of components in quiet."""
    (excitation,) = excitations(np.asarray(frequency_hz, float), np.asarray([levels_db], float), field)
    return total_sone(specific_loudness(excitation, np.zeros_like(excitation)))


@pytest.fixture(scope="session")
def components():
    """Return the functions above under one name."""
    return SimpleNamespace(
        white=white_noise,
        uneven_white=uneven_white_noise,
        pink=pink_noise,
        third_octaves=third_octaves,
        sone=sone,
    )
