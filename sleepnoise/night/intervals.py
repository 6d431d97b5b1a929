"""Intervals: the night cut at round local clock times, each with all its statistics."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.levels.statistics import LevelStatistics, level_statistics

_MINUTE = timedelta(minutes=1)
_TICK = timedelta(seconds=TICK_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """One stretch of the night.

    Attributes
    ----------
    start : datetime
        UTC. Later than the round clock time when the stretch begins in between.
    complete : bool
        Whether it is a whole clock interval and the recording covers all of it, to within a tick.
    statistics : LevelStatistics
        Of the part that was recorded.
    """

    start: datetime
    complete: bool
    statistics: LevelStatistics


def intervals(
    history: LevelHistory, start: datetime, end: datetime, minutes: int, zone: ZoneInfo
) -> tuple[Interval, ...]:
    """Cut part of a recording at round local clock times.

    Parameters
    ----------
    history : LevelHistory
    start, end : datetime
        The part to cut, UTC.
    minutes : int
        Length of a clock interval: 15 cuts at each quarter, 60 at each full hour.
    zone : ZoneInfo
        Zone whose clock is meant.

    Returns
    -------
    tuple of Interval
        In order of time; together they hold every recorded tick of the part once. When the
        clocks change, the hour that comes twice gives two intervals and the one that is
        skipped none.

    Raises
    ------
    ValueError
        If the interval does not divide the hour.
    """
    if minutes <= 0 or 60 % minutes:
        raise ValueError(f"minutes must divide the hour, got {minutes}.")
    cuts = clock_cuts(start, end, minutes, zone)
    pieces = (_interval(history, whole, (start, end)) for whole in pairwise(cuts))
    return tuple(piece for piece in pieces if piece is not None)


def clock_cuts(start: datetime, end: datetime, minutes: int, zone: ZoneInfo) -> list[datetime]:
    """Return the round clock times from the last before *start* to the first after *end*, UTC."""
    # Minute by minute, because only asking the zone tells where its clock is: offsets may be
    # odd quarters of an hour, and clocks change in the middle of the night.
    cuts = [start.replace(second=0, microsecond=0)]
    while _slot(cuts[0] - _MINUTE, minutes, zone) == _slot(cuts[0], minutes, zone):
        cuts[0] -= _MINUTE
    slot = _slot(cuts[0], minutes, zone)
    instant = cuts[0]
    while cuts[-1] < end:
        instant += _MINUTE
        following = _slot(instant, minutes, zone)
        if following != slot:
            cuts.append(instant)
            slot = following
    return cuts


def _slot(instant: datetime, minutes: int, zone: ZoneInfo) -> tuple[int, timedelta | None]:
    """Return what tells one clock interval from the next: its place in the day, and the offset from UTC."""
    local = instant.astimezone(zone)
    return (60 * local.hour + local.minute) // minutes, local.utcoffset()


def _interval(
    history: LevelHistory, whole: tuple[datetime, datetime], part: tuple[datetime, datetime]
) -> Interval | None:
    first = history.tick_of(max(whole[0], part[0]))
    last = history.tick_of(min(whole[1], part[1]))
    if first >= last:
        return None
    covered = (max(part[0], history.start), min(part[1], history.end))
    complete = covered[0] - whole[0] < _TICK and whole[1] - covered[1] < _TICK
    piece = history.between(first, last)
    return Interval(start=piece.start, complete=complete, statistics=level_statistics(piece))
