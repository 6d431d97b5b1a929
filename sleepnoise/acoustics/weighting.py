"""Frequency weightings A and C, exactly as the standard's formula gives them.

The formula has poles on the negative real axis only, so the analogue response with its
phase follows from the same four frequencies.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.bands import mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source

ComplexArray = NDArray[np.complex128]
Weighting = Literal["A", "C", "Z"]

IEC_61672_1 = Source(document="IEC 61672-1:2013", place="Annex E, formulae E.1 to E.8", how_known="library")

LOW_POLE_HZ = 20.598997058
"""f1, double pole of A and C. Source: IEC_61672_1."""
A_LOWER_POLE_HZ = 107.652648643
"""f2, pole of A. Source: IEC_61672_1."""
A_UPPER_POLE_HZ = 737.862230736
"""f3, pole of A. Source: IEC_61672_1."""
HIGH_POLE_HZ = 12194.217148
"""f4, double pole of A and C. Source: IEC_61672_1."""
NORMALISING_HZ = 1000.0
"""Every weighting is 0 dB here. Source: IEC_61672_1."""


def _unnormalised(frequency_hz: FloatArray, weighting: Weighting) -> ComplexArray:
    s = 1j * frequency_hz
    if weighting == "Z":
        return np.ones_like(s)
    c_response = s**2 / ((s + LOW_POLE_HZ) ** 2 * (s + HIGH_POLE_HZ) ** 2)
    if weighting == "C":
        return np.asarray(c_response)
    return np.asarray(c_response * s**2 / ((s + A_LOWER_POLE_HZ) * (s + A_UPPER_POLE_HZ)))


def weighting_response(frequency_hz: ArrayLike, weighting: Weighting) -> ComplexArray:
    """Return the complex analogue response of a weighting.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    weighting : {"A", "C", "Z"}

    Returns
    -------
    ndarray, same shape, complex
        Pressure ratio; magnitude 1 at 1 kHz.
    """
    frequencies = np.asarray(frequency_hz, dtype=np.float64)
    at_1_khz = abs(complex(_unnormalised(np.array(NORMALISING_HZ), weighting)))
    return np.asarray(_unnormalised(frequencies, weighting) / at_1_khz)


def weighting_db(frequency_hz: ArrayLike, weighting: Weighting) -> FloatArray:
    """Return a weighting in dB at any frequencies, same shape; ``-inf`` at 0 Hz for A and C.

    Examples
    --------
    >>> round(float(weighting_db(10_000.0, "A")), 1)
    -2.5
    """
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(weighting_response(frequency_hz, weighting))))


def band_weighting_db(nominal_hz: tuple[float, ...], weighting: Weighting = "A") -> FloatArray:
    """Return a weighting at the exact mid-band frequencies, shape (bands,), dB."""
    return weighting_db(mid_band_hz(nominal_hz), weighting)
