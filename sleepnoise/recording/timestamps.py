"""Start times: when a recording began, in which zone, and where both came from.

Recorders know no zones. Date and time in a file are those of somebody's clock, so the zone is
always asked for and never guessed; a local time that a clock change makes impossible or
ambiguous is refused, because an offset settles it and a guess would be an hour off.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from difflib import get_close_matches
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from sleepnoise.errors import StartTimeError
from sleepnoise.recording.bext import Origination, read_origination

YEARS = (1990, 2099)
"""Years believed. Chosen: digital recorders came about 1990; a clock never set shows 1970 or 1980."""

REFERENCE_AGREES_S = 1.0
"""How far TimeReference may lie from OriginationTime, s. Chosen: the latter
has whole seconds, cut off or rounded."""

LARGEST_OFFSET_MIN = 14 * 60
"""Largest offset from UTC in a file name, min. Chosen: no zone on Earth goes further."""

OFFSET_STEP_MIN = 15
"""Offsets are multiples of this, min. Chosen: true of all zones today,
so the number of a part is rarely taken for one."""

# Year first, one kind of separator within the date and one within the time.
_NAME = re.compile(
    r"(?<!\d)(?P<year>\d{4})(?P<between>[-_.]?)(?P<month>\d\d)(?P=between)(?P<day>\d\d)"
    r"(?:T|[ _-])(?P<hour>\d\d)(?P<within>[-:._]?)(?P<minute>\d\d)(?P=within)(?P<second>\d\d)(?!\d)"
    r"(?P<offset>(?:Z(?![A-Za-z])|[+-]\d\d:?\d\d(?!\d))?)"
)
_NAME_TWO_DIGIT_YEAR = re.compile(r"(?<!\d)\d{6}[ _-](?:[01]\d|2[0-3])[0-5]\d[0-5]\d(?!\d)")

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
    """

    utc: datetime
    zone: str
    origin: str
    zone_origin: str


def find_start(path: Path, sample_rate_hz: int, *, given: str | None, zone: str | None) -> StartTime:
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

    Returns
    -------
    StartTime

    Raises
    ------
    StartTimeError
        If no zone or an unknown one is given, no start is found, or the local time does not
        exist or exists twice because clocks changed.
    """
    place = zone_given(path, zone)
    moment, origin = _moment(path, sample_rate_hz, given)
    utc = _instant(path, moment, place) if moment.tzinfo is None else moment.astimezone(UTC)
    return StartTime(utc=utc, zone=place.key, origin=origin, zone_origin="given (--zone)")


def zone_given(path: Path, zone: str | None) -> ZoneInfo:
    """Return the zone that was given for a file; raise ``StartTimeError`` if none, or an unknown one, was."""
    if zone is None:
        raise StartTimeError(
            f"{path}: the time zone must be given; recordings do not tell it.",
            remedy="Give the place's zone as region and city, such as --zone Europe/Vienna.",
        )
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        by_city = {name.rpartition("/")[2].casefold(): name for name in sorted(available_timezones())}
        wanted = zone.rpartition("/")[2].casefold().replace(" ", "_")
        close = [by_city[city] for city in get_close_matches(wanted, by_city, n=1)] or ["Europe/Vienna"]
        raise StartTimeError(
            f"{path}: the time zone must be an IANA name, got {zone!r}.",
            remedy=f"Give region and city, such as --zone {close[0]}.",
        ) from error


def _moment(path: Path, sample_rate_hz: int, given: str | None) -> tuple[datetime, str]:
    """Return date and time, aware only if an offset came with them, and where they came from."""
    if given is not None:
        return _given_moment(path, given), "given (--start)"
    origination = read_origination(path)
    if origination is not None and _believed(origination.local):
        return _bext_moment(origination, sample_rate_hz)
    for moment in _name_moments(path.stem):
        return moment, f"file name {path.name}"
    if _NAME_TWO_DIGIT_YEAR.search(path.stem):
        raise StartTimeError(
            f"{path}: the date in the file name has two digits for the year, so its order is anyone's guess.",
            remedy=_GIVE_START,
        )
    raise StartTimeError(
        f"{path}: neither a bext chunk nor the file name tells when the recording began.", remedy=_GIVE_START
    )


def _believed(moment: datetime) -> bool:
    return YEARS[0] <= moment.year <= YEARS[1]


def _given_moment(path: Path, given: str) -> datetime:
    try:
        moment = datetime.fromisoformat(given.strip())
    except ValueError as error:
        raise StartTimeError(
            f"{path}: the start must be an ISO 8601 date and time, got {given!r}.", remedy=_GIVE_START
        ) from error
    if _is_date_only(given.strip()):
        raise StartTimeError(f"{path}: the start must have a time of day, got {given!r}.", remedy=_GIVE_START)
    if not _believed(moment):
        raise StartTimeError(
            f"{path}: the start must lie in the years {YEARS[0]} to {YEARS[1]}, got {given!r}.",
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


def _instant(path: Path, local: datetime, zone: ZoneInfo) -> datetime:
    """Return the one instant, UTC, at which clocks in a zone showed a local time."""
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    utc = first.astimezone(UTC)
    if first.utcoffset() == second.utcoffset():
        return utc
    exists = utc.astimezone(zone).replace(tzinfo=None, fold=0) == local
    happened = "happened twice" if exists else "never happened"
    raise StartTimeError(
        f"{path}: the start {local.isoformat(sep=' ')} {happened} in {zone.key}, "
        "where clocks were changed then.",
        remedy=f"Give it with its offset: --start {first.isoformat()} or --start {second.isoformat()}.",
    )
