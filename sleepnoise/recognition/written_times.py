"""Times as people and spreadsheets write them, as instants of one recorded night.

A date with its time, ISO 8601 or day, month and year in figures, is local unless it has an
offset. A clock time alone is the one within the recording: after midnight it is the next
morning's. What clock changes skipped or made come twice is asked, never guessed.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from typing import Literal, get_args
from zoneinfo import ZoneInfo

from sleepnoise.errors import StartTimeError
from sleepnoise.recording.clock import YEARS, instant_of

DateOrder = Literal["day first", "month first"]
ORDERS: tuple[DateOrder, ...] = get_args(DateOrder)

_CLOCK = (
    r"(?P<hour>\d{1,2})[:.](?P<minute>\d\d)(?:[:.](?P<second>\d\d)(?:[.,](?P<part>\d{1,6}))?)?"
    r"(?:\s*(?P<half>[ap])\.?m\.?)?"
)
_ISO = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:[.,]\d{1,6})?)?(?:\s?(?:Z|[+-]\d\d:?\d\d))?", re.ASCII
)
_CLOCK_ALONE = re.compile(_CLOCK, re.ASCII | re.IGNORECASE)
_FIGURES = re.compile(
    rf"(?P<one>\d{{1,2}})(?P<sign>[./-])(?P<two>\d{{1,2}})(?P=sign)(?P<year>\d{{4}})[T, ]\s*{_CLOCK}",
    re.ASCII | re.IGNORECASE,
)
_WRITE = "Write 2026-02-10T23:15:30, 10.02.2026 23:15, or 23:15 alone for the time within the recording."
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedNight:
    """What places a written time: the recording, and the clock of its place.

    Attributes
    ----------
    start, end : datetime
        Of the recording, UTC.
    zone : ZoneInfo
    date_order : DateOrder, optional
        Of dates in figures; without it a date that can be read both ways is refused.
    """

    start: datetime
    end: datetime
    zone: ZoneInfo
    date_order: DateOrder | None = None

    def reading_dates(self, texts: Iterable[str]) -> "RecordedNight":
        """Return the same night with the one order of day and month in which all dates make sense.

        An order in which a date does not exist is out. If both are left, and only one of them
        puts a date on a day of the recording, it is that one. Otherwise the order stays open.
        """
        dates = [date_readings(figures) for text in texts if (figures := _FIGURES.fullmatch(text))]
        if self.date_order is not None or not dates:
            return self
        possible = [order for order in ORDERS if all(order in readings for readings in dates)]
        if len(possible) == 2:
            days = {each.astimezone(self.zone).date() for each in (self.start, self.end)}
            possible = [order for order in possible if any(each[order].date() in days for each in dates)]
        return replace(self, date_order=possible[0]) if len(possible) == 1 else self

    def instant(self, text: str) -> datetime:
        """Return the instant, UTC, of a date with its time, or of a clock time within the recording.

        Raises
        ------
        StartTimeError
            If the text is no time, its date can be read two ways, the recording has no such
            time or has it twice, or clocks were changed then.
        """
        clock = _CLOCK_ALONE.fullmatch(text)
        if clock is None:
            return self._dated(text)
        wanted = _clock_time(clock, text)
        found = [instant for instant in self._readings(wanted) if self.start <= instant <= self.end]
        if len(found) != 1:
            raise self._no_single(text, len(found))
        return found[0]

    def span(self, start: str, end: str) -> tuple[datetime, datetime]:
        """Return the instants, UTC, between which something went on; an end is the first after its start.

        A span of clock times alone is the one that has a part in the recording.

        Raises
        ------
        StartTimeError
            As :meth:`instant`, or if the end is not after the start or a day or more later.
        """
        begin, finish = _CLOCK_ALONE.fullmatch(start), _CLOCK_ALONE.fullmatch(end)
        begins = [self._dated(start)] if begin is None else self._readings(_clock_time(begin, start))
        spans = []
        for first in begins:
            if finish is None:
                last = self._dated(end)
            else:
                last = min(
                    (each for each in self._readings(_clock_time(finish, end), first) if each >= first),
                    default=first,
                )
            if begin is None or (first < self.end and last > self.start and last - first < _DAY):
                spans.append((first, last))
        if len(spans) != 1:
            raise self._no_single(f"{start} to {end}", len(spans))
        if not timedelta(0) < spans[0][1] - spans[0][0] < _DAY:
            raise _no_span(start, end)
        return spans[0]

    def _readings(self, clock: time, around: datetime | None = None) -> list[datetime]:
        """Return the instants of a clock time on the days of the recording, or of another instant."""
        first, last = (self.start, self.end) if around is None else (around, around)
        day = first.astimezone(self.zone).date() - _DAY
        found = []
        while day <= last.astimezone(self.zone).date() + _DAY:
            local = datetime.combine(day, clock)
            both = [local.replace(tzinfo=self.zone, fold=fold).astimezone(UTC) for fold in (0, 1)]
            # Only a change of clocks within the recording is worth a complaint.
            matters = any(self.start <= each <= self.end for each in both)
            found.append(instant_of(local, self.zone, "the time") if matters else both[0])
            day += _DAY
        return found

    def _dated(self, text: str) -> datetime:
        if _ISO.fullmatch(text):
            try:
                moment = datetime.fromisoformat(text.replace(",", ".").replace(" +", "+").replace(" Z", "Z"))
            except ValueError:
                raise _no_time(text) from None
        else:
            figures = _FIGURES.fullmatch(text)
            if figures is None:
                raise _no_time(text)
            moment = self._by_figures(figures, text)
        if not YEARS[0] <= moment.year <= YEARS[1]:
            raise StartTimeError(
                f"the year must lie in {YEARS[0]} to {YEARS[1]}, got {text!r}.", remedy=_WRITE
            )
        return instant_of(moment, self.zone, "the time") if moment.tzinfo is None else moment.astimezone(UTC)

    def _by_figures(self, figures: re.Match[str], text: str) -> datetime:
        readings = date_readings(figures)
        if self.date_order is not None:
            readings = {order: day for order, day in readings.items() if order == self.date_order}
        days = set(readings.values())
        if not days:
            raise _no_time(text)
        if len(days) > 1:
            near = " or ".join(f"{day:%Y-%m-%d}" for day in sorted(days))
            raise StartTimeError(
                f"the date of {text!r} may be {near}.", remedy="Say which comes first: the day or the month."
            )
        return datetime.combine(days.pop(), _clock_time(figures, text))

    def _no_single(self, text: str, count: int) -> StartTimeError:
        first, last = (f"{each.astimezone(self.zone):%Y-%m-%d %H:%M}" for each in (self.start, self.end))
        how = "more than once" if count else "nowhere"
        return StartTimeError(
            f"{text} lies {how} in the recording from {first} to {last} ({self.zone.key}).",
            remedy="Write it with its date, such as 2026-02-10T23:15:30.",
        )


def date_readings(figures: re.Match[str]) -> dict[DateOrder, datetime]:
    """Return the days that a date in figures can mean, by the order of day and month."""
    one, two, year = (int(figures[part]) for part in ("one", "two", "year"))
    written: dict[DateOrder, tuple[int, int]] = {"day first": (one, two), "month first": (two, one)}
    found: dict[DateOrder, datetime] = {}
    for order, (day, month) in written.items():
        try:
            found[order] = datetime(year, month, day)
        except ValueError:
            continue
    return found


def _clock_time(match: re.Match[str], text: str) -> time:
    hour, half = int(match["hour"]), (match["half"] or "").lower()
    if half:
        if not 1 <= hour <= 12:
            raise _no_time(text)
        hour = hour % 12 + (12 if half == "p" else 0)
    micro = int((match["part"] or "0").ljust(6, "0"))
    try:
        return time(hour, int(match["minute"]), int(match["second"] or 0), micro)
    except ValueError:
        raise _no_time(text) from None


def _no_time(text: str) -> StartTimeError:
    got = f"{text!r:.60}" if text else "nothing"
    return StartTimeError(f"a time is needed, got {got}.", remedy=_WRITE)


def _no_span(start: str, end: str) -> StartTimeError:
    return StartTimeError(
        f"the end must come after the start and within a day, got {start} to {end}.",
        remedy="Correct the end; past midnight it has the next day's date.",
    )
