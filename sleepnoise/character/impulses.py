"""Impulsive sounds: how suddenly and how far the F-weighted level rises.

Symbols: ``OR`` onset rate in dB/s, ``LD`` level difference in dB, ``P`` prominence,
``KI`` adjustment in dB.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.source import Source
from sleepnoise.character.fast_levels import fast_levels

NT_ACOU_112 = Source(
    document="NT ACOU 112:2002, ISO/PAS 1996-3:2022", place="prominence and adjustment", how_known="library"
)

STEP_MS = 10
"""Distance of the readings of LAF, ms; 10 to 25 are allowed. Source: NT_ACOU_112."""

GRADIENT_DB_S = 10.0
"""A rise must be steeper than this, dB/s. Source: NT_ACOU_112."""

MERGED_BELOW_S = 0.05
"""Onsets closer than this are one, s. Source: NT_ACOU_112."""

LONGEST_S = 30 * 60
"""The most prominent impulse of so long a time decides, s. Source: NT_ACOU_112."""

NOT_ADJUSTED_UP_TO = 5.0
"""Highest prominence without adjustment. Source: NT_ACOU_112."""

ADJUSTED_BY = 1.8
"""Adjustment for each step of prominence above that, dB. Source: NT_ACOU_112."""

HIGHLY_ABOVE_DB = 5.0
"""Adjustment above which a sound is called highly impulsive, dB. Source: NT_ACOU_112."""

ImpulseCategory = Literal["not impulsive", "regular impulsive", "highly impulsive"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """One sudden rise of the level.

    Attributes
    ----------
    start : datetime
        UTC.
    onset_rate_db_s : float, dB/s
        Slope of the straight line that fits the rise best.
    difference_db : float, dB
        Between end and beginning of the rise.
    """

    start: datetime
    onset_rate_db_s: float
    difference_db: float

    @property
    def prominence(self) -> float:
        """``P``."""
        return float(prominence(self.onset_rate_db_s, self.difference_db))

    @property
    def adjustment_db(self) -> float:
        """``KI``, dB."""
        return float(impulse_adjustment_db(self.onset_rate_db_s, self.difference_db))


@dataclass(frozen=True, slots=True, kw_only=True)
class Impulsiveness:
    """How impulsive a stretch is.

    Attributes
    ----------
    seconds : float, s
        Looked at.
    onsets : int
        Rises that are prominent enough for an adjustment.
    decisive : Onset or None
        The most prominent rise; None if the level never rose so steeply.
    adjustment_db : float, dB
        ``KI`` of that one.
    category : ImpulseCategory
    """

    seconds: float
    onsets: int
    decisive: Onset | None
    adjustment_db: float
    category: ImpulseCategory


def prominence(onset_rate_db_s: ArrayLike, difference_db: ArrayLike) -> FloatArray:
    """Return ``P = 3 lg OR + 2 lg LD``; ``-inf`` where nothing rises.

    Examples
    --------
    >>> round(float(prominence(100.0, 10.0)), 1)
    8.0
    """
    with np.errstate(divide="ignore"):
        rate = np.log10(np.maximum(onset_rate_db_s, 0.0))
        return np.asarray(3.0 * rate + 2.0 * np.log10(np.maximum(difference_db, 0.0)))


def impulse_adjustment_db(onset_rate_db_s: ArrayLike, difference_db: ArrayLike) -> FloatArray:
    """Return ``KI``, dB: 0 for what is not prominent, or does not rise by more than 10 dB/s.

    Examples
    --------
    >>> round(float(impulse_adjustment_db(100.0, 10.0)), 1)
    5.4
    """
    over = np.maximum(prominence(onset_rate_db_s, difference_db) - NOT_ADJUSTED_UP_TO, 0.0)
    return np.asarray(np.where(np.asarray(onset_rate_db_s) > GRADIENT_DB_S, ADJUSTED_BY * over, 0.0))


def impulse_category(adjustment_db: float) -> ImpulseCategory:
    """Return what a sound with an adjustment is called."""
    if adjustment_db <= 0:
        return "not impulsive"
    return "highly impulsive" if adjustment_db > HIGHLY_ABOVE_DB else "regular impulsive"


def impulsiveness(pressure: PressureBlock) -> Impulsiveness:
    """Assess the impulses of a stretch of at most 30 min, its most prominent one deciding.

    Parameters
    ----------
    pressure : PressureBlock

    Raises
    ------
    ValueError
        If the stretch is longer.
    """
    if pressure.seconds > LONGEST_S:
        raise ValueError(f"impulses are assessed in at most {LONGEST_S} s, got {pressure.seconds:g} s.")
    return impulses_in([pressure])


def impulses_in(blocks: Iterable[PressureBlock]) -> Impulsiveness:
    """Assess the impulses of blocks that follow each other without a gap, at least one."""
    start: datetime | None = None
    seconds = 0.0

    def told() -> Iterator[PressureBlock]:
        nonlocal start, seconds
        for block in blocks:
            start = start or block.start
            seconds += block.seconds
            yield block

    laf = fast_levels(told(), STEP_MS)
    assert start is not None
    return most_prominent(onsets(laf, start), seconds)


def most_prominent(found: Iterable[Onset], seconds: float) -> Impulsiveness:
    """Return the assessment of rises that were found in some time, s."""
    rises = list(found)
    decisive = max(rises, key=lambda onset: onset.prominence, default=None)
    # Of two as prominent, one may rise too gently to count: the largest adjustment is what matters.
    adjustment_db = max((onset.adjustment_db for onset in rises), default=0.0)
    return Impulsiveness(
        seconds=seconds,
        onsets=sum(onset.adjustment_db > 0 for onset in rises),
        decisive=decisive,
        adjustment_db=adjustment_db,
        category=impulse_category(adjustment_db),
    )


def onsets(laf: FloatArray, start: datetime) -> tuple[Onset, ...]:
    """Find the sudden rises in a level.

    Parameters
    ----------
    laf : ndarray, shape (readings,), dB
        Read every ``STEP_MS``. A rise out of digital silence is not known and gives no onset.
    start : datetime
        Of the first reading, UTC.

    Returns
    -------
    tuple of Onset
        In order of time.
    """
    with np.errstate(invalid="ignore"):
        rises = np.diff(laf) > GRADIENT_DB_S * STEP_MS / 1000
    rises &= np.isfinite(laf[:-1])
    edges = np.diff(np.concatenate([[False], rises, [False]]).astype(np.int8))
    spans: list[tuple[int, int]] = []
    for first, last in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if spans and (first - spans[-1][1]) * STEP_MS / 1000 < MERGED_BELOW_S:
            spans[-1] = (spans[-1][0], int(last))
        else:
            spans.append((int(first), int(last)))
    return tuple(_onset(laf, first, last, start) for first, last in spans)


def _onset(laf: FloatArray, first: int, last: int, start: datetime) -> Onset:
    levels = laf[first : last + 1]
    times_s = np.arange(levels.size) * STEP_MS / 1000
    centred = times_s - times_s.mean()
    return Onset(
        start=start + timedelta(milliseconds=first * STEP_MS),
        onset_rate_db_s=float(centred @ levels / (centred @ centred)),
        difference_db=float(levels[-1] - levels[0]),
    )
