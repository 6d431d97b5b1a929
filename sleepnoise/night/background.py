"""The moving background: the level that the room always comes back to.

The night is read in blocks of a few seconds. The LA90 of a block is its floor: speech, steps
and slams do not lift it, only sounds without pauses do. A morphological opening (a running
minimum, then a running maximum) takes away every rise of the floor that is over before
``steady_s``; what is left has sharp edges, so a background that switches is followed on the
spot. A rise too high for that is kept out until it has stayed up for ``max_length_minutes``.
All of it costs time in proportion to the length of the night.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.levels.hundredths import LevelArray
from sleepnoise.night.event_settings import EventSettings

BLOCK_S = 5
"""Length of a block, s. Chosen: holds a pause of speech in nearly every case, and 40 readings for an LA90."""

F_AVERAGING = Source(
    document="IEC 61672-1:2013",
    place="time weighting F, 0.125 s; an exponential average scatters like a mean over two time constants",
    how_known="memory",
)
F_AVERAGING_S = 0.25
"""Averaging time that F weighting stands for, s. Source: F_AVERAGING."""
SCATTER_DB = 4.34
"""Standard deviation of the level of Gaussian noise at BT = 1, ``10 lg e``, dB. Source: F_AVERAGING."""
LA90_BELOW_MEDIAN = 1.2816
"""Standard deviations from LA90 up to LA50 of normally distributed levels. Source: F_AVERAGING."""

FLAT_BLOCKS = 5
"""Blocks of one level that are no slope, 25 s. Chosen: a quiet between two sounds; on the slope of a passage
the level changes by more than the background wanders in that time."""

MOST_LIVELY_DB = 1.25
"""Most scatter that is taken for the background's own though its spectrum does not explain it, dB. Chosen:
steady rain, fans and distant roads scatter by less; talk and music by more, and must not hide themselves."""

BLOCK_TICKS = BLOCK_S * TICKS_PER_SECOND
"""Length of a block, ticks. Chosen: see BLOCK_S."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MovingBackground:
    """What a sound has to stand out from, tick by tick.

    Attributes
    ----------
    level_db : ndarray, shape (ticks,), dB
        Moving LA90 of the block; ``nan`` when the recording holds no usable sound at all.
    upper_db : ndarray, shape (ticks,), dB
        The highest of a block and its neighbours. Events are measured against it, because a
        block in which a hum switches has the level before or after, whichever is lower.
    scatter_db : ndarray, shape (ticks,), dB
        Standard deviation by which F-weighted levels scatter though the background is steady.
    """

    level_db: FloatArray
    upper_db: FloatArray
    scatter_db: FloatArray


def usable_ticks(history: LevelHistory) -> MaskArray:
    """Return which ticks hold sound that counts: not left out, not digital silence, not unknown."""
    return ~history.left_out & np.isfinite(history.laeq) & np.isfinite(history.laf)


def moving_background(history: LevelHistory, settings: EventSettings) -> MovingBackground:
    """Return the background of a recording at every tick.

    Parameters
    ----------
    history : LevelHistory
    settings : EventSettings

    Returns
    -------
    MovingBackground
        The first minutes take their background from themselves; stretches without usable
        sound keep the one before.
    """
    usable = usable_ticks(history)
    if not usable.any():
        unknown = np.full(history.ticks, np.nan)
        return MovingBackground(level_db=unknown, upper_db=unknown, scatter_db=unknown)
    la90, la50 = _block_levels(np.where(usable, history.laf, np.nan))
    followed = _followed(_without_short_rises(_held(la90), settings), settings)
    scatter = _scatter(history, usable, (la50 - la90) / LA90_BELOW_MEDIAN, settings)
    by_block = (followed, ndimage.maximum_filter1d(followed, 3, mode="nearest"), scatter)
    level_db, upper_db, scatter_db = (np.repeat(values, BLOCK_TICKS)[: history.ticks] for values in by_block)
    return MovingBackground(level_db=level_db, upper_db=upper_db, scatter_db=scatter_db)


def _in_blocks(values: NDArray[np.floating], fill: float) -> FloatArray:
    """Return values of ticks as shape (blocks, ticks in a block), the last block filled up."""
    missing = -values.size % BLOCK_TICKS
    return np.pad(values.astype(np.float64), (0, missing), constant_values=fill).reshape(-1, BLOCK_TICKS)


def _block_levels(laf: LevelArray) -> tuple[FloatArray, FloatArray]:
    """Return LA90 and LA50 of each block, read like those of any stretch; ``nan`` if it has no reading."""
    ranked = np.sort(_in_blocks(laf, np.nan), axis=1)  # nan comes last
    readings = np.isfinite(ranked).sum(axis=1)
    found = []
    for share in (0.1, 0.5):
        rank = share * np.maximum(readings - 1, 0)
        lower = rank.astype(np.int64)
        pair = np.stack([lower, np.minimum(lower + 1, np.maximum(readings - 1, 0))], axis=1)
        levels = np.take_along_axis(ranked, pair, axis=1)
        found.append(levels[:, 0] + (rank - lower) * (levels[:, 1] - levels[:, 0]))
    return found[0], found[1]


