"""The night window: which clock hours count as night, and which instants those are."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Self
from zoneinfo import ZoneInfo

from sleepnoise.errors import SettingsError, StartTimeError
from sleepnoise.recording.clock import zone_named

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class NightWindow:
    """Clock hours that count as night, in the local time of the place.

    Attributes
    ----------
    start, end : time
        Local clock times; an end before the start means the next morning.
    zone : ZoneInfo

    Raises
    ------
    SettingsError
        If start and end are the same clock time.
    """

    start: time
    end: time
    zone: ZoneInfo

    def __post_init__(self) -> None:
        if self.start == self.end:
            raise SettingsError(
                f"night window: start and end must differ, both are {self.start:%H:%M}.",
                remedy="Give two different clock times, such as 23:00-07:00.",
            )

    @classmethod
    def parse(cls, text: str, zone: str) -> Self:
        """Return the window that a text such as ``"23:00-07:00"`` stands for.

        Parameters
        ----------
        text : str
            Two clock times, hours and minutes, with a hyphen or dash between.
        zone : str
            IANA name of the time zone, such as ``"Europe/Vienna"``.

        Raises
        ------
        SettingsError
            If the text is no window.
        StartTimeError
            If there is no such time zone.

        Examples
        --------
        >>> NightWindow.parse("23:00-07:00", "Europe/Vienna").text
        '23:00-07:00'
        """
        parts = re.split(r"\s*[-–]\s*", text.strip())
        if len(parts) != 2:
            raise _no_window(text)
        return cls.of_period((parts[0], parts[1]), zone_named(zone, "night window"))

    @classmethod
    def of_period(cls, period: tuple[str, str], zone: ZoneInfo) -> Self:
        """Return the window between two clock times, such as ``("22:00", "06:00")``."""
        found = [_CLOCK.fullmatch(part) for part in period]
        if found[0] is None or found[1] is None:
            raise _no_window("-".join(period))
        start, end = (time(int(match[1]), int(match[2])) for match in found if match)
        return cls(start=start, end=end, zone=zone)

    @property
    def text(self) -> str:
        """The window for people, such as ``"23:00-07:00"``."""
        return f"{self.start:%H:%M}-{self.end:%H:%M}"

    def overlapping(self, start: datetime, end: datetime) -> tuple[datetime, datetime]:
        """Return the whole window, of whichever night, that a recording covers most of.

        Parameters
        ----------
        start, end : datetime
            The recording, UTC.

        Returns
        -------
        start, end : datetime
            The window, UTC; the earlier one of equals. It is an hour shorter or longer
            than the clock times say on a night when the clocks change.

        Raises
        ------
        StartTimeError
            If the recording misses the window altogether.
        """
        nights = [night for night in self._nights(start, end) if min(end, night[1]) > max(start, night[0])]
        if not nights:
            raise self.missed_by(start, end)
        return max(nights, key=lambda night: min(end, night[1]) - max(start, night[0]))

    def missed_by(self, start: datetime, end: datetime) -> StartTimeError:
        """Return the error for a recording that misses the window, or has no tick of 125 ms in it."""
        return StartTimeError(
            f"night window: the recording from {self._local(start)} to {self._local(end)} "
            f"({self.zone.key}) has no part between {self.text} local time.",
            remedy="Choose other hours with --window, or correct the recording's start with --start.",
        )

    def _nights(self, start: datetime, end: datetime) -> Iterator[tuple[datetime, datetime]]:
        """Yield the windows of every evening from the day before the recording to its last day."""
        # The first instant of a clock time that comes twice; a skipped one counts on from the hour before.
        evening = start.astimezone(self.zone).date() - _DAY
        while evening <= end.astimezone(self.zone).date():
            morning = evening + _DAY if self.end < self.start else evening
            yield self._instant(evening, self.start), self._instant(morning, self.end)
            evening += _DAY

    def _instant(self, day: date, clock: time) -> datetime:
        return datetime.combine(day, clock, tzinfo=self.zone).astimezone(UTC)

    def _local(self, instant: datetime) -> str:
        return f"{instant.astimezone(self.zone):%Y-%m-%d %H:%M}"


def _no_window(text: str) -> SettingsError:
    return SettingsError(
        f"night window: two clock times from 00:00 to 23:59 are needed, got {text!r}.",
        remedy="Write it like 23:00-07:00.",
    )
