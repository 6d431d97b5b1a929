"""Findings: what a recording holds on one criterion, before anything is concluded from it."""

from dataclasses import replace
from datetime import datetime

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.acoustics.uncertainty import combined
from sleepnoise.judgement.band_findings import band_sum, worst_band
from sleepnoise.judgement.coverage import Series, Stretch, clock_stretches, period_stretch
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.judgement.measured import (
    Finding,
    Measured,
    Reading,
    gap_said,
    hours_said,
    level_said,
    nothing_found,
    silent_rest_db,
    were_it_silent,
)
from sleepnoise.judgement.residual import emergence, of_source, rated
from sleepnoise.night.window import NightWindow

_OF_BANDS = ("band_leq", "octave_leq", "band_sum")


def finding_on(criterion: Criterion, measured: Measured) -> Finding:
    """Return what a recording holds on one criterion that is meant for the room."""
    window = measured.window
    if criterion.period is not None:
        window = NightWindow.of_period(criterion.period, window.zone)
    of_bands = criterion.quantity in _OF_BANDS
    series = measured.series.get("band_leq" if of_bands else criterion.quantity)
    if series is None or (criterion.rule == "emergence" and "laeq" not in measured.series):
        return _not_measured(criterion)
    if criterion.rule == "emergence":
        return emergence(criterion, measured, window)
    if criterion.over in ("loudest full hour", "loudest stretch"):
        return _loudest(criterion, series, measured, window)
    stretch = period_stretch(series, window, criterion.hours)
    if criterion.over == "period":
        return _of_period(criterion, stretch, measured, window)
    return _of_events(criterion, stretch, measured, window)


def _not_measured(criterion: Criterion) -> Finding:
    of_bands = criterion.quantity in _OF_BANDS
    what = "third octaves were" if of_bands else f"{SYMBOLS[criterion.quantity].text} was"
    return nothing_found(f"{what} not measured", "there is nothing to compare")


# Means over a stretch of time.


def _of_period(criterion: Criterion, stretch: Stretch, measured: Measured, window: NightWindow) -> Finding:
    reading = _reading(criterion, stretch, measured, window)
    over = f"over {hours_said(stretch)}{were_it_silent(reading.measured_db, reading.at_least_db)}"
    return _finding(reading, over, reading.gap or gap_said(stretch), stretch.complete and not reading.gap)


def _loudest(criterion: Criterion, series: Series, measured: Measured, window: NightWindow) -> Finding:
    """Return the finding on the loudest hour, or shorter stretch, that was recorded as a whole."""
    minutes = criterion.stretch_min
    stretches = clock_stretches(series, window, minutes)
    name = "full hour" if minutes is None else f"{minutes} min"
    readings = {
        start: _reading(criterion, stretch, measured, window)
        for start, stretch in stretches
        if stretch.complete
    }
    parts = "full hours" if minutes is None else f"times {name}"
    gap = f"{len(readings)} of {len(stretches)} {parts} between {window.text} recorded"
    loudest = max(readings, key=lambda start: _over_db(readings[start]), default=None)
    if loudest is None:
        unknown = Stretch(series=series.between(series.start, series.start), whole_s=1.0)
        return _finding(_reading(criterion, unknown, measured, window), f"in the loudest {name}", gap, False)
    reading = readings[loudest]
    over = f"in the loudest {name}, from {_clock(loudest, window)}"
    complete = len(readings) == len(stretches) and not reading.gap
    return _finding(reading, over, reading.gap or gap, complete)


def _over_db(reading: Reading) -> float:
    over_db = reading.measured_db - reading.value_db
    return -np.inf if np.isnan(over_db) else over_db


def _reading(criterion: Criterion, stretch: Stretch, measured: Measured, window: NightWindow) -> Reading:
    if criterion.bands_db:
        return worst_band(criterion, stretch)
    if criterion.quantity == "band_sum":
        return of_source(band_sum(criterion, stretch, measured), criterion, measured, window)
    laeq = stretch.mean_db
    reading = Reading(
        what="LAeq",
        value_db=criterion.value_db,
        measured_db=laeq,
        at_least_db=laeq + silent_rest_db(stretch),
    )
    if criterion.excess_db is not None:
        reading = _over_underlying(reading, criterion.excess_db, measured)
    return rated(of_source(reading, criterion, measured, window), criterion, measured)


