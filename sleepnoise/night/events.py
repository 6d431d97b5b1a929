"""Intrusive events: stretches that stand out from a moving background."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.levels.statistics import band_equivalent_levels, exceeded_levels, level_statistics
from sleepnoise.night.background import BLOCK_TICKS, MovingBackground, moving_background, usable_ticks
from sleepnoise.night.event_settings import EventSettings

SHORT_MAXIMA_FROM_HZ = 250.0
"""Band maxima are read over 125 ms from here up, over 0.5 s below. Chosen: at 250 Hz a steady third octave
scatters by 1.6 dB in 125 ms, at 50 Hz by 3.6 dB; 0.5 s halves that."""

LONG_MAXIMUM_TICKS = 4
"""0.5 s, for the bands below. Chosen: see SHORT_MAXIMA_FROM_HZ."""

CUT_OFF_AT_START = "cut off by the start of the recording"
CUT_OFF_AT_END = "cut off by the end of the recording"
CUT_OFF_BY_GAP = "cut off by a stretch without usable sound"
NOT_SETTLED = "background not settled"
STAYED_UP = "stayed up and became background"

Spans = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One intrusive event.

    Attributes
    ----------
    number : int
        From 1, in order of time.
    start : datetime
        UTC.
    duration_s : float, s
    first_tick, last_tick : int
        Half-open range of ticks of the history.
    lafmax, lasmax, lae, lcpeak : float, dB
        Of everything heard within the event; its background is not taken off.
    background_la90 : float, dB
        Level exceeded 90 % of the time in the event-free minutes before.
    emergence_db : float, dB
        ``lafmax`` over ``background_la90``.
    max_spectrum : Spectrum
        Band by band the highest level within the event: over 125 ms from 250 Hz up, over
        0.5 s below, where shorter stretches of a steady sound already scatter by decibels.
    background_spectrum : Spectrum
        Equivalent band levels of the event-free minutes before.
    group, label : str
        Empty until someone says which sounds belong together and what they are.
    flags : tuple of str
        Such as ``"cut off by the end of the recording"``.
    """

    number: int
    start: datetime
    duration_s: float
    first_tick: int
    last_tick: int
    lafmax: float
    lasmax: float
    lae: float
    lcpeak: float
    background_la90: float
    emergence_db: float
    max_spectrum: Spectrum
    background_spectrum: Spectrum
    group: str = ""
    label: str = ""
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Night:
    """What every event is described from: ``calm`` are the usable ticks outside of all events."""

    history: LevelHistory
    usable: MaskArray
    calm: MaskArray
    background: MovingBackground
    settings: EventSettings

    def before_db(self, first: int) -> float:
        """Return the moving background in the block before the one in which an event begins."""
        return float(self.background.level_db[max(0, first - BLOCK_TICKS)])


def find_events(history: LevelHistory, settings: EventSettings | None = None) -> tuple[Event, ...]:
    """Return the events of a whole recording.

    An event is a run of ticks whose ``lafmax`` stays above the release threshold and
    somewhere reaches the onset threshold. Runs close together are one event. Ticks that are
    left out, or digitally silent, belong to no event and end one.

    Parameters
    ----------
    history : LevelHistory
    settings : EventSettings, optional
        The defaults when left out.

    Returns
    -------
    tuple of Event
        In order of time, numbered from 1.

    Notes
    -----
    A hum that switches on and off is background in both states, if it lasts ``steady_s`` and
    rises no more than ``steady_step_db``: it is no event, and what is heard with it has to
    stand out from it. A steady sound that rises further is an event until it ends or has
    stayed up for ``max_length_minutes``.
    """
    settings = settings or EventSettings()
    usable = usable_ticks(history)
    background = moving_background(history, settings)
    spans = _spans(history, usable, background, settings)
    calm = usable & ~_within(spans, history.ticks)
    night = _Night(history=history, usable=usable, calm=calm, background=background, settings=settings)
    return tuple(_event(night, number, *span) for number, span in enumerate(spans.tolist(), start=1))


def event_ticks(events: tuple[Event, ...], ticks: int) -> MaskArray:
    """Return which of so many ticks lie within events, shape (ticks,)."""
    spans = np.array([(event.first_tick, event.last_tick) for event in events], dtype=np.int64)
    return _within(spans.reshape(-1, 2), ticks)


