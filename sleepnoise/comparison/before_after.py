"""Before and after a change: how much quieter the nights became, and whether that can be told.

From five nights on both sides on, nights are drawn again and again from those measured, and the spread of the
differences is read off; with fewer, resampling makes intervals that are too narrow, and Student's t
is used. The recorder and its calibration are taken to be the same on both sides: what they are off by
falls out of the difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.comparison.alike import check_alike, check_comparable
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.spread import (
    average,
    estimate,
    finite,
    nights_needed,
    spread_of,
    t_quantile,
)

RESAMPLING = Source(
    document="Efron and Tibshirani, An Introduction to the Bootstrap (1993); "
    "Hesterberg, The American Statistician 69 (2015), expanded percentile interval",
    place="percentile interval of a difference of two means, widened for few values",
    how_known="memory",
)

RESAMPLED_FROM = 5
"""Nights on each side from which on resampling is used. Chosen: with fewer, no resampled mean lies as far
out as the truth may."""

RESAMPLES = 20_000
"""Draws. Chosen: the outermost percentiles that five nights need then rest on twenty draws."""

SEED = 19_960_202
"""Start of the random numbers. Chosen: any fixed one, so that the same nights give the same interval."""

LEAST_CHANGE = 1.0
"""Change that matters, dB or events a night. Chosen: less is within what moving a recorder does, and nobody
hears it from one night to another."""

ChangeWord = Literal["quieter", "louder", "about the same", "cannot tell"]
Method = Literal["resampled", "Student's t", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One quantity after less the same before.

    Attributes
    ----------
    before_nights, after_nights : int
        Nights with a known value.
    before, after : float
        Means.
    difference : float
        After less before; negative is quieter, or less. ``nan`` if a side has no night.
    low, high : float
        Its interval (95 %); ``nan`` if it cannot be told.
    method : Method
        How that was found.
    word : ChangeWord
    more_nights : int or None
        On each side, how many more would probably tell the difference found from none, or one of
        ``LEAST_CHANGE`` if that is larger; 0 if it is told. None if more than two months would not,
        or nothing is known of the spread.
    """

    before_nights: int
    after_nights: int
    before: float
    after: float
    difference: float
    low: float
    high: float
    method: Method
    word: ChangeWord
    more_nights: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeAfter:
    """A change over whole nights.

    Attributes
    ----------
    window_states : tuple of str
        Before and after. If they differ, so does what keeps sound out: the difference is then that of
        the windows and of the change together.
    laeq, lafmax, la90, events : Difference
    partial : tuple of NightFigures
        Left out, because part of the night window was not measured.
    """

    window_states: tuple[str, str]
    laeq: Difference
    lafmax: Difference
    la90: Difference
    events: Difference
    partial: tuple[NightFigures, ...]


def before_and_after(before: Sequence[NightFigures], after: Sequence[NightFigures]) -> BeforeAfter:
    """Compare the nights after a change with those before it.

    Parameters
    ----------
    before, after : sequence of NightFigures
        In any order.

    Raises
    ------
    SettingsError
        If a side has no night or nights that must not be put together; if the sides differ in the hours
        of the night or the kind of level, or share a night.
    """
    check_alike(before)
    check_alike(after)
    check_comparable([*before, *after])

    def compared(name: str, *, as_energy: bool = False) -> Difference:
        sides = ([float(getattr(night, name)) for night in side if night.whole] for side in (before, after))
        return difference_between(*sides, as_energy=as_energy)

    return BeforeAfter(
        window_states=(before[0].window_state, after[0].window_state),
        laeq=compared("laeq", as_energy=True),
        lafmax=compared("lafmax"),
        la90=compared("la90"),
        events=compared("events"),
        partial=tuple(night for night in (*before, *after) if not night.whole),
    )


