"""The assessment of a night from an instrument's own log: what it can tell, and what it cannot.

The log's step decides. Means, maxima and minima of a longer stretch follow from those of its
steps. Levels exceeded N % of the time do so only if the steps are short, and are then those of
what was logged, not of LAF; single events can be told apart only then. Nothing is made up for
what is missing: it is said.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import energy, energy_mean, level
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.judgement.circumstances import NOTHING_SAID, Circumstances
from sleepnoise.judgement.coverage import Series
from sleepnoise.judgement.guidelines import Criterion, Verdict, judge_series
from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.levels.statistics import EXCEEDED_PERCENT, exceeded_levels
from sleepnoise.logs.level_log import LevelLog
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event, find_events
from sleepnoise.night.intervals import clock_cuts
from sleepnoise.night.window import NightWindow

LONGEST_SHORT_STEP_S = 1.0
"""Longest step from which exceeded levels and events are taken, s. Chosen: instruments read LAF once a second
for their own percentiles (looked up); over longer steps short sounds vanish in the mean."""

MEANS = ("laeq", "lceq", "lzeq")
HIGHEST = ("lafmax", "lasmax", "lcpeak")
LOWEST = ("lafmin",)

ALIGNED_SHARE = 0.01
"""Share of a clock interval by which steps may lie beside its edges. Chosen: 9 s of a quarter of an hour."""

_TICK = timedelta(seconds=TICK_S)
_ALWAYS = (
    "A log holds no sound: what made a level, and whether it belongs to the room at all, cannot be heard.",
    "The instrument's clock, calibration and overloads are as its log states them; none could be checked.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFigure:
    """One level of one stretch.

    Attributes
    ----------
    quantity : str
        Name in code, such as ``"la90"``.
    low_db, high_db : float, dB
        Between what the level lies; the same number if it is known. ``nan`` if nothing was logged.
    made_of : str
        What it was made of, for people: ``"LAeq of 1 s"``.
    known_s : float, s
        Time that was logged.
    """

    quantity: str
    low_db: float
    high_db: float
    made_of: str
    known_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LogStretch:
    """One stretch of the night.

    Attributes
    ----------
    start : datetime
        UTC.
    seconds : float, s
        Length of the part that the log covers.
    complete : bool
        Whether all of the stretch that was meant was logged without a gap.
    figures : tuple of LogFigure
        One for each quantity that the log can tell.
    """

    start: datetime
    seconds: float
    complete: bool
    figures: tuple[LogFigure, ...]

    def figure(self, quantity: str) -> LogFigure | None:
        """Return the figure of a quantity; None if the log cannot tell it."""
        return next((figure for figure in self.figures if figure.quantity == quantity), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogAssessment:
    """What one night was like, as far as a log tells.

    Attributes
    ----------
    window : NightWindow
    start, end : datetime
        The part of the window that the log covers, UTC.
    window_s, step_s : float, s
        Length of the whole window, and of a step of the log.
    night : LogStretch
    quarter_hours, hours : tuple of LogStretch
        Empty if the steps do not fit into them.
    events : tuple of Event or None
        None if single events cannot be told apart. Their levels are made of what was logged.
    events_made_of : str
        For people; empty without events.
    verdicts : tuple of Verdict
    not_known : tuple of str
        What the log cannot tell, in sentences.
    expanded_uncertainty_db : float, dB
    """

    window: NightWindow
    start: datetime
    end: datetime
    window_s: float
    step_s: float
    night: LogStretch
    quarter_hours: tuple[LogStretch, ...]
    hours: tuple[LogStretch, ...]
    events: tuple[Event, ...] | None
    events_made_of: str
    verdicts: tuple[Verdict, ...]
    not_known: tuple[str, ...]
    expanded_uncertainty_db: float


def assess_log(
    log: LevelLog,
    *,
    window: NightWindow,
    criteria: tuple[Criterion, ...],
    event_settings: EventSettings,
    expanded_uncertainty_db: float,
    band_uncertainty_db: float | None = None,
    circumstances: Circumstances = NOTHING_SAID,
) -> LogAssessment:
    """Return what one night was like, as far as a log tells.

    Parameters
    ----------
    log : LevelLog
    window : NightWindow
    criteria : tuple of Criterion
    event_settings : EventSettings
    expanded_uncertainty_db : float, dB
        U (k = 2) of a level; ``nan`` if not known, and then nothing is judged.
    band_uncertainty_db : float, dB, optional
        The same of third-octave levels.
    circumstances : Circumstances, optional
        What somebody said of the night that a log cannot tell.

    Raises
    ------
    StartTimeError
        If the log misses the window altogether.
    """
    whole = window.overlapping(log.start, log.end)
    start, end = max(whole[0], log.start), min(whole[1], log.end)
    series = series_of_log(log)
    events = log_events(log, event_settings)
    quarter_hours, hours = (
        _clock_stretches(log, series, (start, end), minutes, window) for minutes in (15, 60)
    )
    verdicts = judge_series(
        criteria,
        series,
        events,
        window,
        absolute=True,
        expanded_uncertainty_db=expanded_uncertainty_db,
        band_uncertainty_db=band_uncertainty_db,
        circumstances=circumstances,
    )
    return LogAssessment(
        window=window,
        start=start,
        end=end,
        window_s=(whole[1] - whole[0]).total_seconds(),
        step_s=log.step_s,
        night=_stretch(log, series, (start, end), whole),
        quarter_hours=quarter_hours,
        hours=hours,
        events=None if events is None else tuple(event for event in events if start <= event.start < end),
        events_made_of="" if events is None else _events_made_of(log),
        verdicts=verdicts,
        not_known=_not_known(log, events is not None, bool(hours)),
        expanded_uncertainty_db=expanded_uncertainty_db,
    )


def series_of_log(log: LevelLog) -> dict[str, Series]:
    """Return everything in a log by quantity; a column without a single level is left out."""

    def series(levels_db: NDArray[np.float32], nominal_hz: tuple[float, ...] = ()) -> Series:
        bands = levels_db if nominal_hz else levels_db[np.newaxis]
        known = np.asarray(~np.isnan(bands).any(axis=0))
        return Series(start=log.start, step=log.step, levels_db=levels_db, known=known, nominal_hz=nominal_hz)

    by_quantity = {name: series(levels_db) for name, levels_db in log.columns.items()}
    if log.nominal_hz:
        by_quantity["band_leq"] = series(log.bands, log.nominal_hz)
    return {name: each for name, each in by_quantity.items() if each.known.any()}


# Stretches of the night.


def _stretch(
    log: LevelLog,
    series: Mapping[str, Series],
    part: tuple[datetime, datetime],
    whole: tuple[datetime, datetime],
) -> LogStretch:
    parts = {name: each.between(*part) for name, each in series.items()}
    figures = tuple(figure for name in SYMBOLS if (figure := _figure(name, parts, log.step_s)) is not None)
    first = next(iter(parts.values()))
    missing_s = (whole[1] - whole[0]).total_seconds() - log.step_s
    return LogStretch(
        start=first.start,
        seconds=(first.end - first.start).total_seconds(),
        # A step at either edge may lie beside it.
        complete=all(figure.known_s > missing_s for figure in figures),
        figures=figures,
    )


def _figure(name: str, parts: Mapping[str, Series], step_s: float) -> LogFigure | None:
    """Return what a quantity was over a stretch; None if that cannot be told."""
    if name.removeprefix("la") in map(str, EXCEEDED_PERCENT):
        return _exceeded(name, parts, step_s)
    if name not in parts or name not in (*MEANS, *HIGHEST, *LOWEST):
        return None
    known = parts[name].levels_db[parts[name].known]
    pick = energy_mean if name in MEANS else np.max if name in HIGHEST else np.min
    level_db = float(pick(known)) if known.size else float("nan")
    return _known(name, level_db, level_db, f"{SYMBOLS[name].text} of {step_text(step_s)}", parts[name])


def _exceeded(name: str, parts: Mapping[str, Series], step_s: float) -> LogFigure | None:
    """Return a level exceeded N % of the time: from short steps, else between what the steps' own are."""
    short = next((one for one in ("laf", "laeq") if one in parts), None)
    if short is not None and step_s <= LONGEST_SHORT_STEP_S:
        level_db = exceeded_levels(parts[short].levels_db[parts[short].known])[name]
        read = "LAF read every" if short == "laf" else "LAeq of"
        return _known(name, level_db, level_db, f"{read} {step_text(step_s)}", parts[short])
    if name not in parts:
        return None
    known = parts[name].levels_db[parts[name].known]
    low_db, high_db = (float(known.min()), float(known.max())) if known.size else (float("nan"), float("nan"))
    # At least as many readings lie above the lowest, and at most as many above the highest.
    return _known(name, low_db, high_db, f"{SYMBOLS[name].text} of each {step_text(step_s)}", parts[name])


