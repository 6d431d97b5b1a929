"""Statistics of a stretch of level history.

Convention for levels exceeded N % of the time: the F-weighted level is read at the end of
every 125 ms tick; ``LAN`` is the (100 - N)th percentile of those readings, interpolated
linearly between neighbouring ranks (the default of ``numpy.percentile``). Standards leave
sampling and interpolation open, so the convention travels with every result.
"""

import math
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.levels.history import TICK_S, TICKS_TOGETHER, LevelHistory
from sleepnoise.levels.hundredths import LevelArray

PERCENTILE_CONVENTION = "LAF read every 125 ms; (100 - N)th percentile, linear between ranks"
"""How LA10 and its kin are read, for every report."""

EXCEEDED_PERCENT = (1, 5, 10, 50, 90, 95, 99)
"""Percentages of time that are reported. Chosen: those that national night-noise rules ask for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelStatistics:
    """Levels of one stretch of time, dB; ``nan`` where nothing was left to measure.

    Attributes
    ----------
    seconds : float, s
        Length of the stretch.
    left_out_s : float, s
        Part of it that was left out of every figure below.
    laeq, lceq, lzeq, lafmax, lafmin, lasmax, lcpeak, lae : float, dB
    la1, la5, la10, la50, la90, la95, la99 : float, dB
        Levels exceeded N % of the time.
    """

    seconds: float
    left_out_s: float
    laeq: float
    lceq: float
    lzeq: float
    lafmax: float
    lafmin: float
    lasmax: float
    lcpeak: float
    lae: float
    la1: float
    la5: float
    la10: float
    la50: float
    la90: float
    la95: float
    la99: float


def exceeded_levels(laf: LevelArray) -> dict[str, float]:
    """Return ``la1 ... la99`` of F-weighted readings, shape (n,), dB; ``nan`` if there are none."""
    names = [f"la{percent}" for percent in EXCEEDED_PERCENT]
    if laf.size == 0:
        return dict.fromkeys(names, float("nan"))
    if np.isneginf(laf).any():
        # Interpolating between silence and sound has no meaning: take the lower rank.
        levels = np.percentile(laf, [100 - p for p in EXCEEDED_PERCENT], method="lower")
    else:
        ours = laf.astype(np.float64)
        levels = np.percentile(ours, [100 - p for p in EXCEEDED_PERCENT], overwrite_input=True)
    return {name: float(value) for name, value in zip(names, levels, strict=True)}


def level_statistics(history: LevelHistory) -> LevelStatistics:
    """Return the statistics of a whole history; cut it with ``between`` first for a part.

    Parameters
    ----------
    history : LevelHistory

    Returns
    -------
    LevelStatistics
    """
    kept = ~history.left_out
    seconds = float(kept.sum()) * TICK_S
    laeq = _equivalent(history.laeq[kept])
    with np.errstate(divide="ignore"):
        lae = laeq + 10 * float(np.log10(seconds)) if seconds else float("nan")
    return LevelStatistics(
        seconds=history.seconds,
        left_out_s=history.seconds - seconds,
        laeq=laeq,
        lceq=_equivalent(history.lceq[kept]),
        lzeq=_equivalent(history.lzeq[kept]),
        lafmax=_extreme(history.lafmax[kept], highest=True),
        lafmin=_extreme(history.lafmin[kept], highest=False),
        lasmax=_extreme(history.lasmax[kept], highest=True),
        lcpeak=_extreme(history.lcpeak[kept], highest=True),
        lae=lae,
        **exceeded_levels(history.laf[kept]),
    )


def band_equivalent_levels(history: LevelHistory) -> FloatArray:
    """Return equivalent third-octave levels over the stretch, shape (bands,), dB."""
    kept = ~history.left_out
    # One band at a time: a copy of all bands of a night would be as large as the history.
    return np.array([_equivalent(band[kept]) for band in history.bands])


def _equivalent(levels: LevelArray) -> float:
    """Return the level of the mean energy; in pieces, since energies of a night are large."""
    if not levels.size:
        return float("nan")
    pieces = range(0, levels.size, TICKS_TOGETHER)
    total = math.fsum(energy(levels[first : first + TICKS_TOGETHER]).sum() for first in pieces)
    return float(level(total / levels.size))


def _extreme(levels: LevelArray, *, highest: bool) -> float:
    if levels.size == 0:
        return float("nan")
    return float(levels.max() if highest else levels.min())
