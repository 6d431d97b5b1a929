"""Intervals: the night cut at round local clock times, each with all its statistics."""

from dataclasses import dataclass
from datetime import datetime

from sleepnoise.levels.statistics import LevelStatistics


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """One stretch of the night.

    Attributes
    ----------
    start : datetime
        UTC.
    complete : bool
        Whether the recording covers the whole of it.
    statistics : LevelStatistics
        Of the part that was recorded.
    """

    start: datetime
    complete: bool
    statistics: LevelStatistics
