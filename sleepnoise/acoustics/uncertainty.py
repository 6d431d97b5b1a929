"""Uncertainty of levels: how contributions add up, and what residual sound and repeats do to it.

Symbols: ``u`` standard uncertainty, ``c`` sensitivity coefficient, ``k`` coverage factor.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray, energy, energy_mean, level
from sleepnoise.acoustics.source import Source

ISO_1996_2 = Source(
    document="ISO 1996-2:2017", place="clause 4, formulae 16 to 19, F.7 to F.9, Annex I", how_known="library"
)

COVERAGE_95 = 2.0
"""k of levels for 95 %. Source: ISO_1996_2."""
COVERAGE_80 = 1.3
"""k of levels for 80 %. Source: ISO_1996_2."""


def combined(contributions_db: ArrayLike) -> float:
    """Return the root of the summed squares of independent contributions ``c u``, dB.

    Examples
    --------
    >>> round(combined([3.0, 4.0]), 6)
    5.0
    """
    return float(np.sqrt(np.sum(np.square(np.asarray(contributions_db, dtype=np.float64)))))


def residual_sensitivities(level_db: ArrayLike, residual_db: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return how a corrected level follows the measured and the residual one: ``c`` of both.

    Parameters
    ----------
    level_db : array_like, dB
        Measured together with the residual sound.
    residual_db : array_like, dB

    Returns
    -------
    tuple of ndarray
        ``nan`` where the residual sound is as loud as everything.

    References
    ----------
    ISO 1996-2:2017, F.7 and F.8.
    """
    share = energy(np.asarray(residual_db, dtype=np.float64) - np.asarray(level_db, dtype=np.float64))
    rest = np.where(share < 1.0, 1.0 - share, np.nan)
    return np.asarray(1.0 / rest), np.asarray(-share / rest)


def residual_uncertainty(
    level_db: float, residual_db: float, level_u_db: float, residual_u_db: float
) -> float:
    """Return the standard uncertainty of a level corrected for residual sound, dB."""
    of_level, of_residual = residual_sensitivities(level_db, residual_db)
    return combined([float(of_level) * level_u_db, float(of_residual) * residual_u_db])


def repeated_levels(levels_db: ArrayLike) -> tuple[float, float]:
    """Return energy mean and standard uncertainty of independent repeats, dB.

    The standard takes the spread of single energies above their mean, not that of the mean: it
    does not shrink with the number of repeats. ``nan`` for less than two.

    References
    ----------
    ISO 1996-2:2017, formulae 17 to 19.
    """
    energies = energy(levels_db)
    mean_db = energy_mean(levels_db)
    if energies.size < 2:
        return mean_db, np.nan
    return mean_db, float(level(np.mean(energies) + np.std(energies, ddof=1))) - mean_db


def residual_from_exceeded(l50_db: float, l90_db: float) -> float:
    """Estimate the residual Leq, dB, from levels exceeded 50 % and 90 % of the time, if normally spread.

    References
    ----------
    ISO 1996-2:2017, Annex I.
    """
    return l50_db + 0.115 * ((l50_db - l90_db) / 1.28) ** 2
