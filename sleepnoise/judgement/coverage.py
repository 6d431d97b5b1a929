"""Coverage: the part of a period that was recorded, and how much of the period that is.

What is left out or not known counts as not recorded. A step of the time grid belongs to a
period if all of it lies within.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy_mean
from sleepnoise.errors import StartTimeError
from sleepnoise.levels.history import TICK_S, LevelHistory, MaskArray
from sleepnoise.levels.hundredths import BandLevels, part_of
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

WHOLE_SHARE = 0.95
"""Share of a period that counts as all of it. Chosen: of 8 h it forgives 24 min, which move LAeq by 0.2 dB
at most if they were quiet; the reason of a verdict says how much was recorded."""

_TICK = timedelta(seconds=TICK_S)
_COMPARED = ("laeq", "lzeq", "lafmax", "lasmax")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Levels of one quantity on an even grid of time, whoever measured them.

    Attributes
    ----------
    start : datetime
        UTC.
    step : timedelta
    levels_db : ndarray, shape (steps,) or (bands, steps), or BandLevels, dB
    known : ndarray, shape (steps,), bool
        Steps that were measured and count.
    nominal_hz : tuple of float
        Third octaves, if the levels are those of bands.
    """

    start: datetime
    step: timedelta
    levels_db: NDArray[np.floating] | BandLevels
    known: MaskArray
    nominal_hz: tuple[float, ...] = ()

    @property
    def end(self) -> datetime:
        """Instant at which the last step ends, UTC."""
        return self.time_of(self.known.size)

    def time_of(self, step: int) -> datetime:
        """Return the UTC instant at which a step starts; counted, never summed."""
        return self.start + step * self.step

    def steps_between(self, start: datetime, end: datetime) -> tuple[int, int]:
        """Return the half-open range of the steps that lie within two instants as a whole."""
        first = min(max(-((self.start - start) // self.step), 0), self.known.size)
        return first, min(max((end - self.start) // self.step, first), self.known.size)

    def between(self, start: datetime, end: datetime) -> "Series":
        """Return the steps that lie within two instants as a whole (views, nothing copied)."""
        first, last = self.steps_between(start, end)
        levels = self.levels_db
        part = part_of(levels, first, last) if self.nominal_hz else levels[first:last]
        return replace(
            self,
            start=self.time_of(first),
            levels_db=part,
            known=self.known[first:last],
        )


def series_of(history: LevelHistory) -> dict[str, Series]:
    """Return what criteria look at in a level history, by quantity."""
    known = ~history.left_out
    for name in _COMPARED:
        known &= ~np.isnan(getattr(history, name))

    def series(levels_db: NDArray[np.floating] | BandLevels, nominal_hz: tuple[float, ...] = ()) -> Series:
        return Series(
            start=history.start, step=_TICK, levels_db=levels_db, known=known, nominal_hz=nominal_hz
        )

    by_quantity = {name: series(getattr(history, name)) for name in _COMPARED}
    return {**by_quantity, "band_leq": series(history.bands, history.nominal_hz)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The measured part of a period.

    Attributes
    ----------
    series : Series
        Of that part.
    whole_s : float, s
        Length of the whole period.
    """

    series: Series
    whole_s: float

    @property
    def recorded_s(self) -> float:
        """Time that was recorded and is known, s."""
        return float(np.count_nonzero(self.series.known)) * self.series.step.total_seconds()

    @property
    def share(self) -> float:
        """Recorded share of the period, 0 to 1; nothing of one that has no length."""
        return min(self.recorded_s / self.whole_s, 1.0) if self.whole_s else 0.0

    @property
    def complete(self) -> bool:
        """Whether so much was recorded that it counts as the whole period."""
        return self.share >= WHOLE_SHARE

    @property
    def mean_db(self) -> float:
        """Energy mean of what was recorded, dB; ``nan`` if nothing was."""
        return _energy_mean(self.series.levels_db[self.series.known])

    @property
    def bands_db(self) -> dict[float, float]:
        """Energy means of third octaves, dB, by nominal frequency."""
        # One band at a time: the float64 energies of a whole night would be larger than the history.
        rows = zip(self.series.nominal_hz, self.series.levels_db, strict=True)
        return {hz: _energy_mean(band[self.series.known]) for hz, band in rows}

    @property
    def highest(self) -> tuple[float, datetime]:
        """The highest level, dB, and its instant, UTC; ``nan`` if none is known."""
        levels = _known_levels(self.series)
        if np.isnan(levels).all():
            return float("nan"), self.series.start
        step = int(np.nanargmax(levels))
        return float(levels[step]), self.series.time_of(step)

    def peaks(self, events: Iterable[Event]) -> FloatArray:
        """Return the highest level that each event reaches within the stretch, falling, dB.

        Events that have no known step in the stretch are not among them.
        """
        found = []
        for event in events:
            within = self.series.between(event.start, event.start + timedelta(seconds=event.duration_s))
            if within.known.any():
                found.append(float(within.levels_db[within.known].max()))
        return np.array(sorted(found, reverse=True))


def period_stretch(series: Series, window: NightWindow, hours: float | None) -> Stretch:
    """Return the recorded part of the period that a recording covers most of.

    Parameters
    ----------
    series : Series
        The whole recording.
    window : NightWindow
        Clock times of the period.
    hours : float, optional
        Length that the period should have by the clock, h. A shorter window counts as part of it.
    """
    by_clock = _clock_length(window)
    try:
        start, end = window.overlapping(series.start, series.end)
    except StartTimeError:
        return Stretch(series=series.between(series.start, series.start), whole_s=by_clock.total_seconds())
    whole_s = (end - start).total_seconds()
    if hours is not None and by_clock < timedelta(hours=hours):
        whole_s = hours * 3600
    return Stretch(series=series.between(start, end), whole_s=whole_s)


def clock_stretches(
    series: Series, window: NightWindow, minutes: int | None = None
) -> tuple[tuple[datetime, Stretch], ...]:
    """Return the start, UTC, and the recorded part of each full clock hour of a period.

    Parameters
    ----------
    minutes : int, optional
        Length of shorter stretches to take instead, counted from the full hour; a divisor of 60.
    """
    try:
        start, end = window.overlapping(series.start, series.end)
    except StartTimeError:
        return ()
    length = timedelta(hours=1) if minutes is None else timedelta(minutes=minutes)
    cuts = _clock_cuts(start, end, window.zone, length)
    parts = ((cut, series.between(cut, cut + length)) for cut in cuts)
    return tuple((cut, Stretch(series=part, whole_s=length.total_seconds())) for cut, part in parts)


def spans_stretch(series: Series, spans: Iterable[tuple[datetime, datetime]], window: NightWindow) -> Stretch:
    """Return the recorded part of several stretches of time together, as far as they lie in a period.

    Parameters
    ----------
    series : Series
        The whole recording.
    spans : iterable of pairs of datetime
        UTC; they must not overlap.
    window : NightWindow
        Clock times of the period.
    """
    try:
        begin, stop = window.overlapping(series.start, series.end)
    except StartTimeError:
        begin = stop = series.start
    within = series.between(begin, stop)
    chosen, whole = np.zeros(within.known.size, dtype=np.bool_), timedelta(0)
    for start, end in ((max(start, begin), min(end, stop)) for start, end in spans):
        whole += max(end - start, timedelta(0))
        chosen[slice(*within.steps_between(start, end))] = True
    return Stretch(series=replace(within, known=within.known & chosen), whole_s=whole.total_seconds())


def _clock_length(window: NightWindow) -> timedelta:
    # On a day without clock changes: a night is no shorter because the clocks go forward in it.
    day = date(2000, 1, 1)
    start, end = (datetime.combine(day, clock) for clock in (window.start, window.end))
    return (end - start) % timedelta(days=1)


def _clock_cuts(start: datetime, end: datetime, zone: ZoneInfo, length: timedelta) -> Iterator[datetime]:
    """Yield the UTC starts of the full local clock hours, or parts of them, between two UTC instants."""
    cut = _at_full(start, zone, length)
    while cut + length <= end:
        yield cut
        cut = _at_full(cut + length, zone, length)


def _at_full(instant: datetime, zone: ZoneInfo, length: timedelta) -> datetime:
    local = instant.astimezone(zone)
    into = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond) % length
    return instant + (length - into) if into else instant


def _known_levels(series: Series) -> NDArray[np.floating]:
    return np.where(series.known, series.levels_db, np.float32(np.nan))


def _energy_mean(levels_db: NDArray[np.floating]) -> float:
    return energy_mean(levels_db) if levels_db.size else float("nan")
