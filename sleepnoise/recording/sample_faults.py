"""What samples betray by themselves: peaks cut off flat, sound that is missing, sound that came twice.

Pure functions of one stretch of samples. Every one asks a cheap question first and looks closer
only where the answer is suspicious, because a night has more than a thousand million samples.
Spans are half-open ranges of samples, shape (spans, 2).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Spans = NDArray[np.int64]
Mask = NDArray[np.bool_]

LOUD = 0.25
"""Peaks below this share of full scale are not looked at. Chosen: 12 dB below; a stage that overloads
further down than that is set up so badly that its tone or its levels show it."""

SAME_CEILING = 0.99
"""Peaks within 1 % of the highest belong to the same ceiling. Chosen: a converter's ceiling
does not move; the rest is room for its filter's ripple."""

FLAT_RUN = 3
"""Equal samples in a row that a cut-off peak has. Chosen: by chance once in 10^7 peaks of 16-bit sound."""

TOP_CODE = 0.9999
"""Share of full scale from which two equal samples are enough. Chosen: three steps of 16 bit."""

STEEP_STEPS = 50
"""Steps by which the sound falls beside a cut-off peak, within a run's length. Chosen: a peak of parabola
shape, rounded to steps, falls by 25 at most (its Chebyshev bound for a run of two)."""

NEAR_TOP = 0.9
"""Share of the ceiling that counts as the top of a peak. Chosen: coding with loss lets a cut-off top
ripple by 10 %."""

BLUNT = 0.6
"""Share of a peak's width at half its height that its top takes up, from which it is blunt. Chosen: 0.43 for
a sine, 0.53 if it is 7 % higher than the ceiling; 0.66 for one cut off 2 dB below its peak."""

BLUNT_SAMPLES = 4
"""Samples in a blunt top. Chosen: fewer cannot tell blunt from sharp."""

STRIDE = 8
"""Every so many samples are looked at first. Chosen: eight of them lie in the shortest run."""

SHORTEST_RUN = 64
"""Samples of the shortest dropout or repeat. Chosen: shorter ones move no level by 0.1 dB."""

LONG_RUN = 4096
"""Samples without any change that are silence. Chosen: 85 ms at 48 kHz; no live microphone stays so still."""

JUMP_STEPS = 4
"""Steps by which sound jumps into or out of a dropout. Chosen: slow sound near zero leaves it by one."""

ROW = 512
"""Samples among which one is remembered. Chosen: a buffer of 1024 that comes twice has one in it,
and marking costs half as much as with rows of 128."""

LONGEST_LAG = 8192
"""Longest buffer that is looked for, samples. Chosen: drivers use less."""

LONGEST_LAG_S = 0.2
"""The same, s. Chosen: drivers use less; a signalling tone may come again after half a second."""

CHANGES = 32
"""Times that a repeat must change its value. Chosen: even between two values, that is 2^-32 by chance."""

MOST_REPLAYS = 8
"""Times that a buffer may come again. Chosen: what goes on for longer is a made tone, which has a period."""

BY_CHANCE = 16
"""Samples by which a repeat may be longer than whole buffers. Chosen: of sound of two steps every other
sample agrees by chance; a made tone stops anywhere."""

SHORT_LAGS = (64, 128, 256, 512)
"""Lags tried one by one, samples. Chosen: usual buffers too short for rows."""

MARK = 8
"""Samples that tell one place from another. Chosen: even of sound of two steps they hold 20 bits."""

_MULTIPLIERS = np.array(
    [0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xD6E8FEB86659FD93], np.uint64
)
"""Chosen: odd, with many bits set."""

_EIGHT_TRUE = np.frombuffer(bytes(8 * [1]), dtype=np.uint64)[0]

_NONE: Spans = np.zeros((0, 2), dtype=np.int64)
"""No spans. Chosen: an array like all others."""


@dataclass(frozen=True, slots=True, eq=False)
class Ceiling:
    """What the peaks of one sign in one stretch look like.

    Attributes
    ----------
    height : float
        The highest, as a share of full scale.
    flat, blunt, beyond : ndarray, shape (spans, 2)
        Tops of equal samples; peaks wider at the top than a peak can be; peaks beyond full scale.
    peaks : int
        Peaks that reach the ceiling, blunt or not.
    """

    height: float
    flat: Spans
    blunt: Spans
    beyond: Spans
    peaks: int


def runs_of(mask: Mask) -> Spans:
    """Return the half-open ranges in which a mask is true, shape (runs, 2)."""
    # Packed by hand: the general way would look at every element of a mask that is nearly all false.
    padded = np.concatenate([[False], mask, [False]])
    return np.flatnonzero(padded[1:] != padded[:-1]).astype(np.int64).reshape(-1, 2)


