"""Intrusive events: stretches that stand out from a moving background."""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.levels.statistics import band_equivalent_levels, exceeded_levels, level_statistics
from sleepnoise.night.background import BLOCK_TICKS, MovingBackground, moving_background, usable_ticks
from sleepnoise.night.event_moments import loudest_moments
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.event_shape import DOWN_DB, loud_s, max_spectrum, onset, spectrum_at_max
from sleepnoise.night.event_spans import Spans, event_spans, sounds_within

CUT_OFF_AT_START = "cut off by the start of the recording"
CUT_OFF_AT_END = "cut off by the end of the recording"
CUT_OFF_BY_GAP = "cut off by a stretch without usable sound"
NOT_SETTLED = "background not settled"
STAYED_UP = "stayed up and became background"


def _no_spectrum() -> Spectrum:
    return Spectrum(nominal_hz=(), levels_db=np.empty(0))


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
        ``lafmax`` over ``background_la90``; the column ``emergence_dB`` of ``events.csv``.
    max_spectrum : Spectrum
        Band by band the highest level within the event: over 125 ms from 250 Hz up, over
        0.5 s below, where shorter stretches of a steady sound already scatter by decibels.
    background_spectrum : Spectrum
        Equivalent band levels of the event-free minutes before.
    spectrum_at_max : Spectrum
        Equivalent band levels at the moment of ``lafmax``: over 125 ms, below 250 Hz over 0.5 s.
    loudest_moments : tuple of Spectrum
        F-weighted band levels at every moment that may be the loudest behind some loss.
    equivalent_spectrum : Spectrum
        Equivalent band levels over the whole event.
    rise_db, onset_rate_db_per_s : float, dB and dB/s
        How far and how fast the F-weighted level rises to ``lafmax``; sudden sounds have at least
        this rate. ``nan`` if the beginning was not heard.
    loud_s : float, s
        From the first to the last moment within 10 dB of ``lafmax``; ``nan`` where the
        background comes so near to ``lafmax`` that these moments cannot be told.
    c_minus_a_db : float, dB
        LCeq less LAeq of everything heard within the event.
    count : int
        Single sounds of a series, such as barks, steps or beats; 1 for any other event. F weighting
        runs sounds together that are less than 0.4 s apart.
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
    spectrum_at_max: Spectrum = field(default_factory=_no_spectrum)
    loudest_moments: tuple[Spectrum, ...] = field(default=(), compare=False)
    equivalent_spectrum: Spectrum = field(default_factory=_no_spectrum, compare=False)
    rise_db: float = float("nan")
    onset_rate_db_per_s: float = float("nan")
    loud_s: float = float("nan")
    c_minus_a_db: float = float("nan")
    count: int = 1
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
    somewhere reaches the onset threshold. Runs close together are one event, unless they are
    two different sounds, one after the other; brief sounds that are alike and follow each other
    are one series. Ticks that are left out, or digitally silent, belong to no event and end one.

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
    spans = event_spans(history, usable, background, settings)
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


def _event(night: _Night, number: int, first: int, last: int) -> Event:
    history = night.history
    heard = level_statistics(history.between(first, last))
    la90, spectrum, settled = _background_of(night, first, last)
    rise = onset(history, night.usable, first, last)
    told_down = heard.lafmax - DOWN_DB >= la90 + night.settings.release_db
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
        max_spectrum=max_spectrum(history, first, last),
        background_spectrum=Spectrum(nominal_hz=history.nominal_hz, levels_db=spectrum),
        spectrum_at_max=spectrum_at_max(history, first, last),
        loudest_moments=loudest_moments(history, first, last),
        equivalent_spectrum=Spectrum(
            nominal_hz=history.nominal_hz, levels_db=band_equivalent_levels(history.between(first, last))
        ),
        rise_db=rise.rise_db,
        onset_rate_db_per_s=rise.rate_db_per_s,
        loud_s=loud_s(history, first, last) if told_down else float("nan"),
        c_minus_a_db=heard.lceq - heard.laeq,
        count=sounds_within(history, night.background, night.settings, first, last).count,
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
