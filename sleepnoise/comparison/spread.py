"""Means over nights: how far nights differ, how well the mean is known, how many nights would do.

Nights are taken as independent draws whose levels are normally spread. Levels that stand for energy
(LAeq) are averaged as energies, which are then log-normal: the level of their mean lies
``0.115 s²`` above the mean level, and how well it is known follows from both. Everything else (maxima,
LA90, counts) is averaged as it is. What all nights share, such as the calibration, is not in these
intervals: it does not shrink with more nights.

Symbols: ``n`` nights, ``s`` standard deviation of their levels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy_mean
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.uncertainty import repeated_levels

GUM = Source(
    document="JCGM 100:2008 (GUM)",
    place="4.2.3 standard uncertainty of a mean, G.3 Student's t, G.4.1 effective degrees of freedom",
    how_known="memory",
)
LOG_NORMAL_MEAN = Source(
    document="Cox's method for the mean of a log-normal variable; Olsson, J. Statistics Education 13 (2005)",
    place="interval with Student's t",
    how_known="memory",
)

CONFIDENCE = 0.95
"""Confidence of every interval. Chosen: that of an expanded uncertainty with k = 2."""

DB_PER_NEPER = float(10.0 / np.log(10.0))
"""Level that belongs to a factor of e in energy, dB. Source: definition of the decibel."""

MOST_NIGHTS = 60
"""Nights beyond which no number is given. Chosen: two months; by then the season has changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanOfNights:
    """One quantity over several nights.

    Attributes
    ----------
    nights : int
        Nights with a known, finite value.
    mean : float
        Energy mean for levels that stand for energy, else arithmetic; ``nan`` without nights.
    lowest, highest : float
    spread : float
        Standard deviation of the nights; ``nan`` for fewer than two.
    iso_u : float, dB
        Standard uncertainty of repeats by ISO 1996-2:2017, (17) to (19), which does not shrink with their
        number; ``nan`` for fewer than two, and for what is not averaged as energy.
    low, high : float
        Confidence interval (95 %) of the mean; ``nan`` for fewer than two.
    """

    nights: int
    mean: float
    lowest: float
    highest: float
    spread: float
    iso_u: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A mean with its standard uncertainty.

    Attributes
    ----------
    centre : float
    u : float
        ``nan`` for fewer than two nights.
    freedom : int
        Degrees of freedom.
    """

    centre: float
    u: float
    freedom: int


def mean_of_nights(values: Sequence[float], *, as_energy: bool) -> MeanOfNights:
    """Return mean, spread and confidence interval of a quantity over nights.

    Parameters
    ----------
    values : sequence of float
        One a night. What is not finite is left out: neither an unknown level nor digital silence is a
        night to be averaged.
    as_energy : bool
        Whether the values are levels that are averaged as energies.

    Examples
    --------
    >>> found = mean_of_nights([30.0, 32.0, 34.0], as_energy=False)
    >>> found.mean, found.spread, round(found.low, 2), round(found.high, 2)
    (32.0, 2.0, 27.03, 36.97)
    """
    known = finite(values)
    if not known.size:
        nothing = float("nan")
        return MeanOfNights(
            nights=0, mean=nothing, lowest=nothing, highest=nothing, spread=nothing, iso_u=nothing,
            low=nothing, high=nothing,
        )  # fmt: skip
    guess = estimate(known, as_energy=as_energy)
    half = t_quantile(guess.freedom) * guess.u if known.size > 1 else float("nan")
    return MeanOfNights(
        nights=int(known.size),
        mean=average(known, as_energy=as_energy),
        lowest=float(known.min()),
        highest=float(known.max()),
        spread=spread_of(known),
        iso_u=repeated_levels(known)[1] if as_energy else float("nan"),
        low=guess.centre - half,
        high=guess.centre + half,
    )


def nights_needed(spread: float, margin: float, *, as_energy: bool, groups: int = 1) -> int | None:
    """Return how many nights would tell a mean from a value, or two means from each other.

    Parameters
    ----------
    spread : float
        Standard deviation of nights, taken to stay as it is.
    margin : float
        Distance to be told.
    as_energy : bool
        Whether means are means of energies.
    groups : {1, 2}
        Two for the difference of two means with as many nights each.

    Returns
    -------
    int or None
        Nights in each group, at least two; None if more than ``MOST_NIGHTS`` are needed or the spread is
        not known.
    """
    for nights in range(2, MOST_NIGHTS + 1):
        u = np.sqrt(groups) * _u_of_mean(spread, nights, as_energy)
        if t_quantile(groups * (nights - 1)) * u < abs(margin):
            return nights
    return None


def more_nights_to_tell(
    mean: MeanOfNights, value: float, *, as_energy: bool, shared_db: float = 0.0
) -> int | None:
    """Return how many more nights would probably tell a mean from a value; 0 if it is told.

    Parameters
    ----------
    mean : MeanOfNights
    value : float
    as_energy : bool
        As for the mean.
    shared_db : float, dB
        Expanded uncertainty that all nights share: no number of nights tells less than that.

    Returns
    -------
    int or None
        None if no number of nights up to ``MOST_NIGHTS`` would, or nothing is known of the spread.
    """
    margin = abs(mean.mean - value) - shared_db
    needed = nights_needed(mean.spread, margin, as_energy=as_energy) if margin > 0 else None
    return None if needed is None else max(needed - mean.nights, 0)


def average(known: FloatArray, *, as_energy: bool) -> float:
    """Return the mean of known values, shape (n,)."""
    return energy_mean(known) if as_energy else float(np.mean(known))


def estimate(known: FloatArray, *, as_energy: bool) -> Estimate:
    """Return the mean behind known values, shape (n,), at least one, with its standard uncertainty."""
    spread = spread_of(known)
    centre = float(np.mean(known))
    if as_energy and known.size > 1:
        centre += spread**2 / (2 * DB_PER_NEPER)
    return Estimate(centre=centre, u=_u_of_mean(spread, known.size, as_energy), freedom=known.size - 1)


def spread_of(known: FloatArray) -> float:
    """Return the standard deviation of nights; ``nan`` for fewer than two."""
    return float(np.std(known, ddof=1)) if known.size > 1 else float("nan")


def finite(values: Sequence[float]) -> FloatArray:
    """Return the finite ones of some values, sorted: the order of nights must not matter to the last bit."""
    array = np.sort(np.asarray(values, dtype=np.float64))
    return np.asarray(array[np.isfinite(array)])


def t_quantile(freedom: float) -> float:
    """Return what standard uncertainties are multiplied by for ``CONFIDENCE``."""
    # Imported late: it takes longer to load than all else here.
    from scipy.stats import t

    return float(t.ppf((1 + CONFIDENCE) / 2, freedom))


def _u_of_mean(spread: float, nights: int, as_energy: bool) -> float:
    if nights < 2:
        return float("nan")
    variance = spread**2 / nights
    if as_energy:
        variance += spread**4 / (2 * DB_PER_NEPER**2 * (nights - 1))
    return float(np.sqrt(variance))
