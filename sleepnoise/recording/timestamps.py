"""Start times: when a recording began, in which zone, and where both came from.

Recorders know no zones. Date and time in a file are those of somebody's clock, so the zone is
always asked for and never guessed; a local time that a clock change makes impossible or
ambiguous is refused, because an offset settles it and a guess would be an hour off.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

from sleepnoise.errors import StartTimeError
from sleepnoise.formats.bext import Origination, read_origination
from sleepnoise.formats.phone import stated_creation
from sleepnoise.recording.calibration import shown_name
from sleepnoise.recording.clock import (
    YEARS,
    ClockCorrection,
    ClockReading,
    instant_of,
    span_text,
    zone_named,
)

REFERENCE_AGREES_S = 1.0
"""How far TimeReference may lie from OriginationTime, s. Chosen: the latter
has whole seconds, cut off or rounded."""

NAME_AGREES_S = 2.0
"""How far the file name may lie from the bext chunk before it is said, s. Chosen: some writers
round names to the two seconds that memory cards count in."""

LARGEST_OFFSET_MIN = 14 * 60
"""Largest offset from UTC in a file name, min. Chosen: no zone on Earth goes further."""

OFFSET_STEP_MIN = 15
"""Offsets are multiples of this, min. Chosen: true of all zones today,
so the number of a part is rarely taken for one."""

# One kind of separator within the date and one within the time, any or none between them.
_DATE_THEN_TIME = (
    r"(?P<between>[-_.]?)(?P<month>\d\d)(?P=between)(?P<day>\d\d)"
    r"(?:T|[ _-])?(?P<hour>\d\d)(?P<within>[-:._]?)(?P<minute>\d\d)(?P=within)(?P<second>\d\d)(?!\d)"
)
_NAME = re.compile(
    r"(?<!\d)(?P<year>\d{4})" + _DATE_THEN_TIME + r"(?P<offset>(?:Z(?![A-Za-z])|[+-]\d\d:?\d\d(?!\d))?)",
    re.ASCII,
)
_NAME_TWO_DIGIT_YEAR = re.compile(r"(?<!\d)(?P<year>\d\d)" + _DATE_THEN_TIME, re.ASCII)
_NAME_UNIX_SECONDS = re.compile(r"(?<![0-9A-Za-z])[0-9A-Fa-f]{8}(?![0-9A-Za-z])")

_GIVE_START = (
    "Give it as date and time, such as --start 2026-03-05T23:10:00, with an offset (+01:00) if in doubt."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StartTime:
    """When a recording began.

    Attributes
    ----------
    utc : datetime
        Instant of the first sample, in UTC.
    zone : str
        IANA name of the zone that people at the place live in.
    origin, zone_origin : str
        Where each came from, for people.
    clock : ClockCorrection or None
        What the recorder's clock was corrected by.
    uncertainty_s : float, s
        Standard uncertainty of the instant if the clock was corrected, else ``nan``: not known.
    remarks : tuple of str
        What people should know about the start, in sentences.
    """

    utc: datetime
    zone: str
    origin: str
    zone_origin: str
    clock: ClockCorrection | None = None
    uncertainty_s: float = float("nan")
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Stamp:
    """A date and time, aware only if an offset came with it, and where it came from."""

    moment: datetime
    origin: str
    remarks: tuple[str, ...] = ()


def find_start(
    path: Path,
    sample_rate_hz: int,
    *,
    given: str | None,
    zone: str | None,
    clock: Sequence[ClockReading] = (),
) -> StartTime:
    """Tell when a recording began: from what was given, else from its bext chunk, else from its name.

    Parameters
    ----------
    path : Path
    sample_rate_hz : int, Hz
        Turns the time reference of a bext chunk into seconds.
    given : str, optional
        ISO 8601 date and time; local to the zone unless it has an offset or Z.
    zone : str, optional
        IANA name. Needed even if an offset fixes the instant: the night is a matter of local time.
    clock : sequence of ClockReading
        One or two readings of the recorder's clock with the true time, to correct what it wrote.

    Returns
    -------
    StartTime

    Raises
    ------
    StartTimeError
        If no zone or an unknown one is given, no start is found, the local time does not
        exist or exists twice because clocks changed, or the clock cannot be corrected.
    """
    place = zone_given(path, zone)
    if given is not None and clock:
        raise StartTimeError(
            f"{path}: either the start or readings of the recorder's clock are needed, both were given.",
            remedy="Leave --start out to correct what the recorder wrote, or --clock if the start is true.",
        )
    stamp = _stamp(path, sample_rate_hz, given, place)
    if clock:
        return _by_clock(stamp, place, ClockCorrection.from_readings(clock, place, stamp.moment))
    moment = stamp.moment
    if moment.tzinfo is None:
        moment = instant_of(moment, place, f"{path}: the start", "--start ")
    return StartTime(
        utc=moment.astimezone(UTC),
        zone=place.key,
        origin=stamp.origin,
        zone_origin="given (--zone)",
        remarks=stamp.remarks,
    )


def _by_clock(stamp: _Stamp, place: ZoneInfo, clock: ClockCorrection) -> StartTime:
    utc = clock.corrected(stamp.moment)
    remarks = list(stamp.remarks)
    if utc.astimezone(place).utcoffset() != clock.local_offset:
        remarks.append(
            f"Clocks in {place.key} were changed between the reading of the recorder's clock and the "
            "start; the recorder's clock is taken to have run on without a change."
        )
    return StartTime(
        utc=utc,
        zone=place.key,
        origin=f"{stamp.origin}; corrected, {clock.text} (--clock)",
        zone_origin="given (--zone)",
        clock=clock,
        uncertainty_s=clock.uncertainty_s(stamp.moment),
        remarks=tuple(remarks),
    )


def zone_given(path: Path, zone: str | None) -> ZoneInfo:
    """Return the zone that was given for a recording; raise ``StartTimeError`` if none or no such was."""
    if zone is None:
        raise StartTimeError(
            f"{path}: the time zone must be given; recordings do not tell it.",
            remedy="Give the place's zone as region and city, such as --zone Europe/Vienna.",
        )
    return zone_named(zone, str(path))


def _stamp(path: Path, sample_rate_hz: int, given: str | None, place: ZoneInfo) -> _Stamp:
    if given is not None:
        return _Stamp(_given_moment(path, given), "given (--start)")
    by_name = next(_name_moments(path.stem), None)
    origination = read_origination(path)
    if origination is not None and _believed(origination.local):
        moment, origin = _bext_moment(origination, sample_rate_hz)
        return _Stamp(moment, origin, _disagreement(moment, by_name, place))
    if by_name is not None:
        return _Stamp(by_name, f"file name {shown_name(path)}")
    raise _no_start(path, place)


def _disagreement(by_bext: datetime, by_name: datetime | None, place: ZoneInfo) -> tuple[str, ...]:
    """Return a remark if bext chunk and file name tell different times."""
    if by_name is None:
        return ()
    local = by_name.astimezone(place).replace(tzinfo=None) if by_name.tzinfo else by_name
    if abs(local - by_bext).total_seconds() <= NAME_AGREES_S:
        return ()
    side = "later" if local > by_bext else "earlier"
    return (
        f"The file name tells a start {span_text(local - by_bext)} {side} than the bext chunk, "
        "which was believed; a part of a longer recording may repeat the start of its first part.",
    )


def _no_start(path: Path, place: ZoneInfo) -> StartTimeError:
    readings = [moment.isoformat() for moment in _two_digit_year_moments(path.stem)]
    if readings:
        return StartTimeError(
            f"{path}: the date in the file name has two digits for the year, so its order is anyone's guess.",
            remedy="Give the one that is right: --start " + " or --start ".join(readings) + ".",
        )
    created = stated_creation(path)
    if created is not None and _believed(created[0]):
        return _start_by_creation(path, place, *created)
    remedy = _GIVE_START
    for match in _NAME_UNIX_SECONDS.finditer(path.stem):
        moment = datetime.fromtimestamp(int(match[0], 16), UTC)
        if _believed(moment):
            remedy += f" If {match[0]} counts seconds since 1970 in base 16: --start {moment.isoformat()}."
    return StartTimeError(
        f"{path}: neither a bext chunk nor the file name tells when the recording began.", remedy=remedy
    )


def _start_by_creation(path: Path, place: ZoneInfo, made: datetime, seconds: float) -> StartTimeError:
    """Offer what a file's own moment of creation may mean; it is never believed unasked."""
    begun, ended = (
        (made - timedelta(seconds=before_s)).astimezone(place).isoformat(timespec="seconds")
        for before_s in (0.0, seconds)
    )
    over = f"--start {ended} if it ended then, " if seconds else ""
    as_written = made.replace(tzinfo=None).isoformat(timespec="seconds")
    return StartTimeError(
        f"{path}: neither a bext chunk nor the file name tells when the recording began. The file says that "
        f"it was made at {made.astimezone(place):%Y-%m-%d %H:%M:%S} local time, but not whether that was its "
        "beginning, its end or a copy's.",
        remedy=f"Give what fits the night: --start {begun} if it began then, {over}"
        f"--start {as_written} if the phone wrote local time for UTC.",
    )


