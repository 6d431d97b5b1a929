"""Findings: what a recording holds on one criterion, before anything is concluded from it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.judgement.coverage import Series, Stretch, full_hours, period_stretch
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

SAME_DB = 1e-3
"""Levels closer than this are equal, dB. Chosen: far above the steps of float32 levels (4e-6 dB at 45 dB),
far below anything that could be measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured: everything that criteria are compared with.

    Attributes
    ----------
    series : mapping of str to Series
        The whole recording by quantity; one that was not measured is missing.
    events : tuple of Event, or None
        All of its events; None if single events cannot be told apart in it.
    window : NightWindow
        The user's night.
    uncertainty_db : float, dB
        Expanded uncertainty U (k = 2) of a level.
    """

    series: Mapping[str, Series]
    events: tuple[Event, ...] | None
    window: NightWindow
    uncertainty_db: float

    @property
    def guard_db(self) -> float:
        """Distance from a value that a level must be beyond to be told apart from it, dB."""
        return self.uncertainty_db + SAME_DB


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a recording holds on one criterion.

    Attributes
    ----------
    found, allowed, gap : str
        For people: what was measured, what is allowed, how much is missing.
    value_db : float, dB
        Published value.
    measured_db : float, dB
        What must lie below the value for it to be kept; ``nan`` if nothing was measured.
    at_least_db : float, dB
        If this lies above the value it is exceeded, whatever the missing part held.
    complete : bool
        Whether enough was measured to say that a value is kept.
    count : int or None
        Events above the value, for criteria about events.
    """

    found: str
    allowed: str
    gap: str
    value_db: float
    measured_db: float
    at_least_db: float
    complete: bool
    count: int | None = None


def finding_on(criterion: Criterion, measured: Measured) -> Finding:
    """Return what a recording holds on one criterion that is meant for the room."""
    window = measured.window
    if criterion.period is not None:
        window = NightWindow.of_period(criterion.period, window.zone)
    series = measured.series.get(criterion.quantity)
    if series is None:
        return _not_measured(criterion)
    if criterion.over == "loudest full hour":
        return _loudest_hour(criterion, series, window)
    stretch = period_stretch(series, window, criterion.hours)
    if criterion.quantity == "band_leq":
        return _worst_band(criterion, stretch)
    if criterion.over == "period":
        return _equivalent(criterion, stretch)
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


def _not_measured(criterion: Criterion) -> Finding:
    bands = bool(criterion.bands_db)
    what = "third octaves were" if bands else f"{SYMBOLS[criterion.quantity].text} was"
    return Finding(
        found=f"{what} not measured",
        allowed="any of the values" if bands else f"{criterion.value_db:g} dB",
        gap="there is nothing to compare",
        value_db=float("nan") if bands else criterion.value_db,
        measured_db=float("nan"),
        at_least_db=float("nan"),
        complete=False,
    )


def _equivalent(criterion: Criterion, stretch: Stretch) -> Finding:
    laeq = stretch.mean_db
    at_least_db = laeq + _silent_rest_db(stretch)
    return Finding(
        found=f"LAeq {_said(laeq)} over {_hours(stretch)}{_were_it_silent(laeq, at_least_db)}",
        allowed=f"{criterion.value_db:g} dB",
        gap=_gap(stretch),
        value_db=criterion.value_db,
        measured_db=laeq,
        at_least_db=at_least_db,
        complete=stretch.complete,
    )


def _loudest_hour(criterion: Criterion, series: Series, window: NightWindow) -> Finding:
    hours = full_hours(series, window)
    laeq_by_start = {start: hour.mean_db for start, hour in hours if hour.complete}
    loudest = max(laeq_by_start, key=laeq_by_start.__getitem__, default=None)
    measured_db = float("nan") if loudest is None else laeq_by_start[loudest]
    found = f"LAeq {_said(measured_db)} in the loudest full hour"
    if loudest is not None:
        found += f", from {loudest.astimezone(window.zone):%H:%M}"
    return Finding(
        found=found,
        allowed=f"{criterion.value_db:g} dB",
        gap=f"{len(laeq_by_start)} of {len(hours)} full hours between {window.text} recorded",
        value_db=criterion.value_db,
        measured_db=measured_db,
        at_least_db=measured_db,
        complete=len(hours) == len(laeq_by_start),
    )


def _worst_band(criterion: Criterion, stretch: Stretch) -> Finding:
    levels_db = stretch.bands_db
    over_db = {hz: levels_db.get(hz, float("nan")) - value for hz, value in criterion.bands_db.items()}
    known = [hz for hz, excess_db in over_db.items() if not np.isnan(excess_db)]
    worst = max(known or over_db, key=over_db.__getitem__)
    missing = len(over_db) - len(known)
    value_db = criterion.bands_db[worst]
    measured_db = value_db + over_db[worst]
    at_least_db = measured_db + _silent_rest_db(stretch)
    found = f"worst third octave {band_label(worst)} Hz, {_said(measured_db)} over {_hours(stretch)}"
    return Finding(
        found=f"{found}{_were_it_silent(measured_db, at_least_db)}",
        allowed=f"{value_db:g} dB",
        gap=f"{missing} of {len(over_db)} bands not measured" if known and missing else _gap(stretch),
        value_db=value_db,
        measured_db=measured_db,
        at_least_db=at_least_db,
        complete=stretch.complete and not missing,
    )


def _highest(criterion: Criterion, stretch: Stretch, window: NightWindow) -> Finding:
    highest_db, instant = stretch.highest
    found = f"highest {SYMBOLS[criterion.quantity].text} {_said(highest_db)}"
    if highest_db > -np.inf:
        found += f" at {instant.astimezone(window.zone):%H:%M}"
    return Finding(
        found=found,
        allowed=f"{criterion.value_db:g} dB",
        gap=_gap(stretch),
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
    above = f"there were {_events(highest.count or 0)} above {highest.value_db:g} dB"
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


def _silent_rest_db(stretch: Stretch) -> float:
    """Return what a level loses if what is missing was silent, dB."""
    if stretch.complete or stretch.recorded_s == 0:
        return 0.0
    return float(10 * np.log10(stretch.share))


def _were_it_silent(measured_db: float, at_least_db: float) -> str:
    if not at_least_db < measured_db:
        return ""
    return f", {_said(at_least_db)} over all of it were the rest silent"


def _gap(stretch: Stretch) -> str:
    return f"{_short(stretch.recorded_s)} of {_short(stretch.whole_s)} h recorded"


def _hours(stretch: Stretch) -> str:
    """Return how long was measured; a missing minute of a night is not worth a word."""
    whole = _short(stretch.whole_s)
    return f"{whole} h" if _short(stretch.recorded_s) == whole else f"the {_gap(stretch)}"


def _short(seconds: float) -> str:
    return f"{round(seconds / 3600, 1):g}"


def _said(level_db: float) -> str:
    if np.isnan(level_db):
        return "not known"
    return "silence" if np.isneginf(level_db) else f"{level_db:.1f} dB"


def _a_night(fewest: int, most: int) -> str:
    return f"{fewest if fewest == most else f'{fewest} to {most}'} a night"


def _events(count: int) -> str:
    return f"{count or 'no'} event{'' if count == 1 else 's'}"
