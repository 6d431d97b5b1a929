"""What was measured, what it amounts to for one criterion, and the phrases both are told in."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sleepnoise.judgement.circumstances import NOTHING_SAID, Circumstances
from sleepnoise.judgement.coverage import Series, Stretch
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

SAME_DB = 1e-3
"""Levels closer than this are equal, dB. Chosen: far above the steps of float32 levels (4e-6 dB at 45 dB),
far below anything that could be measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured and said: everything that criteria are compared with.

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
    circumstances : Circumstances
    """

    series: Mapping[str, Series]
    events: tuple[Event, ...] | None
    window: NightWindow
    uncertainty_db: float
    circumstances: Circumstances = NOTHING_SAID

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
        For people: what was measured, what is allowed (empty if there is nothing to compare), how much is
        missing.
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
    uncertainty_db : float or None, dB
        Expanded uncertainty, where it is not that of a level.
    doubt : str
        Why a measured level above the value is not yet one that exceeds it; empty if nothing is.
    unsaid : str
        Why a measured level below the value does not keep it yet; empty if nothing is.
    waived : str
        Why the value does not apply to so quiet a night; empty if it does.
    """

    found: str
    allowed: str
    gap: str
    value_db: float
    measured_db: float
    at_least_db: float
    complete: bool
    count: int | None = None
    uncertainty_db: float | None = None
    doubt: str = ""
    unsaid: str = ""
    waived: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One mean level of one stretch of time, beside its value.

    Attributes
    ----------
    what : str
        For people, before the level.
    value_db, measured_db, at_least_db : float, dB
        As in a finding.
    gap : str
        What is missing beside time; empty if nothing is.
    uncertainty_db, doubt, unsaid
        As in a finding.
    """

    what: str
    value_db: float
    measured_db: float
    at_least_db: float
    gap: str = ""
    uncertainty_db: float | None = None
    doubt: str = ""
    unsaid: str = ""


def nothing_found(found: str, gap: str) -> Finding:
    """Return the finding on a criterion for which there is nothing to compare."""
    unknown_db = float("nan")
    return Finding(
        found=found,
        allowed="",
        gap=gap,
        value_db=unknown_db,
        measured_db=unknown_db,
        at_least_db=unknown_db,
        complete=False,
    )


def silent_rest_db(stretch: Stretch) -> float:
    """Return what a level loses if what is missing was silent, dB."""
    if stretch.complete or stretch.recorded_s == 0:
        return 0.0
    return float(10 * np.log10(stretch.share))


def were_it_silent(measured_db: float, at_least_db: float) -> str:
    """Return what a mean would be if what is missing was silent, if that matters."""
    if not at_least_db < measured_db:
        return ""
    return f", {level_said(at_least_db)} over all of it were the rest silent"


def gap_said(stretch: Stretch) -> str:
    """Return how much of a period was recorded."""
    return f"{_short(stretch.recorded_s)} of {_short(stretch.whole_s)} h recorded"


def hours_said(stretch: Stretch) -> str:
    """Return how long was measured; a missing minute of a night is not worth a word."""
    whole = _short(stretch.whole_s)
    return f"{whole} h" if _short(stretch.recorded_s) == whole else f"the {gap_said(stretch)}"


def _short(seconds: float) -> str:
    return f"{round(seconds / 3600, 1):g}"


def level_said(level_db: float) -> str:
    """Return a level for people."""
    if np.isnan(level_db):
        return "not known"
    return "silence" if np.isneginf(level_db) else f"{level_db:.1f} dB"
