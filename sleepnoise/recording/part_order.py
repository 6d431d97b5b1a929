"""Which part of a night follows which: by time stamps, by numbers in names, and by what fits.

A stamp is a reading of the recorder's clock. Where the clocks of the place change during the
night, some recorders change with them and some do not; then that reading of a stamp is taken
which joins its part to the one before.
"""

import re
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sleepnoise.errors import StartTimeError
from sleepnoise.recording.audio_file import AudioFile
from sleepnoise.recording.calibration import shown_name
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.timestamps import StartTime, find_start, zone_given

JOIN_WITHIN_S = 2.0
"""A part that begins so close to the end of the one before follows it without a gap, s. Chosen: stamps
in names are whole seconds, cut off or rounded, and those of memory cards come in steps of two."""

JOIN_DRIFT = 1e-4
"""Share of the time since the beginning by which the clocks of stamps and of samples may drift apart.
Chosen: twice what a quartz without care for temperature loses, 50 ppm; four hours then make 1.4 s more."""

_NUMBER = re.compile(r"(?P<before>.*?)(?P<number>\d+)(?P<after>\D*)", re.ASCII | re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class StampedFile:
    """A part and its place.

    Attributes
    ----------
    audio : AudioFile
    frame : int or None
        Where its stamp puts its first sample, in samples from the beginning of the first part.
        None if nothing but its number tells where it belongs.
    remark : str
        What is to be said of how its place was found; empty if nothing.
    """

    audio: AudioFile
    frame: int | None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class _Clues:
    """What is known of the beginning of one part.

    ``instants`` are the readings of its stamp, the regular one first, if there is one;
    ``error`` says why there is none.
    """

    audio: AudioFile
    instants: tuple[datetime, ...]
    regular: bool
    error: StartTimeError | None


_Parts = dict[int, _Clues]
"""Parts that are still to be placed, by their number in the order of time."""

_StartOf = Callable[[AudioFile, str | None, str | None], StartTime]


def in_order(
    audios: Sequence[AudioFile], *, given: str | None, zone: str | None, clock: Sequence[ClockReading]
) -> tuple[StartTime, list[StampedFile]]:
    """Put the parts of a night into the order of time.

    Parameters
    ----------
    audios : sequence of AudioFile
    given, zone, clock
        As for :func:`find_start`; a start that is given is that of the first part, and the
        stamps of the others are moved with it.

    Returns
    -------
    start : StartTime
        Of the first part.
    files : list of StampedFile

    Raises
    ------
    StartTimeError
        If the start of the first part, or the place of another one, cannot be told.
    """

    def start_of(audio: AudioFile, given: str | None, zone: str | None) -> StartTime:
        return find_start(audio.path, audio.sample_rate_hz, given=given, zone=zone, clock=clock)

    if len(audios) == 1:
        return start_of(audios[0], given, zone), [StampedFile(audio=audios[0], frame=0)]
    place = zone_given(audios[0].path, zone)
    clues = sorted((_first_clues(audio, start_of, place) for audio in audios), key=_by_time)
    start = start_of(clues[0].audio, given, zone)
    # A start that is given corrects the recorder's clock, and with it the other stamps.
    stamped_start = clues[0].instants[0] if clues[0].regular else start.utc
    if not clock:
        clues[1:] = [_all_clues(each, start_of, place, stamped_start) for each in clues[1:]]
    return start, _chained(clues, stamped_start)


def _first_clues(audio: AudioFile, start_of: _StartOf, place: ZoneInfo) -> _Clues:
    try:
        return _Clues(audio, (start_of(audio, None, place.key).utc,), regular=True, error=None)
    except StartTimeError as error:
        shown = _clock_reading(audio, start_of)
        instants = () if shown is None else tuple(_readings(shown, place))
        return _Clues(audio, instants, regular=False, error=error)


def _by_time(clues: _Clues) -> tuple[bool, datetime, list[str | int]]:
    instant = clues.instants[0] if clues.instants else datetime.max.replace(tzinfo=UTC)
    return not clues.instants, instant, _natural(clues.audio.path)


def _natural(path: Path) -> list[str | int]:
    """Return what sorts names as people do: 2 before 10."""
    pieces = re.split(r"(\d+)", path.stem, flags=re.ASCII)
    return [int(piece) if place % 2 else piece for place, piece in enumerate(pieces)]


def _all_clues(clues: _Clues, start_of: _StartOf, place: ZoneInfo, first: datetime) -> _Clues:
    """Add the other readings of a stamp, if the clocks of the place changed since the first part began."""
    offset_at_first = first.astimezone(place).utcoffset()
    if clues.regular and clues.instants[0].astimezone(place).utcoffset() == offset_at_first:
        return clues
    shown = _clock_reading(clues.audio, start_of)
    if shown is None:
        return clues
    unchanged = (shown - (offset_at_first or timedelta(0))).replace(tzinfo=UTC)
    instants = dict.fromkeys([*clues.instants, *_readings(shown, place), unchanged])
    return _Clues(clues.audio, tuple(instants), clues.regular, clues.error)


def _readings(shown: datetime, place: ZoneInfo) -> list[datetime]:
    """Return the instants at which clocks of the place, before or after a change, would show this."""
    return [shown.replace(tzinfo=place, fold=fold).astimezone(UTC) for fold in (0, 1)]


def _clock_reading(audio: AudioFile, start_of: _StartOf) -> datetime | None:
    """Return what the recorder's clock showed; None if it told an offset too, or nothing."""
    try:
        here, elsewhere = (start_of(audio, None, zone).utc for zone in ("UTC", "Etc/GMT-1"))
    except StartTimeError:
        return None
    return None if here == elsewhere else here.replace(tzinfo=None)


def _chained(clues: Sequence[_Clues], start: datetime) -> list[StampedFile]:
    """Take the part that fits the end so far, else the one with the next number, else the next in time."""
    clock = clues[0].audio
    files, last, left = [StampedFile(audio=clock, frame=0)], clues[0], dict(enumerate(clues[1:]))
    places = _places(left, start)
    end = clock.frames
    while left:
        order, file = _fitting(left, places, end) or _following(left, last) or _next_in_time(left, start)
        last = left.pop(order)
        files.append(file)
        begin = end if file.frame is None or _joins(file.frame, end, clock) else file.frame
        end = max(end, begin + file.audio.frames)
    return files


def _places(parts: _Parts, start: datetime) -> list[tuple[int, int, bool]]:
    """Return where readings of stamps put parts: sample, number of the part, whether it is unusual."""
    return sorted(
        (_frame_at(instant - start, clues.audio), order, instant != clues.instants[0] or not clues.regular)
        for order, clues in parts.items()
        for instant in clues.instants
    )


def _fitting(
    left: _Parts, places: Sequence[tuple[int, int, bool]], end: int
) -> tuple[int, StampedFile] | None:
    """Return the part of which some reading of its stamp lies closest to where the part before ends."""
    any_left = next(iter(left.values())).audio
    reach = joining_frames(end, any_left.sample_rate_hz)
    near = places[bisect_left(places, (end - reach,)) : bisect_left(places, (end + reach + 1,))]
    fits = [(abs(frame - end), order, unusual, frame) for frame, order, unusual in near if order in left]
    if not fits:
        return None
    _, order, unusual, frame = min(fits)
    remark = (
        "its stamp was read as a clock would show it that was not changed with those of the place, or twice"
    )
    return order, StampedFile(audio=left[order].audio, frame=frame, remark=remark if unusual else "")


def _following(left: _Parts, last: _Clues) -> tuple[int, StampedFile] | None:
    """Return the part that has no stamp of its own, but the next number."""
    for order, clues in left.items():
        if clues.instants[:1] in ((), last.instants[:1]) and _is_next(last.audio.path, clues.audio.path):
            remark = f"has no time stamp of its own; by its number it follows {shown_name(last.audio.path)}"
            return order, StampedFile(audio=clues.audio, frame=None, remark=remark)
    return None


def _next_in_time(left: _Parts, start: datetime) -> tuple[int, StampedFile]:
    order = next((order for order, clues in left.items() if clues.regular), next(iter(left)))
    clues = left[order]
    if clues.error is not None:
        raise clues.error
    return order, StampedFile(audio=clues.audio, frame=_frame_at(clues.instants[0] - start, clues.audio))


def _is_next(path: Path, other: Path) -> bool:
    """Whether two names differ only in their last number, and by one."""
    first, second = _NUMBER.fullmatch(path.stem), _NUMBER.fullmatch(other.stem)
    if first is None or second is None or first["before"] != second["before"]:
        return False
    return first["after"] == second["after"] and int(second["number"]) == int(first["number"]) + 1


def _frame_at(time: timedelta, audio: AudioFile) -> int:
    microseconds = time // timedelta(microseconds=1)
    return round(microseconds * audio.sample_rate_hz / 1_000_000)


def _joins(frame: int, end: int, audio: AudioFile) -> bool:
    return abs(frame - end) <= joining_frames(end, audio.sample_rate_hz)


def joining_frames(elapsed: int, sample_rate_hz: int) -> int:
    """Return how far a stamp may lie from the end of the part before and still mean it, in samples.

    Parameters
    ----------
    elapsed : int
        Samples since the beginning of the night.
    sample_rate_hz : int, Hz
    """
    return round(JOIN_WITHIN_S * sample_rate_hz + JOIN_DRIFT * elapsed)
