"""One-third-octave bands on the base-ten grid.

Every calculation uses the *exact* mid-band frequency; the nominal one is a name for people.
"""

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source

IEC_61260_1 = Source(
    document="IEC 61260-1:2014", place="5.2-5.5 mid-band and band-edge frequencies", how_known="library"
)

OCTAVE_RATIO = 10.0**0.3
"""Nominal octave frequency ratio G of the base-ten system. Source: IEC_61260_1."""

NOMINAL_HZ = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0,
    800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0,
    16000.0, 20000.0,
)  # fmt: skip
"""Nominal mid-band frequencies 20 Hz to 20 kHz. Source: IEC_61260_1."""


def exact_hz(nominal_hz: float) -> float:
    """Return the exact mid-band frequency ``10^(n/10)`` Hz that a nominal one stands for.

    Examples
    --------
    >>> round(exact_hz(31.5), 3)
    31.623
    """
    return float(10.0 ** (round(10.0 * np.log10(nominal_hz)) / 10.0))


def mid_band_hz(nominal_hz: tuple[float, ...] = NOMINAL_HZ) -> FloatArray:
    """Return exact mid-band frequencies, shape (bands,), Hz."""
    return np.array([exact_hz(nominal) for nominal in nominal_hz])


def band_edges_hz(nominal_hz: tuple[float, ...] = NOMINAL_HZ) -> FloatArray:
    """Return lower and upper edges ``f_m G^(∓1/6)``, shape (2, bands), Hz."""
    middle_hz = mid_band_hz(nominal_hz)
    return np.stack([middle_hz * OCTAVE_RATIO ** (-1 / 6), middle_hz * OCTAVE_RATIO ** (1 / 6)])


def band_label(nominal_hz: float) -> str:
    """Return the band's name for people and column heads: ``"31.5"``, ``"1000"``."""
    return f"{nominal_hz:g}"
