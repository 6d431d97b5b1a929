"""Numbers and times as people read them: the only place that rounds.

Levels are shown to a tenth of a decibel. Nothing is compared after rounding: verdicts are
made from unrounded levels and come in as words.
"""

import math
from datetime import datetime, tzinfo

from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.judgement.log_assessment import LogAssessment

DOUBTS = {"memory": "unverified", "assumption": "assumed"}
"""Printed beside a value, by how it is known; nothing beside those that were seen."""


def level_text(level_db: float, decimals: int = 1) -> str:
    """Return a level for people, without its unit.

    Examples
    --------
    >>> level_text(34.25), level_text(float("-inf")), level_text(float("nan"))
    ('34.2', 'silence', 'not known')
    """
    if math.isnan(level_db):
        return "not known"
    if math.isinf(level_db):
        return "silence" if level_db < 0 else "over silence"
    # Adding zero turns -0.0 into 0.0.
    return f"{round(level_db, decimals) + 0.0:.{decimals}f}"


def number_text(value: float, decimals: int) -> str:
    """Return a number that is no level, without its unit; a dash if it is not known.

    Examples
    --------
    >>> number_text(0.456, 2), number_text(float("nan"), 2)
    ('0.46', '–')
    """
    return f"{round(value, decimals) + 0.0:.{decimals}f}" if math.isfinite(value) else "–"


def signed_text(difference_db: float) -> str:
    """Return a difference with its sign, a true minus in front."""
    if not math.isfinite(difference_db):
        return "–"
    text = f"{round(difference_db, 1) + 0.0:+.1f}"
    return text.replace("-", "−").replace("+0.0", "0.0")


def axis_text(level_db: float) -> str:
    """Return a level for an axis, with a true minus."""
    return f"{level_db:g}".replace("-", "−")


def duration_text(seconds: float) -> str:
    """Return a length of time for people.

    Examples
    --------
    >>> duration_text(0.75), duration_text(95.2), duration_text(28800.0)
    ('0.8 s', '1 min 35 s', '8 h')
    """
    if seconds < 60 and round(seconds, 1) < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    parts = [(hours, "h"), (minutes, "min"), (rest if not hours else 0, "s")]
    return " ".join(f"{amount} {unit}" for amount, unit in parts if amount)


def clock_text(instant: datetime, zone: tzinfo, *, seconds: bool = False) -> str:
    """Return the local clock time of an instant."""
    return instant.astimezone(zone).strftime("%H:%M:%S" if seconds else "%H:%M")


MONTHS = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip
"""Names of the months, whatever language the machine is set to."""


def date_text(instant: datetime, zone: tzinfo) -> str:
    """Return the local date and clock time of an instant, with its offset from UTC."""
    local = instant.astimezone(zone)
    offset = local.isoformat()[-6:]
    return f"{local.day} {MONTHS[local.month - 1]} {local.year}, {local:%H:%M:%S} (UTC{offset})"


def night_text(night: NightAssessment | LogAssessment) -> str:
    """Return the dates that the night window lies on, such as ``"Night of 14 to 15 January 2026"``."""
    window = night.window.overlapping(night.start, night.end)
    first, last = (instant.astimezone(night.window.zone) for instant in window)
    ending = f"{last.day} {MONTHS[last.month - 1]} {last.year}"
    if first.date() == last.date():
        return f"Night of {ending}"
    month = "" if first.month == last.month else f" {MONTHS[first.month - 1]}"
    year = "" if first.year == last.year else f" {first.year}"
    return f"Night of {first.day}{month}{year} to {ending}"


def unit_text(night: NightAssessment) -> str:
    """Return what levels of this night are in decibels of."""
    return "dB" if night.absolute else "dB re full scale"
