"""Coverage: the part of a period that was recorded, and how much of the period that is.

Ticks that are left out or not known count as not recorded.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy_mean
from sleepnoise.errors import StartTimeError
from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.levels.statistics import band_equivalent_levels
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

WHOLE_SHARE = 0.95
"""Share of a period that counts as all of it. Chosen: of 8 h it forgives 24 min, which move LAeq by 0.2 dB
at most if they were quiet; the reason of a verdict says how much was recorded."""

_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The recorded part of a period.

    Attributes
    ----------
    history : LevelHistory
        Of the recorded part; what is not known is among the ticks left out.
    first_tick : int
        Place of its first tick in the recording's whole history.
    whole_s : float, s
        Length of the whole period.
    """

    history: LevelHistory
    first_tick: int
    whole_s: float

    @property
    def recorded_s(self) -> float:
        """Time that was recorded and is known, s."""
        return float(np.count_nonzero(~self.history.left_out)) * TICK_S

    @property
    def share(self) -> float:
        """Recorded share of the period, 0 to 1."""
        return min(self.recorded_s / self.whole_s, 1.0)

    @property
    def complete(self) -> bool:
        """Whether so much was recorded that it counts as the whole period."""
        return self.share >= WHOLE_SHARE

    @property
    def laeq(self) -> float:
        """Equivalent level of what was recorded, dB; ``nan`` if nothing was."""
        kept = self.history.laeq[~self.history.left_out]
        return energy_mean(kept) if kept.size else float("nan")

    @property
    def bands_db(self) -> dict[float, float]:
        """Equivalent third-octave levels of what was recorded, dB, by nominal frequency."""
        levels = band_equivalent_levels(self.history)
        return {hz: float(level) for hz, level in zip(self.history.nominal_hz, levels, strict=True)}

    def highest(self, quantity: str) -> tuple[float, datetime]:
        """Return the highest ``lafmax`` or ``lasmax``, dB, and its instant, UTC; ``nan`` if none."""
        levels = np.where(self.history.left_out, np.float32(np.nan), getattr(self.history, quantity))
        if np.isnan(levels).all():
            return float("nan"), self.history.start
        tick = int(np.nanargmax(levels))
        return float(levels[tick]), self.history.time_of(tick)

    def peaks(self, quantity: str, events: Iterable[Event]) -> FloatArray:
        """Return the highest level that each event reaches within the stretch, falling, dB.

        Events that have no known tick in the stretch are not among them.
        """
        levels = np.where(self.history.left_out, np.float32(np.nan), getattr(self.history, quantity))
        found = []
        for event in events:
            first = max(event.first_tick - self.first_tick, 0)
            within = levels[first : max(event.last_tick - self.first_tick, first)]
            if not np.isnan(within).all():
                found.append(float(np.nanmax(within)))
        return np.array(sorted(found, reverse=True))


def period_stretch(history: LevelHistory, window: NightWindow, hours: float | None) -> Stretch:
    """Return the recorded part of the period that a recording covers most of.

    Parameters
    ----------
    history : LevelHistory
        The whole recording.
    window : NightWindow
        Clock times of the period.
    hours : float, optional
        Length that the period should have by the clock, h. A shorter window counts as part of it.
    """
    by_clock = _clock_length(window)
    try:
        start, end = window.overlapping(history.start, history.end)
    except StartTimeError:
        return Stretch(history=history.between(0, 0), first_tick=0, whole_s=by_clock.total_seconds())
    whole_s = (end - start).total_seconds()
    if hours is not None and by_clock < timedelta(hours=hours):
        whole_s = hours * 3600
    return _stretch(history, start, end, whole_s)


def full_hours(history: LevelHistory, window: NightWindow) -> tuple[tuple[datetime, Stretch], ...]:
    """Return the start, UTC, and the recorded part of each full clock hour of a period."""
    try:
        start, end = window.overlapping(history.start, history.end)
    except StartTimeError:
        return ()
    hours = _clock_hours(start, end, window.zone)
    return tuple((hour, _stretch(history, hour, hour + _HOUR, _HOUR.total_seconds())) for hour in hours)


def _clock_length(window: NightWindow) -> timedelta:
    # On a day without clock changes: a night is no shorter because the clocks go forward in it.
    day = date(2000, 1, 1)
    start, end = (datetime.combine(day, clock) for clock in (window.start, window.end))
    return (end - start) % timedelta(days=1)


def _clock_hours(start: datetime, end: datetime, zone: ZoneInfo) -> Iterator[datetime]:
    """Yield the UTC starts of the full local clock hours between two UTC instants."""
    hour = _at_full_hour(start, zone)
    while hour + _HOUR <= end:
        yield hour
        hour = _at_full_hour(hour + _HOUR, zone)


def _at_full_hour(instant: datetime, zone: ZoneInfo) -> datetime:
    local = instant.astimezone(zone)
    into = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
    return instant + (_HOUR - into) if into else instant


def _stretch(history: LevelHistory, start: datetime, end: datetime, whole_s: float) -> Stretch:
    first, last = history.tick_of(start), history.tick_of(end)
    part = history.between(first, max(first, last))
    unknown = np.isnan(part.laeq) | np.isnan(part.lafmax) | np.isnan(part.lasmax)
    return Stretch(history=part.without(unknown), first_tick=first, whole_s=whole_s)