def _held(floor: FloatArray) -> FloatArray:
    """Return the floor with unknown blocks taking the last known one, or the first that comes."""
    known = np.isfinite(floor)
    last = np.maximum.accumulate(np.where(known, np.arange(floor.size), -1))
    return floor[np.where(last < 0, np.argmax(known), last)]


def _blocks_in(seconds: float) -> int:
    return max(1, round(seconds / BLOCK_S))


def _without_short_rises(floor: FloatArray, settings: EventSettings) -> FloatArray:
    # Mirrored at both ends: what is cut off there is taken to go on for as long again.
    length = 2 * (_blocks_in(settings.steady_s) // 2) + 1
    return np.asarray(ndimage.grey_opening(floor, size=(length,), mode="reflect"))


def _followed(steady: FloatArray, settings: EventSettings) -> FloatArray:
    """Return the floor as far as it is background: falls and small rises at once, others when they stay."""
    # What lies just before and after decides too: the slopes of a long loud sound are no small rises.
    around = ndimage.maximum_filter1d(steady, 2 * _blocks_in(settings.steady_s) + 1, mode="nearest")
    # But a hum that came on behind a loud sound is level between it and the next.
    plateau = _plateau(steady, settings.same_background_db)
    memory = _blocks_in(60 * settings.background_minutes)
    patience = _blocks_in(60 * settings.max_length_minutes)
    followed = [float(steady[:memory].min())]
    waited = 0
    for now, near, flat in zip(steady.tolist(), around.tolist(), plateau.tolist(), strict=True):
        highest = min(followed[-memory:]) + settings.steady_step_db
        risen = now <= highest and flat > followed[-1] + settings.same_background_db
        if now <= followed[-1] or near <= highest or risen:
            waited = 0
            followed.append(now)
        else:
            waited += 1
            followed.append(now if waited > patience else followed[-1])
    return np.array(followed[1:])


def _plateau(steady: FloatArray, within_db: float) -> FloatArray:
    """Return the lowest floor of a row of nearly the same that a block belongs to; ``-inf`` on slopes."""
    lowest = ndimage.minimum_filter1d(steady, FLAT_BLOCKS, mode="nearest")
    highest = ndimage.maximum_filter1d(steady, FLAT_BLOCKS, mode="nearest")
    rows = np.where(highest - lowest <= within_db, lowest, -np.inf)
    return np.asarray(ndimage.maximum_filter1d(rows, FLAT_BLOCKS, mode="nearest"))


def _scatter(
    history: LevelHistory, usable: MaskArray, seen_db: FloatArray, settings: EventSettings
) -> FloatArray:
    """Return the scatter of a steady background in each block, shape (blocks,), dB.

    What the background's spectrum explains, ``4.34 / sqrt(B T)`` with the bandwidth B of its
    A-weighted bands together, but never more than was seen: tones do not scatter. What was
    seen all the time for longer than any event counts too, if it is no more than
    ``MOST_LIVELY_DB``: drops of rain and gusts of a fan scatter more than noise does.
    """
    widths_hz = np.diff(band_edges_hz(history.nominal_hz), axis=0)[0]
    total = np.zeros(seen_db.size)
    per_hz = np.zeros(seen_db.size)
    for band, weight_db, width_hz in zip(
        history.bands, band_weighting_db(history.nominal_hz), widths_hz, strict=True
    ):
        heard = np.where(usable & np.isfinite(band), energy(band + weight_db), 0.0)
        in_block = _in_blocks(heard, 0.0).sum(axis=1)
        total += in_block
        per_hz += in_block**2 / width_hz
    explained_db = np.zeros(total.size)
    np.divide(SCATTER_DB * np.sqrt(per_hz), total * F_AVERAGING_S**0.5, out=explained_db, where=total > 0)
    seen_db = np.nan_to_num(seen_db)
    memory = _blocks_in(60 * settings.background_minutes)
    scatter_db = ndimage.median_filter(np.minimum(explained_db, seen_db), memory, mode="reflect")
    length = 2 * (_blocks_in(60 * settings.max_length_minutes) // 2) + 1
    lively_db = ndimage.median_filter(seen_db, memory, mode="reflect")
    lively_db = ndimage.grey_opening(lively_db, size=(length,), mode="reflect")
    return np.maximum(scatter_db, np.where(lively_db <= MOST_LIVELY_DB, lively_db, 0.0))
