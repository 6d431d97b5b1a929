"""The shape of one event: how it rises, how long it is loud, and its spectra."""

from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray

SHORT_MAXIMA_FROM_HZ = 250.0
"""Band maxima are read over 125 ms from here up, over 0.5 s below. Chosen: at 250 Hz a steady third octave
scatters by 1.6 dB in 125 ms, at 50 Hz by 3.6 dB; 0.5 s halves that."""

LONG_MAXIMUM_TICKS = 4
"""0.5 s, for the bands below. Chosen: see SHORT_MAXIMA_FROM_HZ."""

BEFORE_TICKS = 2 * TICKS_PER_SECOND
"""A rise may begin so long before its event. Chosen: 2 s, in which it comes up to the release threshold."""

TURN_DB = 3.0
"""A rise begins where the level last fell by more than this. Chosen: scatter of a steady sound is less."""

NT_ACOU_112 = Source(
    document="NT ACOU 112:2002", place="predicted prominence P = 3 lg(rate) + 2 lg(rise)", how_known="library"
)
RATE_WEIGHT, RISE_WEIGHT = 3.0, 2.0
"""What the steepness and the height of an onset add to its prominence. Source: NT_ACOU_112."""

LEAST_RISE_DB, LEAST_SHARE = 6.0, 1 / 3
"""The onset has so much of a rise in several stages. Chosen: less may be scatter of one reading."""

RISE_FROM, RISE_TO = 0.1, 0.9
"""Part of a rise that its rate is read over. Chosen: both ends of a rise are flat; usual for rise times."""

TEN_DB_DOWN = Source(
    document="ISO 3891:1978", place="duration between the points 10 dB below the maximum", how_known="memory"
)
DOWN_DB = 10.0
"""How far below its maximum an event is still loud, dB. Source: TEN_DB_DOWN."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """How the loudest sound of an event rises, dB and dB/s; ``nan`` if its beginning was not heard."""

    rise_db: float
    rate_db_per_s: float


def onset(history: LevelHistory, usable: MaskArray, first: int, last: int) -> Onset:
    """Return how an event rises to its F-weighted maximum.

    A rise reaches back to where the level last fell by more than ``TURN_DB``, two seconds before
    the event at most. Of a rise in several stages the most prominent end is taken, such as a slam
    over talk. The rate is that of the straight line between 10 % and 90 % of the rise. Readings
    are 125 ms apart, so that a sudden sound has at least this rate.

    Parameters
    ----------
    history : LevelHistory
    usable : ndarray, shape (ticks,)
    first, last : int
        Half-open range of ticks of the event.
    """
    peak = first + int(history.lafmax[first:last].argmax())
    begin = max(0, first - BEFORE_TICKS)
    begin += int(np.append(0, np.flatnonzero(~usable[begin:first]) + 1)[-1])
    back = history.laf[begin : peak + 1][::-1].astype(np.float64)
    back[0] = history.lafmax[peak]
    turned = np.flatnonzero(back > np.minimum.accumulate(back) + TURN_DB)
    back = _most_prominent(back[: turned[0]] if turned.size else back)
    lowest_db, rise_db = float(back.min()), float(np.ptp(back))
    if not rise_db > 0:
        return Onset(rise_db=float("nan"), rate_db_per_s=float("nan"))
    begun, risen = (_ticks_back(back, lowest_db + share * rise_db) for share in (RISE_FROM, RISE_TO))
    rate = (RISE_TO - RISE_FROM) * rise_db / ((begun - risen) * TICK_S)
    return Onset(rise_db=rise_db, rate_db_per_s=rate)


def _most_prominent(back: FloatArray) -> FloatArray:
    """Return that end of a rise, read backwards from its maximum, which is heard most."""
    rises_db = back[0] - back
    least_db = min(float(rises_db.max()), max(LEAST_RISE_DB, LEAST_SHARE * float(rises_db.max())))
    if not least_db > 0:
        return back
    with np.errstate(divide="ignore", invalid="ignore"):
        rates = rises_db / (np.arange(back.size) * TICK_S)
        prominence = RATE_WEIGHT * np.log10(rates) + RISE_WEIGHT * np.log10(rises_db)
    prominence[rises_db < least_db] = -np.inf
    return back[: int(prominence.argmax()) + 1]


def _ticks_back(back: FloatArray, level_db: float) -> float:
    """Return how long before its maximum a level was last as low as this, ticks."""
    after = int(np.argmax(back <= level_db))
    return after - float((level_db - back[after]) / (back[after - 1] - back[after]))


def loud_s(history: LevelHistory, first: int, last: int) -> float:
    """Return the time from the first to the last tick within 10 dB of an event's ``lafmax``, s."""
    lafmax = history.lafmax[first:last]
    loud = np.flatnonzero(lafmax >= lafmax.max() - DOWN_DB)
    return float(loud[-1] - loud[0] + 1) * TICK_S


def spectrum_at_max(history: LevelHistory, first: int, last: int) -> Spectrum:
    """Return the spectrum of an event at the moment of its F-weighted maximum.

    Equivalent levels, over the tick of the maximum or the one before, whichever is louder; below
    ``SHORT_MAXIMA_FROM_HZ`` over 0.5 s around it, as far as the event reaches.
    """
    peak = first + int(history.lafmax[first:last].argmax())
    near = max(first, peak - 1)
    loudest = near + int(history.laeq[near : peak + 1].argmax())
    around = slice(
        max(first, loudest - LONG_MAXIMUM_TICKS // 2), min(last, loudest + LONG_MAXIMUM_TICKS // 2)
    )
    low = np.asarray(history.nominal_hz) < SHORT_MAXIMA_FROM_HZ
    levels_db = history.bands[:, loudest].astype(np.float64)
    levels_db[low] = level(energy(history.bands[low, around]).mean(axis=1))
    return Spectrum(nominal_hz=history.nominal_hz, levels_db=levels_db)


def max_spectrum(history: LevelHistory, first: int, last: int) -> Spectrum:
    """Return the highest band levels; a shorter event shares its 0.5 s with what comes after it."""
    begin = max(0, min(first, history.ticks - LONG_MAXIMUM_TICKS))
    end = min(history.ticks, max(last, begin + LONG_MAXIMUM_TICKS))
    width = min(LONG_MAXIMUM_TICKS, history.ticks)
    low = np.asarray(history.nominal_hz) < SHORT_MAXIMA_FROM_HZ
    kept = ~history.left_out[begin:end]
    heard = np.where(kept, energy(history.bands[low, begin:end]), 0.0)
    stretches = np.lib.stride_tricks.sliding_window_view(heard, width, axis=1).sum(axis=-1)
    ticks = np.lib.stride_tricks.sliding_window_view(kept, width).sum(axis=-1)
    levels_db = np.empty(low.size)
    # Some stretch has a tick that is kept, because those of the event itself all are.
    levels_db[low] = level(stretches[:, ticks > 0] / ticks[ticks > 0]).max(axis=1)
    levels_db[~low] = history.bands[~low, first:last].max(axis=1)
    return Spectrum(nominal_hz=history.nominal_hz, levels_db=levels_db)