def difference_between(before: Sequence[float], after: Sequence[float], *, as_energy: bool) -> Difference:
    """Compare a quantity of some nights with that of others.

    Parameters
    ----------
    before, after : sequence of float
        One value a night, in any order. What is not finite is left out.
    as_energy : bool
        Whether the values are levels that are averaged as energies.

    Returns
    -------
    Difference
    """
    sides = finite(before), finite(after)
    means = [average(side, as_energy=as_energy) if side.size else float("nan") for side in sides]
    fewest = min(side.size for side in sides)
    method: Method = "none" if fewest < 2 else "Student's t" if fewest < RESAMPLED_FROM else "resampled"
    low, high = _interval(sides, method, as_energy)
    word = _word(low, high)
    return Difference(
        before_nights=int(sides[0].size),
        after_nights=int(sides[1].size),
        before=means[0],
        after=means[1],
        difference=means[1] - means[0],
        low=low,
        high=high,
        method=method,
        word=word,
        more_nights=0 if word != "cannot tell" else _more_nights(sides, means[1] - means[0], as_energy),
    )


def _interval(sides: tuple[FloatArray, FloatArray], method: Method, as_energy: bool) -> tuple[float, float]:
    if method == "none":
        return float("nan"), float("nan")
    if method == "Student's t":
        return t_interval(*sides, as_energy=as_energy)
    return resampled_interval(*sides, as_energy=as_energy)


def t_interval(before: FloatArray, after: FloatArray, *, as_energy: bool) -> tuple[float, float]:
    """Return the interval of a difference by Student's t, with unequal variances.

    Parameters
    ----------
    before, after : ndarray, shape (n,), (m,)
        At least two values each.
    as_energy : bool
    """
    one, other = (estimate(side, as_energy=as_energy) for side in (before, after))
    variance = one.u**2 + other.u**2
    centre = other.centre - one.centre
    if not variance:
        return centre, centre
    freedom = variance**2 / (one.u**4 / one.freedom + other.u**4 / other.freedom)
    half = t_quantile(freedom) * float(np.sqrt(variance))
    return centre - half, centre + half


def resampled_interval(before: FloatArray, after: FloatArray, *, as_energy: bool) -> tuple[float, float]:
    """Return the interval of a difference by drawing nights again; the same nights give the same one.

    Parameters
    ----------
    before, after : ndarray, shape (n,), (m,)
    as_energy : bool
    """
    generator = np.random.default_rng(SEED)
    means = [_drawn_means(generator, side, as_energy) for side in (before, after)]
    # Few nights have too small a spread: the percentiles move outwards as Student's t does.
    from scipy.stats import norm

    fewest = min(before.size, after.size)
    tail = float(norm.cdf(-np.sqrt(fewest / (fewest - 1)) * t_quantile(fewest - 1)))
    low, high = np.quantile(means[1] - means[0], [tail, 1 - tail])
    return float(low), float(high)


def _drawn_means(generator: np.random.Generator, values: FloatArray, as_energy: bool) -> FloatArray:
    scale = energy(values) if as_energy else values
    drawn = scale[generator.integers(0, values.size, (RESAMPLES, values.size))].mean(axis=1)
    return level(drawn) if as_energy else np.asarray(drawn)


def _word(low: float, high: float) -> ChangeWord:
    if low >= -LEAST_CHANGE and high <= LEAST_CHANGE:
        return "about the same"
    if high < 0:
        return "quieter"
    return "louder" if low > 0 else "cannot tell"


def _more_nights(sides: tuple[FloatArray, FloatArray], difference: float, as_energy: bool) -> int | None:
    spreads = [spread_of(side) for side in sides if side.size > 1]
    if not spreads or np.isnan(difference):
        return None
    spread = float(np.sqrt(np.mean(np.square(spreads))))
    needed = nights_needed(spread, max(abs(difference), LEAST_CHANGE), as_energy=as_energy, groups=2)
    return None if needed is None else max(needed - min(side.size for side in sides), 1)
