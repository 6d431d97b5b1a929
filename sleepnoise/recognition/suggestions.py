"""Suggestions: what sounds as regular as a clock, a snore or a breath may be. They leave nothing out.

The level of a low and of a high range is compared with itself some seconds later, minute by
minute. A clock's ticks are high, come every half, whole or second second, and keep time for
the whole minute; sleep's breath comes every few seconds, is never quite even, and is low and
rough when it is a snore. Music and steps are regular too: only a person can say what it is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory

Kind = Literal["clock ticking", "snoring", "breathing"]

WINDOW_S = 60
"""Stretch that is looked at, s. Chosen: ten breaths or more, and sixty ticks."""

STEP_S = 30
"""From one stretch to the next, s. Chosen: half a stretch, so that none begins unnoticed."""

LOW_HZ = (63.0, 800.0)
"""Range of snoring. Chosen: most of its energy lies below 500 Hz (common practice, no source)."""

HIGH_HZ = (1250.0, 8000.0)
"""Range of ticks and of breath. Chosen: above voices' and steps' strongest part."""

RISE_LIMIT_DB = 10.0
"""Levels are cut off so far around their median. Chosen: a slam must not decide what a minute is like."""

CLOCK_S = (0.5, 1.0)
"""Periods of clocks, s. Chosen: what quartz and pendulum clocks have most (common practice, no source)."""

CLOCK_LAGS_S = (20.0, 35.0)
"""After so long ticks still have to keep time, s. Chosen: no breath and no walk does."""

KEEPS_TIME = 0.3
"""Least correlation between ticks less that between their pauses. Chosen: noise, speech and drifting levels
came to 0.08 at most in 1500 simulated minutes each; ticks 2 dB over their surroundings have 0.35."""

BREATH_S = (2.5, 6.5)
"""Periods of breath asleep, s. Chosen: 9 to 24 a minute; adults at rest have 12 to 20 (memory, no source)."""

COMES_AGAIN = 0.2
"""Least correlation of breath with the next two less that with the pauses, halved. Chosen: noise, speech and
drifting levels came to 0.18 in one of 100 simulated minutes; breaths 3 dB over theirs have 0.3."""

SHORTER_SHARE = 0.7
"""A shorter period this much as strong is the true one. Chosen: every other step is like the first, too."""

FEWEST_STRETCHES = 4
"""Stretches in a row that must agree. Chosen: two and a half minutes; who walks by takes less."""

BECAUSE: dict[Kind, str] = {
    "clock ticking": "High sounds keep time to the second for minutes; a steady beat of music does so, too.",
    "snoring": "A low sound comes and goes at the pace of breath; a machine that cycles may, too.",
    "breathing": "A rustle comes and goes at the pace of breath; wind and waves may, too.",
}
"""What speaks for each kind, and what else it could be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """What a stretch of the night may have been; nothing is left out because of it.

    Attributes
    ----------
    kind : Kind
    start, end : datetime
        UTC.
    period_s : float, s
        Median.
    strength : float
        Median of how surely the level repeats itself, 0 to 1; see ``KEEPS_TIME`` and ``COMES_AGAIN``.
    because : str
        Why, in one sentence.
    """

    kind: Kind
    start: datetime
    end: datetime
    period_s: float
    strength: float
    because: str


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What one stretch sounds like, if anything."""

    kind: Kind
    period_s: float
    strength: float


def suggestions(history: LevelHistory) -> tuple[Suggestion, ...]:
    """Return what regular sounds of a recording may be, in order of time.

    Parameters
    ----------
    history : LevelHistory
        At least ``WINDOW_S`` of it.
    """
    known = ~history.left_out & np.isfinite(history.laeq)
    low, high = (_range_energy(history, edges) for edges in (LOW_HZ, HIGH_HZ))
    length, step = WINDOW_S * TICKS_PER_SECOND, STEP_S * TICKS_PER_SECOND
    starts = range(0, history.ticks - length + 1, step)
    heard = [
        _stretch(low[first : first + length], high[first : first + length])
        if known[first : first + length].all()
        else None
        for first in starts
    ]
    return tuple(_joined(history, heard, step, length))


def _range_energy(history: LevelHistory, edges_hz: tuple[float, float]) -> FloatArray:
    """Return A-weighted energies of a range, shape (ticks,)."""
    total = np.zeros(history.ticks)
    for place, nominal in enumerate(history.nominal_hz):
        if edges_hz[0] <= nominal <= edges_hz[1]:
            total += energy(history.bands[place] + band_weighting_db((nominal,)))
    return total


def _stretch(low: FloatArray, high: FloatArray) -> _Stretch | None:
    like_high = _like_itself(high)
    ticking = [(_keeps_time(like_high, period_s), period_s) for period_s in CLOCK_S]
    strength, period_s = max(ticking)
    if strength >= KEEPS_TIME:
        return _Stretch("clock ticking", period_s, strength)
    strength, period_s = max(_comes_again(like) for like in (_like_itself(low), like_high))
    if strength < COMES_AGAIN:
        return None
    # A snore is mostly low when it is loud, a quiet breath is mostly a rustle.
    return _Stretch("snoring" if _swing(low) > _swing(high) else "breathing", period_s, strength)


def _swing(energies: FloatArray) -> float:
    """Return by how much the energy goes up and down."""
    return float(np.percentile(energies, 85) - np.percentile(energies, 15))


def _like_itself(energies: FloatArray) -> FloatArray:
    """Return the correlation of a level with itself so many ticks later, shape (ticks,)."""
    levels_db = level(np.maximum(energies, np.finfo(np.float64).tiny))
    levels_db = np.clip(levels_db - np.median(levels_db), -RISE_LIMIT_DB, RISE_LIMIT_DB)
    levels_db -= levels_db.mean()
    n = levels_db.size
    products = np.fft.irfft(np.abs(np.fft.rfft(levels_db, 2 * n)) ** 2)[:n]
    if products[0] <= 0:
        return np.zeros(n)
    return np.asarray(products / products[0] * n / (n - np.arange(n)))


def _keeps_time(like: FloatArray, period_s: float) -> float:
    """Return how much more alike a level is after whole periods than after half ones, long after."""
    period = round(period_s * TICKS_PER_SECOND)
    first, last = (round(lag_s / period_s) for lag_s in CLOCK_LAGS_S)
    whole = np.arange(first, last) * period
    return float(like[whole].mean() - like[whole + period // 2].mean())


def _comes_again(like: FloatArray) -> tuple[float, float]:
    """Return how surely a level repeats itself at the pace of breath, and its period, s."""
    lags = np.arange(round(BREATH_S[0] * TICKS_PER_SECOND), round(BREATH_S[1] * TICKS_PER_SECOND) + 1)
    once, twice, half, between = (like[np.round(lags * times).astype(int)] for times in (1, 2, 0.5, 1.5))
    strength = (once + twice - half - between) / 4
    best = int(strength.argmax())
    period = int(lags[best])
    shorter = like[2 : round(0.75 * period)]
    peaks = shorter[1:-1][(shorter[1:-1] > shorter[:-2]) & (shorter[1:-1] >= shorter[2:])]
    if peaks.size and peaks.max() >= SHORTER_SHARE * like[period]:
        return 0.0, 0.0
    return float(strength[best]), period / TICKS_PER_SECOND


def _joined(
    history: LevelHistory, heard: list[_Stretch | None], step: int, length: int
) -> Iterator[Suggestion]:
    """Yield one suggestion for each run of stretches that sound alike."""
    place = 0
    for kind, run in groupby(heard, key=lambda stretch: None if stretch is None else stretch.kind):
        stretches = list(run)
        alike = [stretch for stretch in stretches if stretch is not None]
        first, place = place, place + len(stretches)
        if kind is None or len(alike) < FEWEST_STRETCHES:
            continue
        period_s = float(np.median([stretch.period_s for stretch in alike]))
        yield Suggestion(
            kind=kind,
            start=history.time_of(first * step),
            end=history.time_of((place - 1) * step + length),
            period_s=period_s,
            strength=float(np.median([stretch.strength for stretch in alike])),
            because=BECAUSE[kind],
        )
