"""A hum that goes on and off, such as a compressor's: its period, its depth, or that nobody can tell.

The level of every third octave is read in blocks of five seconds, by its median, so that short
sounds do not matter. A band cycles if its readings fall into two groups that lie further apart than
either is wide, and if it changes between them at regular intervals.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory

BLOCK_S = 5
"""Length of a block, s. Chosen: the median of 40 readings does not move with a slam or a word, and a
compressor runs for minutes."""

LEAST_DEPTH_DB = 3.0
"""Least difference between on and off, dB. Chosen: twice the energy; less is lost in other sounds."""

LEAST_SEPARATION = 4.0
"""Least depth, in standard deviations of the readings in the wider group. Chosen: one group of normally
spread readings cut in two in the middle comes to 2.7."""

LEAST_SHARE = 0.02
"""Least part of the readings in either group. Chosen: no compressor runs, or rests, for as little."""

LEAST_CYCLES = 3
"""Whole cycles that a period needs. Chosen: two could be chance."""

MOST_IRREGULAR = 0.3
"""Largest spread of the periods, as a part of the median. Chosen: thermostats keep their time to within a
quarter while nobody opens the door (common practice, no source)."""

LEAST_BLOCKS = 60
"""Blocks needed at all. Chosen: five minutes."""

HYSTERESIS = 1 / 3
"""Part of the depth by which a reading must come near a level to count for it. Chosen: readings in the
middle third are on their way."""

SHORT_RUN = 1 / 3
"""Part of the usual run below which a run is not the hum's. Chosen: a passing vehicle is in the hum's band
for a minute, a compressor's runs are about equally long."""

MOST_MENDED = 0.5
"""Most time that may be put down to other sounds, as a part of the time on, or off. Chosen: if it is more,
those sounds are what was found, and no hum."""

MAD_TO_STANDARD = 1.4826
"""Standard deviation of normally spread values, in median absolute deviations. Source: normal distribution,
1 / 0.6745."""