def _two_digit_year_moments(stem: str) -> list[datetime]:
    """Return what dates with two digits for the year may mean: year, day or month first."""
    found: dict[datetime, None] = {}
    for match in _NAME_TWO_DIGIT_YEAR.finditer(stem):
        one, two, three = (int(match[part]) for part in ("year", "month", "day"))
        hour, minute, second = (int(match[part]) for part in ("hour", "minute", "second"))
        for year, month, day in ((one, two, three), (three, two, one), (three, one, two)):
            try:
                found[datetime(2000 + year, month, day, hour, minute, second)] = None
            except ValueError:
                continue
    return list(found)


def _believed(moment: datetime) -> bool:
    return YEARS[0] <= moment.year <= YEARS[1]


def _given_moment(path: Path, given: str) -> datetime:
    try:
        moment = datetime.fromisoformat(given.strip())
    except ValueError as error:
        raise StartTimeError(
            f"{path}: the start must be an ISO 8601 date and time, got {given!r:.80}.", remedy=_GIVE_START
        ) from error
    if _is_date_only(given.strip()):
        raise StartTimeError(
            f"{path}: the start must have a time of day, got {given!r:.80}.", remedy=_GIVE_START
        )
    if not _believed(moment):
        raise StartTimeError(
            f"{path}: the start must lie in the years {YEARS[0]} to {YEARS[1]}, got {given!r:.80}.",
            remedy=_GIVE_START,
        )
    return moment


