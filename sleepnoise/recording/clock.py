"""Clocks: time zones, local times as instants, and what a recorder's clock that is wrong means.

A recorder's clock is taken for one that runs on: it may be off and fast or slow, but it knows
nothing of summer time. So a reading noted beside the true time turns every other reading into
an instant, and neither the zone that the clock was set to nor a clock change gets in the way.

Only time stamps are corrected. Times within a file come from its sample count, and the crystal
behind the samples is another one than the clock's; at 50 ppm it is 1.4 s off after eight hours,
and levels change by 0.0002 dB.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from difflib import get_close_matches
from typing import Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from sleepnoise.errors import StartTimeError

YEARS = (1990, 2099)
"""Years believed. Chosen: digital recorders came about 1990; a clock never set shows 1970 or 1980."""

READING_S = 0.6
"""Standard uncertainty of one reading, s. Chosen: two displays with whole seconds, 0.3 s each,
and half a second of looking from one to the other."""

UNKNOWN_DRIFT_PPM = 20.0
"""Standard uncertainty of a clock's rate that nobody has measured, ppm. Chosen: clock crystals are
sold within 20 ppm and age (common practice, no source)."""

MOST_DRIFT_PPM = 200.0
"""Largest drift believed, ppm. Chosen: 17 s a day, ten times what a clock crystal is sold for."""

SHORTEST_SPAN_S = 4 * 3600.0
"""Shortest time between two readings, s. Chosen: over less, a second misread looks like 70 ppm or more."""

ALIKE = 0.75
"""Likeness of names, 0 to 1, from which one is offered for another. Chosen: a letter or two wrong."""

LONGEST_ZONE_NAME = 64
"""Characters of the name of a zone. Chosen: twice the longest that there is."""

_DAY = timedelta(days=1)
_READING = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d[T ])?\d\d:\d\d:\d\d(?:\.\d{1,6})?(?(day)(?:Z|[+-]\d\d:\d\d)?|)", re.ASCII
)
_WHERE = "recorder clock"
_GIVE_READING = (
    "Write what it showed, then the true time: --clock 22:58:30=23:00:00, "
    "or with dates: --clock 2026-01-14T22:58:30=2026-01-14T23:00:00."
)


def zone_named(name: str, where: str) -> ZoneInfo:
    """Return the time zone of an IANA name.

    Parameters
    ----------
    name : str
        Such as ``"Europe/Vienna"``.
    where : str
        What it is needed for, to begin the complaint with.

    Raises
    ------
    StartTimeError
        If there is no such zone. The remedy names one that sounds alike.
    """
    try:
        # A lookup of a name with hundreds of slashes goes as deep, and too deep.
        return ZoneInfo(name if len(name) <= LONGEST_ZONE_NAME else "")
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        cities = [known for known in sorted(available_timezones()) if "/" in known]
        by_city = {known.rpartition("/")[2].casefold(): known for known in cities}
        wanted = name[:LONGEST_ZONE_NAME].rpartition("/")[2].casefold().replace(" ", "_")
        alike = get_close_matches(wanted, by_city, n=1, cutoff=ALIKE)
        close = [by_city[city] for city in alike] or ["Europe/Vienna"]
        raise StartTimeError(
            f"{where}: the time zone must be an IANA name, got {name!r:.80}.",
            remedy=f"Give region and city, such as --zone {close[0]}.",
        ) from error


def instant_of(local: datetime, zone: ZoneInfo, where: str, option: str = "") -> datetime:
    """Return the one instant, UTC, at which clocks in a zone showed a local time.

    Parameters
    ----------
    local : datetime
        Without zone.
    zone : ZoneInfo
    where : str
        What it is the time of, to begin the complaint with.
    option : str
        How it is given, for the remedy.

    Raises
    ------
    StartTimeError
        If a clock change skipped that time or made it come twice.
    """
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    utc = first.astimezone(UTC)
    if first.utcoffset() == second.utcoffset():
        return utc
    exists = utc.astimezone(zone).replace(tzinfo=None, fold=0) == local
    happened = "happened twice" if exists else "never happened"
    raise StartTimeError(
        f"{where} {local.isoformat(sep=' ')} {happened} in {zone.key}, where clocks were changed then.",
        remedy=f"Give it with its offset: {option}{first.isoformat()} or {option}{second.isoformat()}.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockReading:
    """What a recorder's clock showed at a moment whose true time somebody noted.

    Attributes
    ----------
    shown, true : datetime or time
        Both with a date or both without; a date may come with an offset from UTC.
    """

    shown: datetime | time
    true: datetime | time

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the reading that a text such as ``"22:58:30=23:00:00"`` stands for.

        Parameters
        ----------
        text : str
            What the clock showed, an equals sign, the true time; both to the second,
            ISO 8601, both with a date or both without.

        Raises
        ------
        StartTimeError
            If the text is no such pair.
        """
        shown, _, true = (part.strip() for part in text.partition("="))
        found = [_READING.fullmatch(part) for part in (shown, true)]
        if found[0] is None or found[1] is None or bool(found[0]["day"]) != bool(found[1]["day"]):
            raise StartTimeError(
                f"{_WHERE}: SHOWN=TRUE is needed, two times to the second, both with a date or both "
                f"without, got {text!r:.80}.",
                remedy=_GIVE_READING,
            )
        read = datetime.fromisoformat if found[0]["day"] else time.fromisoformat
        try:
            reading = cls(shown=read(shown), true=read(true))
        except ValueError:
            raise StartTimeError(
                f"{_WHERE}: there is no such date or time: {text!r:.80}.", remedy=_GIVE_READING
            ) from None
        reading._check_years(text)
        return reading

    def dated(self, near: datetime) -> tuple[datetime, datetime]:
        """Return both with dates; without any, the clock showed the time closest to *near*."""
        if isinstance(self.shown, datetime) and isinstance(self.true, datetime):
            return self.shown, self.true
        shown, true = (datetime.combine(near, part) for part in (self.shown, self.true))  # type: ignore[arg-type]
        shown_then = near + _within_half_a_day(shown - near)
        return shown_then, shown_then + _within_half_a_day(true - shown)

    def _check_years(self, text: str) -> None:
        years = [part.year for part in (self.shown, self.true) if isinstance(part, datetime)]
        if not all(YEARS[0] <= year <= YEARS[1] for year in years):
            raise StartTimeError(
                f"{_WHERE}: dates must lie in the years {YEARS[0]} to {YEARS[1]}, got {text!r:.80}.",
                remedy="If the clock was never set, give the start of the recording with --start instead.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockCorrection:
    """What turns readings of a recorder's clock into instants.

    Attributes
    ----------
    shown : datetime
        What the clock showed at the first reading, without zone.
    true : datetime
        The instant of that reading, UTC.
    local_offset : timedelta
        Offset of local time from UTC at that instant.
    drift_ppm : float, ppm
        How much too fast the clock runs; 0 if only one reading is known.
    span_s : float, s
        Time between the two readings; 0 if there is only one.
    """

    shown: datetime
    true: datetime
    local_offset: timedelta
    drift_ppm: float = 0.0
    span_s: float = 0.0

    @classmethod
    def from_readings(
        cls, readings: Sequence[ClockReading], zone: ZoneInfo, near: datetime
    ) -> "ClockCorrection":
        """Return the correction that one or two readings make possible.

        Parameters
        ----------
        readings : sequence of ClockReading
            One gives the offset; two, with dates and hours apart, the drift as well.
        zone : ZoneInfo
            Of the true times.
        near : datetime
            The time stamp to be corrected: dates a reading that has no date.

        Raises
        ------
        StartTimeError
            If there are more readings, dates are missing, the readings are too close together,
            the drift is beyond ``MOST_DRIFT_PPM``, or a true time was skipped or came twice.
        """
        if not 1 <= len(readings) <= 2:
            raise StartTimeError(
                f"{_WHERE}: one or two readings are needed, got {len(readings)}.",
                remedy="Keep the ones closest to the beginning and to the end of the night.",
            )
        if len(readings) == 2 and not all(isinstance(each.shown, datetime) for each in readings):
            raise StartTimeError(
                f"{_WHERE}: two readings need dates, so that the time between them is clear.",
                remedy=_GIVE_READING,
            )
        first, *second = sorted((_one(each, zone, near) for each in readings), key=lambda one: one.true)
        return first._and(second[0]) if second else first

    def corrected(self, reading: datetime) -> datetime:
        """Return the instant, UTC, at which the clock gave a reading.

        Parameters
        ----------
        reading : datetime
            As the clock showed or wrote it, without zone or with the offset that it wrote.
        """
        return self.true + (self._plain(reading) - self.shown) / (1.0 + self.drift_ppm * 1e-6)

    def uncertainty_s(self, reading: datetime) -> float:
        """Return the standard uncertainty of a corrected reading, s."""
        elapsed_s = (self._plain(reading) - self.shown).total_seconds()
        if self.span_s == 0.0:
            return math.hypot(READING_S, elapsed_s * UNKNOWN_DRIFT_PPM * 1e-6)
        share = elapsed_s / self.span_s
        return READING_S * math.hypot(1.0 - share, share)

    @property
    def slow(self) -> timedelta:
        """How far the clock lagged behind local time at the first reading; negative if it was ahead."""
        return (self.true + self.local_offset).replace(tzinfo=None) - self.shown

    @property
    def text(self) -> str:
        """The correction for people, such as ``"recorder clock 1 min 30 s slow"``."""
        sides = (("slow", self.slow), ("fast", -self.slow))
        off = next((f"{span_text(by)} {side}" for side, by in sides if by > timedelta(0)), "right")
        if self.span_s == 0.0:
            return f"recorder clock {off}"
        return f"recorder clock {off} at first and running {_signed(self.drift_ppm)} ppm"

    def _plain(self, reading: datetime) -> datetime:
        """Return a reading as the clock would show it that was set to local time at the first reading."""
        if reading.tzinfo is None:
            return reading
        return (reading.astimezone(UTC) + self.local_offset).replace(tzinfo=None)

    def _and(self, later: "ClockCorrection") -> "ClockCorrection":
        true_s = (later.true - self.true).total_seconds()
        if true_s < SHORTEST_SPAN_S:
            raise StartTimeError(
                f"{_WHERE}: two readings must be at least {SHORTEST_SPAN_S / 3600:g} h apart to tell "
                f"a drift, got {span_text(later.true - self.true)}.",
                remedy="Keep one of them, or read the clock again after the night.",
            )
        drift_ppm = ((later.shown - self.shown).total_seconds() / true_s - 1.0) * 1e6
        if abs(drift_ppm) > MOST_DRIFT_PPM:
            raise StartTimeError(
                f"{_WHERE}: may drift by {MOST_DRIFT_PPM:g} ppm (17 s a day) at most; between the two "
                f"readings it went by {_signed(drift_ppm)} ppm, so it was set in between or one is misread.",
                remedy="Check both readings, or keep the one closer to the start of the recording.",
            )
        return ClockCorrection(
            shown=self.shown,
            true=self.true,
            local_offset=self.local_offset,
            drift_ppm=drift_ppm,
            span_s=(later.shown - self.shown).total_seconds(),
        )


def span_text(span: timedelta) -> str:
    """Return a length of time for people.

    Examples
    --------
    >>> span_text(timedelta(hours=2, seconds=5.5))
    '2 h 0 min 5.5 s'
    """
    tenths = round(abs(span).total_seconds() * 10)
    minutes, rest = divmod(tenths, 600)
    days, hours, minutes = minutes // 1440, minutes // 60 % 24, minutes % 60
    parts = [(days, "d"), (hours, "h"), (minutes, "min")]
    while parts and not parts[0][0]:
        del parts[0]
    return " ".join([f"{number} {unit}" for number, unit in parts] + [f"{rest / 10:g} s"])


def _one(reading: ClockReading, zone: ZoneInfo, near: datetime) -> ClockCorrection:
    local_near = near if near.tzinfo is None else near.astimezone(zone).replace(tzinfo=None)
    shown, true = reading.dated(local_near)
    utc = instant_of(true, zone, f"{_WHERE}: the true time") if true.tzinfo is None else true.astimezone(UTC)
    offset = utc.astimezone(zone).utcoffset() or timedelta(0)
    if shown.tzinfo is not None:
        shown = (shown.astimezone(UTC) + offset).replace(tzinfo=None)
    return ClockCorrection(shown=shown, true=utc, local_offset=offset)


def _within_half_a_day(span: timedelta) -> timedelta:
    return (span + _DAY / 2) % _DAY - _DAY / 2


def _signed(drift_ppm: float) -> str:
    """Return a drift with its sign, a true minus in front."""
    return f"{drift_ppm:+.0f}".replace("-", "−")
