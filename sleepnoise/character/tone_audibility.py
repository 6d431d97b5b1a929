"""How audible a tone is in the noise around it, and what is added to a level for it.

Symbols: ``LT`` level of the tone, ``LG`` level of the noise in its critical band, ``av`` how far
below that a tone is just heard, ``ΔL = LT - LG - av`` the audibility, ``KT`` the adjustment.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source

ISO_20065 = Source(
    document="ISO/PAS 20065:2016",
    place="critical bandwidth, masking index and audibility; checked by the examples of Annex E",
    how_known="library",
)
ISO_1996_2_J = Source(document="ISO 1996-2:2017", place="Annex J, Table J.1", how_known="library")
ISO_1996_2_C = Source(document="ISO 1996-2:2007", place="Annex C, C.2.4", how_known="library")

STEPS_J = ((0.0, 0), (2.0, 1), (4.0, 2), (6.0, 3), (9.0, 4), (12.0, 5), (np.inf, 6))
"""Highest mean audibility, dB, and the adjustment up to it, dB. Source: ISO_1996_2_J."""

COARSE_STEPS_J = ((2.0, 0), (9.0, 3), (np.inf, 6))
"""The same in its short form. Source: ISO_1996_2_J."""

RAMP_C = (4.0, 10.0)
"""Audibilities between which the adjustment of the edition before rises from 0 to 6 dB, dB.
Source: ISO_1996_2_C."""

TOGETHER_BELOW_HZ = 1000.0
"""Below it, two tones of one critical band may be heard apart, Hz. Source: ISO_20065."""


def critical_band_hz(tone_hz: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the edges of the critical band around a tone, whose geometric mean is the tone, Hz.

    Examples
    --------
    >>> lower_hz, upper_hz = critical_band_hz(1000.0)
    >>> round(float(upper_hz - lower_hz))
    162
    """
    tone = np.asarray(tone_hz, dtype=np.float64)
    width_hz = 25.0 + 75.0 * (1.0 + 1.4 * (tone / 1000.0) ** 2) ** 0.69
    lower_hz = (np.sqrt(width_hz**2 + 4.0 * tone**2) - width_hz) / 2.0
    return np.asarray(lower_hz), np.asarray(lower_hz + width_hz)


def masking_index_db(tone_hz: ArrayLike) -> FloatArray:
    """Return ``av``: level of a tone that is just heard, less that of the noise in its critical band, dB."""
    return np.asarray(-2.0 - np.log10(1.0 + (np.asarray(tone_hz, dtype=np.float64) / 502.0) ** 2.5))


def band_noise_db(line_noise_db: ArrayLike, tone_hz: ArrayLike, spacing_hz: float) -> FloatArray:
    """Return the level of the noise in a tone's critical band, dB.

    Parameters
    ----------
    line_noise_db : array_like, dB
        Mean level of the noise in one line of the spectrum.
    tone_hz : array_like, Hz
    spacing_hz : float, Hz
        Of the lines.
    """
    lower_hz, upper_hz = critical_band_hz(tone_hz)
    return np.asarray(np.asarray(line_noise_db) + 10.0 * np.log10((upper_hz - lower_hz) / spacing_hz))


def audibility_db(tone_db: ArrayLike, noise_db: ArrayLike, tone_hz: ArrayLike) -> FloatArray:
    """Return the audibility of a tone in the noise of its critical band, dB; above 0 it is heard.

    Examples
    --------
    >>> round(float(audibility_db(54.1, 45.2, 430.0)), 1)
    11.1
    """
    return np.asarray(np.asarray(tone_db) - np.asarray(noise_db) - masking_index_db(tone_hz))


def heard_apart_hz(tone_hz: float) -> float:
    """Return how far two tones below 1 kHz must lie apart to be heard as two, Hz.

    Parameters
    ----------
    tone_hz : float, Hz
        The more audible of the two.
    """
    return float(21.0 * 10.0 ** (1.2 * abs(np.log10(tone_hz / 212.0)) ** 1.8))


def tone_adjustment_db(audibility: float, steps: tuple[tuple[float, int], ...] = STEPS_J) -> float:
    """Return the adjustment for a mean audibility, dB; ``nan`` if that is not known.

    Examples
    --------
    >>> tone_adjustment_db(6.0), tone_adjustment_db(6.01), tone_adjustment_db(6.01, COARSE_STEPS_J)
    (3.0, 4.0, 3.0)
    """
    if np.isnan(audibility):
        return float("nan")
    return float(next(add_db for highest_db, add_db in steps if audibility <= highest_db))


def ramp_adjustment_db(audibility: float) -> float:
    """Return the adjustment by the edition of 2007, to which older rules refer, dB."""
    lowest_db, highest_db = RAMP_C
    return float(np.clip(audibility, lowest_db, highest_db) - lowest_db)