def _known(name: str, low_db: float, high_db: float, made_of: str, series: Series) -> LogFigure:
    known_s = float(np.count_nonzero(series.known)) * series.step.total_seconds()
    return LogFigure(quantity=name, low_db=low_db, high_db=high_db, made_of=made_of, known_s=known_s)


def _clock_stretches(
    log: LevelLog,
    series: Mapping[str, Series],
    part: tuple[datetime, datetime],
    minutes: int,
    window: NightWindow,
) -> tuple[LogStretch, ...]:
    """Return the night cut at round clock times; nothing if steps would have to be cut too."""
    cuts = clock_cuts(*part, minutes, window.zone)
    most = timedelta(minutes=minutes) * ALIGNED_SHARE
    inner = [cut for cut in cuts if part[0] < cut < part[1]]
    if log.step > timedelta(minutes=minutes) or any(
        _beside(cut - log.start, log.step) > most for cut in inner
    ):
        return ()
    pieces = ((max(begin, part[0]), min(end, part[1]), begin, end) for begin, end in pairwise(cuts))
    return tuple(
        _stretch(log, series, (first, last), (begin, end))
        for first, last, begin, end in pieces
        if last - first >= log.step
    )


def _beside(after_start: timedelta, step: timedelta) -> timedelta:
    rest = after_start % step
    return min(rest, step - rest)