def _within(spans: Spans, ticks: int) -> MaskArray:
    mask = np.zeros(ticks, dtype=np.bool_)
    for first, last in spans:
        mask[first:last] = True
    return mask


def _spans(
    history: LevelHistory, usable: MaskArray, background: MovingBackground, settings: EventSettings
) -> Spans:
    """Return the half-open tick ranges of all events, shape (events, 2)."""
    over_db = np.where(usable, history.lafmax - background.upper_db, -np.inf)
    onset_db = np.maximum(settings.onset_db, settings.scatter_onset * background.scatter_db)
    release_db = np.maximum(settings.release_db, settings.scatter_release * background.scatter_db)
    runs = _runs(over_db > release_db)
    onsets = np.append(0, np.cumsum(over_db >= onset_db))
    spans = _merged(runs[onsets[runs[:, 1]] > onsets[runs[:, 0]]], usable, settings)
    return spans[(spans[:, 1] - spans[:, 0]) * TICK_S >= settings.min_length_s]


def _runs(mask: MaskArray) -> Spans:
    """Return the half-open ranges in which a mask is true, shape (runs, 2)."""
    changes = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    return changes.astype(np.int64).reshape(-1, 2)


def _merged(runs: Spans, usable: MaskArray, settings: EventSettings) -> Spans:
    """Return runs with those joined that lie close together and have usable sound all the way between."""
    if len(runs) == 0:
        return runs
    unusable = np.append(0, np.cumsum(~usable))
    ends, starts = runs[:-1, 1], runs[1:, 0]
    apart = ((starts - ends) * TICK_S > settings.merge_gap_s) | (unusable[starts] > unusable[ends])
    first = np.append(True, apart)
    last = np.append(apart, True)
    return np.stack([runs[first, 0], runs[last, 1]], axis=1)


def _event(night: _Night, number: int, first: int, last: int) -> Event:
    history = night.history
    heard = level_statistics(history.between(first, last))
    la90, spectrum, settled = _background_of(night, first, last)
    return Event(
        number=number,
        start=history.time_of(first),
        duration_s=(last - first) * TICK_S,
        first_tick=first,
        last_tick=last,
        lafmax=heard.lafmax,
        lasmax=heard.lasmax,
        lae=heard.lae,
        lcpeak=heard.lcpeak,
        background_la90=la90,
        emergence_db=heard.lafmax - la90,
        max_spectrum=_max_spectrum(history, first, last),
        background_spectrum=Spectrum(nominal_hz=history.nominal_hz, levels_db=spectrum),
        flags=_flags(night, first, last, settled),
    )


def _background_of(night: _Night, first: int, last: int) -> tuple[float, FloatArray, bool]:
    """Return LA90 and equivalent spectrum of an event's background, and whether it had settled before."""
    moving_db, settings = night.background.level_db, night.settings
    before_db = night.before_db(first)
    reach = round(settings.background_minutes * 60 * TICKS_PER_SECOND)

    def calm_within(begin: int, end: int) -> MaskArray:
        near = np.abs(moving_db[begin:end] - before_db) <= settings.same_background_db
        return np.asarray(night.calm[begin:end] & near)

    begin, end = max(0, first - reach), first
    used = calm_within(begin, end)
    settled = bool(used.sum() * TICK_S >= settings.settled_s)
    if not settled:
        end = min(night.history.ticks, last + reach)
        used = calm_within(begin, end)
    if not used.any():
        return before_db, np.full(len(night.history.nominal_hz), np.nan), False
    stretch = night.history.between(begin, end)
    la90 = exceeded_levels(stretch.laf[used])["la90"]
    return la90, band_equivalent_levels(stretch.without(~used)), settled


def _flags(night: _Night, first: int, last: int, settled: bool) -> tuple[str, ...]:
    ticks = night.history.ticks
    beside = [tick for tick in (first - 1, last) if 0 <= tick < ticks]
    risen_db = night.background.upper_db[min(last, ticks - 1)] - night.before_db(first)
    reasons = {
        CUT_OFF_AT_START: first == 0,
        CUT_OFF_AT_END: last == ticks,
        CUT_OFF_BY_GAP: not night.usable[beside].all(),
        NOT_SETTLED: not settled,
        STAYED_UP: risen_db > night.settings.steady_step_db,
    }
    return tuple(flag for flag, given in reasons.items() if given)


def _max_spectrum(history: LevelHistory, first: int, last: int) -> Spectrum:
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