def _is_date_only(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _bext_moment(origination: Origination, sample_rate_hz: int) -> tuple[datetime, str]:
    """Refine the whole seconds of a bext chunk by its time reference, if the two agree."""
    local = origination.local
    midnight = local.replace(hour=0, minute=0, second=0)
    day_s = timedelta(days=1).total_seconds()
    by_reference_s = origination.time_reference / sample_rate_hz - (local - midnight).total_seconds()
    # Around midnight the two may lie on either side of it.
    difference_s = (by_reference_s + day_s / 2) % day_s - day_s / 2
    if abs(difference_s) > REFERENCE_AGREES_S:
        return local, "bext chunk, date and time (its time reference disagrees and was left aside)"
    return local + timedelta(seconds=difference_s), "bext chunk, date, time and time reference"


def _name_moments(stem: str) -> Iterator[datetime]:
    """Yield the believable dates and times in a file name, first to last."""
    for match in _NAME.finditer(stem):
        parts = [int(match[part]) for part in ("year", "month", "day", "hour", "minute", "second")]
        # "-0100" is an offset after the T of ISO 8601; elsewhere it is more likely the number of a part.
        zoned = match["offset"] == "Z" or stem[match.start("hour") - 1] == "T"
        try:
            moment = datetime(*parts, tzinfo=_name_offset(match["offset"]) if zoned else None)  # type: ignore[arg-type,misc]
        except ValueError:
            continue
        if _believed(moment):
            yield moment


def _name_offset(text: str) -> timezone | None:
    """Return the offset of ``Z`` or ``+hhmm``; None for nothing, and for what can be no offset."""
    if text in ("", "Z"):
        return UTC if text else None
    digits = text[1:].replace(":", "")
    minutes = 60 * int(digits[:2]) + int(digits[2:])
    if minutes > LARGEST_OFFSET_MIN or minutes % OFFSET_STEP_MIN:
        return None
    return timezone(timedelta(minutes=-minutes if text[0] == "-" else minutes))