def long_runs(mask: Mask, shortest: int) -> Spans:
    """Return the runs of a mask that are no shorter than some 64, shape (runs, 2).

    Eight elements are read as one, so that masks full of short runs cost no more than others.
    """
    words = mask[: mask.size // 8 * 8].view(np.uint64) == _EIGHT_TRUE
    runs = 8 * runs_of(words)
    runs = runs[runs[:, 1] - runs[:, 0] > shortest - 16]
    if len(runs) == 0:
        return runs
    padded = np.concatenate([np.zeros(8, dtype=np.bool_), mask, np.zeros(8, dtype=np.bool_)])
    eight = np.arange(8)
    before = np.logical_and.accumulate(padded[runs[:, :1] + 7 - eight], axis=1).sum(axis=1)
    after = np.logical_and.accumulate(padded[runs[:, 1:] + 8 + eight], axis=1).sum(axis=1)
    runs = runs + np.stack([-before, after], axis=1)
    return np.asarray(runs[runs[:, 1] - runs[:, 0] >= shortest])


def ceilings(
    samples: Samples, full_scale: float, *, coded_with_loss: bool = False
) -> tuple[Ceiling | None, Ceiling | None]:
    """Return what positive and negative peaks look like; None where there is no loud one.

    Parameters
    ----------
    samples : ndarray, shape (n,), Pa
    full_scale : float, Pa
        What a sample of value 1.0 stands for.
    coded_with_loss : bool
        Whether what lies beyond full scale is the coding's ripple about a lower ceiling.
    """
    if samples.size == 0:
        return None, None
    highest, lowest = float(samples.max()), float(samples.min())

    def ceiling(sign: int, height: float) -> Ceiling | None:
        if height < LOUD * full_scale:
            return None
        top = min(height, full_scale) if coded_with_loss else height
        return _ceiling(samples * np.float32(sign), height, top, full_scale)

    return ceiling(1, highest), ceiling(-1, -lowest)


def _ceiling(samples: Samples, highest: float, top: float, full_scale: float) -> Ceiling:
    blunt, peaks = _blunt_tops(samples, top)
    return Ceiling(
        height=highest / full_scale,
        flat=_flat_tops(samples, highest, full_scale),
        blunt=blunt,
        beyond=runs_of(samples > np.float32(full_scale)) if highest > full_scale else _NONE,
        peaks=peaks,
    )


def _flat_tops(samples: Samples, highest: float, full_scale: float) -> Spans:
    """Return runs of equal samples at the top that sound falls away from too steeply for a peak."""
    top = np.flatnonzero(samples >= np.float32(SAME_CEILING * highest))
    same = (np.diff(top) == 1) & (samples[top[1:]] == samples[top[:-1]])
    runs = runs_of(same)
    if len(runs) == 0:
        return _NONE
    # A run of k equal neighbours is one of k + 1 samples.
    first, last = top[runs[:, 0]], top[runs[:, 1]] + 1
    length = last - first
    height = samples[first]
    beside = np.minimum(
        samples[np.maximum(first - length, 0)], samples[np.minimum(last - 1 + length, samples.size - 1)]
    )
    needed = np.where(height >= TOP_CODE * full_scale, 2, FLAT_RUN)
    kept = (length >= needed) & (height - beside >= STEEP_STEPS * _step(samples))
    return np.stack([first, last], axis=1)[kept]


def _step(samples: Samples) -> float:
    """Return the smallest difference between neighbours: one step of whole-number samples."""
    differences = np.abs(np.diff(samples))
    changed = differences[differences > 0]
    return float(changed.min()) if changed.size else 0.0


def _blunt_tops(samples: Samples, ceiling: float) -> tuple[Spans, int]:
    """Return the peaks too wide at the top for their width at half height, and the number of all."""
    peaks = runs_of(samples >= np.float32(ceiling / 2))
    top = np.append(0, np.cumsum(samples >= np.float32(NEAR_TOP * ceiling)))
    within = top[peaks[:, 1]] - top[peaks[:, 0]]
    width = peaks[:, 1] - peaks[:, 0]
    blunt = (within >= BLUNT_SAMPLES) & (within >= BLUNT * width)
    return peaks[blunt], int(np.count_nonzero(within))


def held_spans(samples: Samples) -> tuple[Spans, Spans]:
    """Return where nothing was recorded: long stretches of one value, short ones of zeros within sound."""
    looked_at = np.ascontiguousarray(samples[::STRIDE])
    if not _has_run(looked_at[1:] == looked_at[:-1], SHORTEST_RUN // STRIDE - 1):
        return _NONE, _NONE
    # A run of k equal neighbours is one of k + 1 samples.
    runs = long_runs(samples[1:] == samples[:-1], SHORTEST_RUN - 1) + np.array([0, 1])
    length = runs[:, 1] - runs[:, 0]
    short = runs[(length >= SHORTEST_RUN) & (length < LONG_RUN) & (samples[runs[:, 0]] == 0)]
    return runs[length >= LONG_RUN], _sudden(samples, short)


def _has_run(mask: Mask, length: int) -> bool:
    """Return whether so many in a row are true."""
    return bytes(length * [1]) in mask.tobytes()


def _sudden(samples: Samples, runs: Spans) -> Spans:
    if len(runs) == 0:
        return runs
    magnitude = np.abs(samples)
    step = float(magnitude[magnitude > 0].min(initial=np.inf))
    before = np.where(runs[:, 0] > 0, magnitude[np.maximum(runs[:, 0] - 1, 0)], 0)
    after = np.where(runs[:, 1] < samples.size, magnitude[np.minimum(runs[:, 1], samples.size - 1)], 0)
    return runs[np.maximum(before, after) >= JUMP_STEPS * step]


def repeated_spans(samples: Samples, sample_rate_hz: float) -> Spans:
    """Return where the samples before come again, bit for bit; what a microphone hears never does.

    Notes
    -----
    The highest sample of every row and its neighbours are a mark. Equal marks tell the
    lag, and then the whole stretch is compared at this lag. What goes on for longer than
    ``MOST_REPLAYS`` buffers, or stops within one, is a made sound such as a test tone, and no fault.
    """
    if samples.size < SHORTEST_RUN:
        return _NONE
    longest = min(LONGEST_LAG, round(LONGEST_LAG_S * sample_rate_hz))
    lags = sorted({*_marked_lags(samples, longest).tolist(), *_short_lags(samples)})
    found = [_NONE]
    periodic = [_NONE]
    for lag in lags:
        runs = _runs_at_lag(samples, lag)
        runs = runs[~_inside(runs, np.concatenate(periodic))]
        length = runs[:, 1] - runs[:, 0]
        whole = (length <= lag) | (length % lag <= BY_CHANCE)
        kept = whole & (length <= MOST_REPLAYS * lag + BY_CHANCE)
        periodic.append(runs[~kept] - [lag, 0])
        found.append(runs[kept])
    return np.concatenate(found)


def _marked_lags(samples: Samples, longest: int) -> NDArray[np.int64]:
    """Return the lags at which a mark comes again."""
    rows = samples.size // ROW
    marks = samples[: rows * ROW].reshape(rows, ROW).argmax(axis=1) + ROW * np.arange(rows)
    first = np.minimum(np.maximum(marks - MARK // 2, 0), samples.size - MARK)
    around = samples.take(first[:, np.newaxis] + np.arange(MARK))
    # Odd multipliers spread the bits; the products wrap around.
    keys = around.view(np.uint64) @ _MULTIPLIERS
    ordered = np.sort(keys)
    if (ordered[1:] != ordered[:-1]).all():
        return np.empty(0, dtype=np.int64)
    still = (around[:, 0] == samples[marks]) & (around[:, -1] == samples[marks])
    order = keys.argsort()
    same = np.flatnonzero((keys[order[1:]] == keys[order[:-1]]) & ~still[order[1:]])
    earlier, later = np.sort(first[[order[same], order[same + 1]]], axis=0)
    near = (later - earlier >= SHORTEST_RUN) & (later - earlier <= longest)
    return _agreeing(samples, earlier[near], later[near])


def _agreeing(samples: Samples, earlier: NDArray[np.int64], later: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the lags between places that are alike for longer than their marks."""
    reach = np.arange(-MARK, 2 * MARK)
    pairs = [samples.take(place[:, np.newaxis] + reach, mode="clip") for place in (earlier, later)]
    return np.asarray((later - earlier)[(pairs[0] == pairs[1]).all(axis=1)])


def _short_lags(samples: Samples) -> list[int]:
    looked_at = np.ascontiguousarray(samples[::STRIDE])
    found = []
    for lag in SHORT_LAGS:
        apart = lag // STRIDE
        if looked_at.size > apart and _has_run(looked_at[apart:] == looked_at[:-apart], apart):
            found.append(lag)
    return found


def _runs_at_lag(samples: Samples, lag: int) -> Spans:
    """Return where at least 64 samples, and with enough life in them, equal those one lag before."""
    runs = long_runs(samples[lag:] == samples[:-lag], SHORTEST_RUN) + lag
    changes = [int(np.count_nonzero(np.diff(samples[first:last]))) for first, last in runs.tolist()]
    return runs[np.array(changes, dtype=np.int64) >= CHANGES]


def _inside(runs: Spans, others: Spans) -> Mask:
    """Return which runs lie within one of some others."""
    within = (runs[:, None, 0] >= others[None, :, 0]) & (runs[:, None, 1] <= others[None, :, 1])
    return np.asarray(within.any(axis=1))