def _over_underlying(reading: Reading, excess_db: float, measured: Measured) -> Reading:
    """Return a reading beside what is permitted over the underlying level, and in quiet at least."""
    underlying = measured.circumstances.underlying
    if underlying is None:
        return replace(reading, doubt="this takes the underlying level, measured as the document has it")
    permitted_db = underlying.level_db + excess_db
    if permitted_db <= reading.value_db:
        return reading
    u_db = combined([measured.uncertainty_db, underlying.uncertainty_db])
    return replace(reading, value_db=permitted_db, uncertainty_db=u_db)


def _finding(reading: Reading, over: str, gap: str, complete: bool) -> Finding:
    return Finding(
        found=f"{reading.what} {level_said(reading.measured_db)} {over}",
        allowed=f"{reading.value_db:g} dB",
        gap=gap,
        value_db=reading.value_db,
        measured_db=reading.measured_db,
        at_least_db=reading.at_least_db,
        complete=complete,
        uncertainty_db=reading.uncertainty_db,
        doubt=reading.doubt,
        unsaid=reading.unsaid,
    )


# Maxima and events.


def _of_events(criterion: Criterion, stretch: Stretch, measured: Measured, window: NightWindow) -> Finding:
    highest = _highest(criterion, stretch, window)
    if measured.events is None:
        return (
            highest if criterion.count_allowed is None else _uncounted(criterion, highest, measured.guard_db)
        )
    peaks_db = stretch.peaks(measured.events)
    highest = _with_count(highest, peaks_db)
    if criterion.count_allowed is None:
        return highest
    return _counted(highest, peaks_db, (criterion.count_allowed, criterion.most_allowed), measured.guard_db)


def _highest(criterion: Criterion, stretch: Stretch, window: NightWindow) -> Finding:
    highest_db, instant = stretch.highest
    found = f"highest {SYMBOLS[criterion.quantity].text} {level_said(highest_db)}"
    if highest_db > -np.inf:
        found += f" at {_clock(instant, window)}"
    return Finding(
        found=found,
        allowed=f"{criterion.value_db:g} dB",
        gap=gap_said(stretch),
        value_db=criterion.value_db,
        measured_db=highest_db,
        at_least_db=highest_db,
        complete=stretch.complete,
    )


def _with_count(highest: Finding, peaks_db: FloatArray) -> Finding:
    count = int(np.count_nonzero(peaks_db > highest.value_db))
    return replace(
        highest, found=f"{highest.found}, {_events(count)} above {highest.value_db:g} dB", count=count
    )


def _uncounted(criterion: Criterion, highest: Finding, guard_db: float) -> Finding:
    """Return the finding on a rule that counts where nobody can count: kept only if nothing comes near."""
    fewest, most = criterion.count_allowed or 0, criterion.most_allowed
    below = highest.measured_db - highest.value_db < -guard_db
    return replace(
        highest,
        allowed=_a_night(fewest, most),
        gap=highest.gap if below else "single events cannot be told apart in it",
        measured_db=highest.measured_db if below else float("nan"),
        at_least_db=float("nan"),
    )


def _counted(highest: Finding, peaks_db: FloatArray, allowed: tuple[int, int], guard_db: float) -> Finding:
    """Return the finding on a rule of *at most n events*; the document may leave n open, from - to."""
    fewest, most = allowed
    surely = int(np.count_nonzero(peaks_db - highest.value_db > guard_db))
    possibly = int(np.count_nonzero(peaks_db - highest.value_db >= -guard_db))
    were = "was" if highest.count == 1 else "were"
    above = f"there {were} {_events(highest.count or 0)} above {highest.value_db:g} dB"
    if surely != possibly:
        above += f", {surely} to {possibly} within the uncertainty"
    # No more than n events lie above a value if, and only if, the (n + 1)th loudest does not.
    return replace(
        highest,
        found=above,
        allowed=_a_night(fewest, most),
        measured_db=_loudest_but(peaks_db, fewest),
        at_least_db=_loudest_but(peaks_db, most),
    )


def _loudest_but(peaks_db: FloatArray, louder: int) -> float:
    """Return the loudest peak after so many louder ones; silence if there are no more."""
    return float(peaks_db[louder]) if peaks_db.size > louder else -np.inf


def _a_night(fewest: int, most: int) -> str:
    return f"{fewest if fewest == most else f'{fewest} to {most}'} a night"


def _events(count: int) -> str:
    return f"{count or 'no'} event{'' if count == 1 else 's'}"


def _clock(instant: datetime, window: NightWindow) -> str:
    return f"{instant.astimezone(window.zone):%H:%M}"
