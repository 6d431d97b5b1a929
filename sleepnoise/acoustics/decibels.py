"""Decibel arithmetic.

Levels are never added with ``+``. Energies are summed (``combine``) or averaged
(``energy_mean``). Those two verbs cover every sum in this package.

``-inf`` is silence and ``nan`` is *not known*: both survive every function here.

Symbols: ``L`` level in dB, ``p`` sound pressure in Pa, ``p0`` = 20 µPa.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.source import Source

FloatArray = NDArray[np.float64]

ISO_1683 = Source(document="ISO 1683:2015", place="reference value for sound in gases", how_known="library")

REFERENCE_PRESSURE_PA = 20e-6
"""Reference sound pressure in air, 20 µPa. Source: ISO_1683."""


def energy(levels_db: ArrayLike) -> FloatArray:
    """Return ``10^(L/10)``: energies relative to that of 0 dB, same shape as *levels_db*."""
    return np.asarray(10.0 ** (np.asarray(levels_db, dtype=np.float64) / 10.0))


def level(energies: ArrayLike) -> FloatArray:
    """Return ``10 lg(E)`` in dB, same shape; no energy is ``-inf``, never a warning."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(energies, dtype=np.float64)))


def pressure_level(mean_square_pa2: ArrayLike) -> FloatArray:
    """Return the sound pressure level of mean-square pressures.

    Parameters
    ----------
    mean_square_pa2 : array_like, Pa²

    Returns
    -------
    ndarray, same shape, dB re 20 µPa

    Examples
    --------
    >>> round(float(pressure_level(1.0)), 2)
    93.98
    """
    return level(np.asarray(mean_square_pa2, dtype=np.float64) / REFERENCE_PRESSURE_PA**2)


def combine(levels_db: ArrayLike, axis: int | None = None) -> FloatArray:
    """Sum the energies of several sounds heard together.

    Parameters
    ----------
    levels_db : array_like, dB
    axis : int, optional
        Axis to sum over; everything when left out. An empty sum is silence.

    Returns
    -------
    ndarray, dB

    Examples
    --------
    >>> round(float(combine([60.0, 60.0])), 2)
    63.01
    """
    return level(np.sum(energy(levels_db), axis=axis))


def energy_mean(levels_db: ArrayLike, seconds: ArrayLike | None = None) -> float:
    r"""Energy-average levels into one equivalent level.

    Parameters
    ----------
    levels_db : array_like, shape (n,), dB re 20 µPa
        Levels, each steady over its own stretch of time.
    seconds : array_like, shape (n,), s, optional
        Length of each stretch. All equal when left out.

    Returns
    -------
    float, dB re 20 µPa
        :math:`10 \lg \left( \sum t_i 10^{L_i/10} / \sum t_i \right)`.

    Raises
    ------
    ValueError
        If nothing is given, or a stretch is not longer than zero.

    References
    ----------
    ISO 1996-1:2016, definition of the equivalent continuous sound pressure level (memory).

    Examples
    --------
    >>> round(energy_mean([60.0, 30.0]), 1)
    57.0
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    weights = np.ones_like(levels) if seconds is None else np.asarray(seconds, dtype=np.float64)
    if levels.size == 0:
        raise ValueError("energy_mean needs at least one level, got none.")
    if np.any(weights <= 0):
        raise ValueError(f"every stretch must be longer than 0 s, shortest is {weights.min():g} s.")
    return float(level(np.average(energy(levels), weights=weights)))