CycleVerdict = Literal["cycles", "steady", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HumCycle:
    """Whether a hum goes on and off.

    Attributes
    ----------
    verdict : CycleVerdict
    reason : str
        Why nothing can be told; empty otherwise.
    nominal_hz : float, Hz
        Third octave in which the change is plainest; ``nan`` if there is none.
    period_s : float, s
        Median time from one switching on to the next; ``nan`` unless it cycles.
    period_spread_s : float, s
        Standard deviation of these times.
    cycles : int
        Whole cycles that were seen.
    depth_db : float, dB
        Difference of the band's level between on and off; ``nan`` if steady.
    depth_dba : float, dB
        The same for the A-weighted level.
    on_share : float
        Part of the time for which it was on.
    """

    verdict: CycleVerdict
    reason: str
    nominal_hz: float
    period_s: float
    period_spread_s: float
    cycles: int
    depth_db: float
    depth_dba: float
    on_share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """Readings of one band, split into two groups."""

    nominal_hz: float
    readings: FloatArray
    low_db: float
    depth_db: float
    plain: bool


def hum_cycle(history: LevelHistory) -> HumCycle:
    """Look for a hum that goes on and off.

    Parameters
    ----------
    history : LevelHistory
        With its events: a run of a compressor may count as one. Its ``left_out`` is not looked at.

    Returns
    -------
    HumCycle
    """
    laeq = _blocks(history.laeq, history)
    if np.isfinite(laeq).sum() < LEAST_BLOCKS:
        return _without_period("cannot tell", "too little of the recording can be used")
    bands = [
        _split(nominal, _blocks(band, history))
        for nominal, band in zip(history.nominal_hz, history.bands, strict=True)
    ]
    cycles = [_cycle(band, laeq) for band in bands if band.plain]
    if not cycles:
        return _without_period("steady", "")
    # The period that was seen most often, in the band that shows it best.
    return max(cycles, key=lambda found: (found.verdict == "cycles", found.cycles, found.depth_db))


def _blocks(levels_db: NDArray[np.floating], history: LevelHistory) -> FloatArray:
    """Return the median of each block, shape (blocks,), dB; ``nan`` if less than half of it is usable."""
    length = BLOCK_S * TICKS_PER_SECOND
    count = history.ticks // length
    usable = ~history.left_out & np.isfinite(levels_db)
    values = np.where(usable, levels_db, np.nan)[: count * length].reshape(count, length)
    enough = np.isfinite(values).sum(axis=1) * 2 > length
    medians = np.full(count, np.nan)
    medians[enough] = np.nanmedian(values[enough], axis=1)
    return medians


def _split(nominal_hz: float, readings: FloatArray) -> _Band:
    """Split readings where the variance between the groups is largest."""
    ranked = np.sort(readings[np.isfinite(readings)])
    if ranked.size < LEAST_BLOCKS:
        return _Band(nominal_hz=nominal_hz, readings=readings, low_db=np.nan, depth_db=np.nan, plain=False)
    counts = np.arange(1, ranked.size)
    sums = np.cumsum(ranked)
    below, above = sums[:-1] / counts, (sums[-1] - sums[:-1]) / (ranked.size - counts)
    cut = int(np.argmax(counts * (ranked.size - counts) * (above - below) ** 2)) + 1
    low_db, high_db = float(np.median(ranked[:cut])), float(np.median(ranked[cut:]))
    depth_db = high_db - low_db
    # The wider group decides: events are no second level, however far they lie above the first.
    spread_db = max(_spread(ranked[:cut]), _spread(ranked[cut:]))
    enough = min(cut, ranked.size - cut) >= LEAST_SHARE * ranked.size
    plain = enough and depth_db >= max(LEAST_DEPTH_DB, LEAST_SEPARATION * spread_db)
    return _Band(nominal_hz=nominal_hz, readings=readings, low_db=low_db, depth_db=depth_db, plain=plain)


def _spread(values: FloatArray) -> float:
    return MAD_TO_STANDARD * float(np.median(np.abs(values - np.median(values))))


def _cycle(band: _Band, laeq: FloatArray) -> HumCycle:
    heard = _states(band)
    on = ~_without_short_runs(~_without_short_runs(heard))
    known = np.isfinite(band.readings)
    switched_on = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    unknown_before = np.concatenate([[0], np.cumsum(~known)])
    # Where something is left out, a change may have been missed, or be seen too late.
    whole = unknown_before[switched_on[1:]] == unknown_before[switched_on[:-1] - 1]
    periods_s = np.diff(switched_on)[whole] * float(BLOCK_S)
    if periods_s.size < LEAST_CYCLES:
        reason = f"a level that changes by {band.depth_db:.0f} dB was seen to come back fewer than four times"
        return _without_period("cannot tell", reason, band=band, laeq=laeq, on=on, cycles=periods_s.size)
    period_s, spread_s = float(np.median(periods_s)), _spread(periods_s)
    mended = np.mean(on != heard) > MOST_MENDED * min(heard.mean(), 1 - heard.mean())
    if mended or spread_s > MOST_IRREGULAR * period_s:
        reason = f"a level changes by {band.depth_db:.0f} dB, but not at regular intervals"
        return _without_period("cannot tell", reason, band=band, laeq=laeq, on=on, cycles=periods_s.size)
    found = _without_period("cycles", "", band=band, laeq=laeq, on=on, cycles=periods_s.size)
    return replace(found, period_s=period_s, period_spread_s=spread_s)


def _states(band: _Band) -> NDArray[np.bool_]:
    """Return for each block whether the hum is on; what is on its way, or unknown, keeps the state before."""
    height = (band.readings - band.low_db) / band.depth_db
    with np.errstate(invalid="ignore"):
        settled = (height <= HYSTERESIS) | (height >= 1 - HYSTERESIS)
        on = height >= 1 - HYSTERESIS
    last = np.maximum.accumulate(np.where(settled, np.arange(on.size), 0))
    return np.asarray(on[last])


def _without_short_runs(on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return states without the runs that are much shorter than those that most of the time is spent in."""
    edges = np.diff(np.concatenate([[False], on, [False]]).astype(np.int8))
    firsts, lengths = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
    ranked = np.sort(lengths)
    usual = ranked[np.searchsorted(np.cumsum(ranked), ranked.sum() / 2)] if ranked.size else 0
    kept = on.copy()
    for first, length in zip(firsts, lengths, strict=True):
        # Of a run at either end nobody knows how long it was.
        cut_off = first == 0 or first + length == on.size
        kept[first : first + length] = cut_off or length >= SHORT_RUN * usual
    return kept


def _without_period(
    verdict: CycleVerdict,
    reason: str,
    *,
    band: _Band | None = None,
    laeq: FloatArray | None = None,
    on: NDArray[np.bool_] | None = None,
    cycles: int = 0,
) -> HumCycle:
    depth_dba = on_share = float("nan")
    if laeq is not None and on is not None:
        known = np.isfinite(laeq)
        depth_dba = float(np.median(laeq[known & on]) - np.median(laeq[known & ~on]))
        on_share = float(on[known].mean())
    return HumCycle(
        verdict=verdict,
        reason=reason,
        nominal_hz=float("nan") if band is None else band.nominal_hz,
        period_s=float("nan"),
        period_spread_s=float("nan"),
        cycles=cycles,
        depth_db=float("nan") if band is None else band.depth_db,
        depth_dba=depth_dba,
        on_share=on_share,
    )