# Events.


def log_events(log: LevelLog, settings: EventSettings) -> tuple[Event, ...] | None:
    """Return the events of a log; None if its steps are too long, or no LAeq was logged.

    Levels of events are made of what was logged: the maximum of a step is its LAFmax, or its
    LAeq if there is none, and the background is that of LAF or LAeq.
    """
    together = _steps_together(log)
    if together is None or "laeq" not in series_of_log(log):
        return None
    return find_events(_as_history(log, together), settings)


def _steps_together(log: LevelLog) -> int | None:
    """Return the fewest steps that make up whole ticks of a level history within the longest short step."""
    most = int(timedelta(seconds=LONGEST_SHORT_STEP_S) / log.step)
    return next((n for n in range(1, most + 1) if not (n * log.step) % _TICK), None)


def _as_history(log: LevelLog, together: int) -> LevelHistory:
    """Return a log as a level history in which every step lasts as many ticks as it takes."""
    steps = log.steps // together
    ticks = together * log.step // _TICK
    columns = {"lafmax": log.columns["laeq"], "laf": log.columns["laeq"], **log.columns}

    def on_ticks(levels_db: NDArray[np.float32], name: str) -> NDArray[np.float32]:
        grouped = levels_db[..., : steps * together].reshape(*levels_db.shape[:-1], steps, together)
        if name in HIGHEST:
            one = grouped.max(axis=-1)
        elif name in LOWEST:
            one = grouped.min(axis=-1)
        else:
            one = level(energy(grouped).mean(axis=-1)) if together > 1 else grouped[..., 0]
        return np.repeat(one.astype(np.float32), ticks, axis=-1)

    unknown = np.full(log.steps, np.nan, dtype=np.float32)
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    rows = {name: on_ticks(columns.get(name, unknown), name) for name in names}
    return LevelHistory(
        start=log.start,
        sample_rate_hz=float("nan"),
        nominal_hz=log.nominal_hz,
        bands=on_ticks(log.bands, "band_leq"),
        left_out=np.isnan(rows["laeq"]) | np.isnan(rows["lafmax"]),
        **rows,  # type: ignore[arg-type]
    )


# What is said of a log.


def step_text(step_s: float) -> str:
    """Return the length of a step for people.

    Examples
    --------
    >>> step_text(0.1), step_text(60.0), step_text(900.0)
    ('0.1 s', '1 min', '15 min')
    """
    return f"{step_s / 60:g} min" if step_s >= 60 and step_s % 60 == 0 else f"{step_s:g} s"


def _events_made_of(log: LevelLog) -> str:
    step = step_text(log.step_s)
    if "lafmax" in log.columns:
        return f"LAFmax of {step}; times and lengths are whole steps"
    return f"LAeq of {step}, as no LAFmax was logged; true maxima are higher"


def _not_known(log: LevelLog, events: bool, clock: bool) -> tuple[str, ...]:
    """Return what a log cannot tell, in sentences."""
    logged, step = series_of_log(log), step_text(log.step_s)
    lacking = [SYMBOLS[name].text for name in ("laeq", "lafmax", "lceq") if name not in logged]
    short = log.step_s <= LONGEST_SHORT_STEP_S
    said = {
        f"{', '.join(lacking)}: not logged, so nothing is said of it.": bool(lacking),
        f"Single events cannot be told apart in steps of {step}; that takes LAeq of 1 s or less.": not events,
        "No third octaves were logged: nothing is known of spectra and tones, and neither masking sound nor "
        "seals can be planned from this log.": "band_leq" not in logged,
        f"Levels exceeded N % of the night cannot be made from steps of {step}; where the instrument logged "
        "its own for each step, that of the night lies between their lowest and highest.": not short,
        "Levels exceeded N % of the time are those of the logged steps, not of LAF read eight times a "
        "second: short sounds weigh less in them.": short,
        f"Steps of {step} do not fit into the hours of the clock, so these are not listed.": not clock,
    }
    return (*(sentence for sentence, holds in said.items() if holds), *_ALWAYS)
