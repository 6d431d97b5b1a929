"""Third-octave filter shapes: zero phase, and power-complementary from band to band.

Neighbouring bands share one slope at their common edge: what one gives away the other takes,
so the energies of all bands add up to the energy of the sound. The slope is a quarter of a
cosine over a smooth step in the logarithm of frequency: flat top, no energy at all beyond the
slope, and inside the class 1 mask of IEC 61260-1:2014 (Table 1) at every breakpoint.
"""

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz
from sleepnoise.acoustics.decibels import FloatArray

WIDEST_SLOPE = 0.15
"""Largest half width of a slope, in ln f. Chosen: class 1 allows 0.164; wider is shorter in time."""

NARROWEST_SLOPE = 0.05
"""Smallest half width, in ln f. Chosen: lets the 20 kHz band end below 24 kHz."""

SLOPE_HALF_WIDTH_HZ = 42.0
"""Half width aimed at between the two. Chosen: such a slope rings for less than 40 ms, the frames' guard."""

INFRASOUND_EDGE_HZ = 6.0
"""Where LZ begins. Chosen: below the 10 Hz at which the standard first asks for Z, above microphone drift."""

INFRASOUND_SLOPE = 0.4
"""Half width of that lowest slope, in ln f (4.0 to 9.0 Hz). Chosen: rings for about a second, not longer."""


def slope_half_width(edge_hz: float) -> float:
    """Return the half width of the slope at a band edge, in ln f."""
    return min(max(SLOPE_HALF_WIDTH_HZ / edge_hz, NARROWEST_SLOPE), WIDEST_SLOPE)


def bands_within(sample_rate_hz: float) -> tuple[float, ...]:
    """Return the nominal third octaves from 20 Hz up whose upper slope ends below half the rate."""
    upper_hz = band_edges_hz()[1]
    return tuple(
        nominal
        for nominal, edge_hz in zip(NOMINAL_HZ, upper_hz, strict=True)
        if edge_hz * np.exp(slope_half_width(edge_hz)) <= sample_rate_hz / 2
    )


def _passed_angle(frequency_hz: FloatArray, edge_hz: float, half_width: float) -> FloatArray:
    """Return 0 below the slope, pi/2 above it: its sine passes upwards, its cosine downwards."""
    with np.errstate(divide="ignore"):
        position = np.clip(np.log(frequency_hz / edge_hz) / half_width, -1.0, 1.0)
    return np.asarray(np.pi / 4 * (1.0 + np.sin(np.pi / 2 * position)))


def above_edge(frequency_hz: FloatArray, edge_hz: float, half_width: float | None = None) -> FloatArray:
    """Return the amplitude that lies above an edge, 0 to 1, same shape as *frequency_hz*."""
    return np.sin(_passed_angle(frequency_hz, edge_hz, half_width or slope_half_width(edge_hz)))


def below_edge(frequency_hz: FloatArray, edge_hz: float, half_width: float | None = None) -> FloatArray:
    """Return the amplitude that lies below an edge: the power complement of ``above_edge``."""
    angle = _passed_angle(frequency_hz, edge_hz, half_width or slope_half_width(edge_hz))
    # cos(pi/2) is 6e-17 in floating point; beyond its slope a band holds nothing at all.
    return np.where(angle >= np.pi / 2, 0.0, np.cos(angle))


def band_amplitude(frequency_hz: FloatArray, nominal_hz: float) -> FloatArray:
    """Return the amplitude response of one third-octave filter.

    Parameters
    ----------
    frequency_hz : ndarray, Hz
    nominal_hz : float
        One of ``NOMINAL_HZ``.

    Returns
    -------
    ndarray, same shape
        1 in the pass band, 0 beyond the slopes; no phase.
    """
    lower_hz, upper_hz = band_edges_hz((nominal_hz,))[:, 0]
    return above_edge(frequency_hz, float(lower_hz)) * below_edge(frequency_hz, float(upper_hz))


def infrasound_amplitude(frequency_hz: FloatArray) -> FloatArray:
    """Return the amplitude of what LZ takes in below the 20 Hz band; nothing at 0 Hz."""
    upper_hz = float(band_edges_hz()[0, 0])
    begun = above_edge(frequency_hz, INFRASOUND_EDGE_HZ, INFRASOUND_SLOPE)
    return begun * below_edge(frequency_hz, upper_hz)


def remainder_amplitude(frequency_hz: FloatArray, sample_rate_hz: float) -> FloatArray:
    """Return the amplitude of what LZ takes in above the highest band that the rate allows.

    Nothing when the 20 kHz band is among them: LZ then ends with that band.
    """
    highest = bands_within(sample_rate_hz)[-1]
    if highest == NOMINAL_HZ[-1]:
        return np.zeros_like(frequency_hz)
    return above_edge(frequency_hz, float(band_edges_hz((highest,))[1, 0]))


def low_pass_amplitude(frequency_hz: FloatArray, highest_hz: float) -> FloatArray:
    """Return a gentle low-pass: 1 as far as a band has any response, 0 at the last frequency.

    Parameters
    ----------
    frequency_hz : ndarray, Hz
        Rising from 0 to half of the coarse rate.
    highest_hz : float
        Nominal frequency of the highest band that must pass whole.
    """
    edge_hz = float(band_edges_hz((highest_hz,))[1, 0])
    flat_to_hz = edge_hz * np.exp(slope_half_width(edge_hz))
    beyond = np.clip((frequency_hz - flat_to_hz) / (frequency_hz[-1] - flat_to_hz), 0.0, 1.0)
    return np.asarray(np.cos(np.pi / 2 * beyond) ** 2)
