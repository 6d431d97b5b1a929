"""A night in one or several files: which follows which, what is missing between them, one stream of all.

Parts are put on one time line, counted in samples from the beginning of the first. A part that
begins, by its time stamp, where the one before ends is joined to it without a gap; otherwise the
stamp holds, and what lies between is a gap filled with silence or an overlap that is left out.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.errors import RecordingError
from sleepnoise.recording.audio_file import BLOCK_SAMPLES, AudioFile, SoundStream, open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, shown_name
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.night_files import sound_files
from sleepnoise.recording.part_order import StampedFile, in_order, joining_frames
from sleepnoise.recording.stretch import read_stretch
from sleepnoise.recording.timestamps import StartTime

LONGEST_GAP_S = 6 * 3600.0
"""Longest gap within a night, s. Chosen: whoever stops recording for longer has recorded two nights."""


LONGEST_NIGHT_S = 72 * 3600.0
"""Longest night, s. Chosen: a weekend with the recorder left on; its levels take 1.5 GB of memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch without sound between two parts of a night, in UTC."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One file of a night.

    Attributes
    ----------
    audio : AudioFile
    stamped_frame : int or None
        Where its time stamp puts its first sample, in samples from the beginning of the night;
        None if it has none and follows the part before.
    """

    audio: AudioFile
    stamped_frame: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSound:
    """A night's sound, in one or several files.

    Attributes
    ----------
    start : StartTime
        Of the first sample.
    sample_rate_hz : int, Hz
    channels : int
    parts : tuple of Part
        In the order of time.
    frames : int
        Samples of each channel, gaps included, as far as can be told before reading.
    gaps : tuple of Gap
        Likewise. What lies in them is silence that nobody recorded.
    remarks : tuple of str
        What is to be said of the files and of how they meet.
    """

    start: StartTime
    sample_rate_hz: int
    channels: int
    parts: tuple[Part, ...]
    frames: int
    gaps: tuple[Gap, ...]
    remarks: tuple[str, ...]

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.frames / self.sample_rate_hz

    def blocks(
        self,
        calibration: Calibration,
        *,
        channel: int = 1,
        on_progress: Callable[[float], None] | None = None,
    ) -> "NightStream":
        """Read one channel of the night as calibrated blocks that follow each other without a gap.

        Parameters
        ----------
        calibration : Calibration
        channel : int
            Counted from 1.
        on_progress : callable, optional
            Called with the seconds of sound done so far, each time a block has been dealt with.

        Returns
        -------
        NightStream
            Iterator of PressureBlock, silent in gaps.

        Raises
        ------
        RecordingError
            At once, if there is no such channel; while reading, as :func:`read_blocks`.
        """
        line = _TimeLine(self.start.utc, self.parts[0].audio)
        streams = [
            read_blocks(part.audio, calibration, self.start.utc, channel=channel) for part in self.parts
        ]
        return NightStream(_night_blocks(self, streams, line, on_progress), line)

    def excerpt(
        self, calibration: Calibration, start: datetime, seconds: float, *, channel: int = 1
    ) -> PressureBlock:
        """Read a stretch of one channel: the samples that :meth:`blocks` gives there, without reading all.

        Parameters
        ----------
        calibration : Calibration
        start : datetime
            UTC; the sample nearest to it is the first.
        seconds : float, s
        channel : int
            Counted from 1.

        Returns
        -------
        PressureBlock
            Silent in gaps. Shorter than asked for where the night begins later or ends earlier.

        Raises
        ------
        RecordingError
            If the stretch lies outside the night, or there is no such channel; else as :func:`read_blocks`.
        """
        line = _TimeLine(self.start.utc, self.parts[0].audio)
        wanted_from = round((start - self.start.utc).total_seconds() * self.sample_rate_hz)
        first, end = max(wanted_from, 0), wanted_from + round(seconds * self.sample_rate_hz)
        pieces = list(_stretch(self.parts, line, calibration, (first, end), channel))
        samples = np.concatenate([np.empty(0, dtype=np.float32), *pieces])
        if not samples.size:
            raise RecordingError(
                f"night: {seconds:g} s from {start.isoformat()} lie outside it; "
                f"it lasts {self.seconds:.3f} s from {self.start.utc.isoformat()}.",
                remedy="Ask for a time at which something was recorded.",
            )
        samples.flags.writeable = False
        return PressureBlock(
            pressure_pa=samples,
            sample_rate_hz=self.sample_rate_hz,
            start=self.start.utc + line.clock.time_at(first),
        )


class NightStream(Iterator[PressureBlock]):
    """Blocks of a night; afterwards also what only reading them could tell."""

    def __init__(self, blocks: Iterator[PressureBlock], line: "_TimeLine") -> None:
        self._blocks, self._line = blocks, line

    def __next__(self) -> PressureBlock:
        return next(self._blocks)

    @property
    def frames_read(self) -> int:
        """Samples so far, silence in gaps included."""
        return self._line.frames

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without sound so far: also where a part turned out to be shorter than its header said."""
        return tuple(self._line.gaps)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be said of the files and of how they meet, as far as they have been read."""
        return tuple(self._line.remarks)


def open_night(
    where: Path | Sequence[Path],
    *,
    given: str | None = None,
    zone: str | None = None,
    clock: Sequence[ClockReading] = (),
) -> NightSound:
    """Open a night: a sound file, a folder of them, or a list of them in any order.

    Parameters
    ----------
    where : Path or sequence of Path
    given : str, optional
        Start of the first part, see :func:`find_start`; the stamps of the others are moved with it.
    zone : str, optional
        IANA name.
    clock : sequence of ClockReading
        See :func:`find_start`.

    Returns
    -------
    NightSound

    Raises
    ------
    RecordingError
        If there is no sound, a file cannot be read, the parts differ in sampling rate or
        channels, or lie too far apart for one night.
    StartTimeError
        If the start of the first part, or the place of another one, cannot be told.
    """
    audios = [open_audio(path) for path in sound_files(where)]
    _check_alike(audios)
    start, ordered = in_order(audios, given=given, zone=zone, clock=clock)
    return _night(start, ordered)


def _check_alike(audios: Sequence[AudioFile]) -> None:
    first = audios[0]
    for other in audios[1:]:
        if (other.sample_rate_hz, other.channels) != (first.sample_rate_hz, first.channels):
            raise RecordingError(
                f"{other.path}: all parts of a night must have one sampling rate and the same channels; "
                f"this one has {_form(other)}, {shown_name(first.path)} has {_form(first)}.",
                remedy="Give only the parts that one recorder made with one setting; "
                "a calibration tone belongs into a folder of its own.",
            )


def _form(audio: AudioFile) -> str:
    return f"{audio.sample_rate_hz} Hz in {audio.channels} channel{'s' * (audio.channels > 1)}"


def _night(start: StartTime, files: Sequence[StampedFile]) -> NightSound:
    first = files[0].audio
    line = _TimeLine(start.utc, first)
    parts: list[Part] = []
    for file in files:
        part = Part(audio=file.audio, stamped_frame=file.frame)
        first_frame = line.place(part)
        if first_frame - line.frames > LONGEST_GAP_S * first.sample_rate_hz:
            raise _two_nights(file.audio, (first_frame - line.frames) / first.sample_rate_hz)
        if first_frame + file.audio.frames <= line.frames:
            line.remarks.append(f"{shown_name(file.audio.path)}: left out, since other parts cover all of it")
            continue
        if file.remark:
            line.remarks.append(f"{shown_name(file.audio.path)}: {file.remark}")
        line.begin(part)
        line.remarks += _named(file.audio, file.audio.remarks, alone=len(files) == 1)
        line.frames = first_frame + file.audio.frames
        parts.append(part)
    _check_length(first, line.frames / first.sample_rate_hz)
    return NightSound(
        start=start,
        sample_rate_hz=first.sample_rate_hz,
        channels=first.channels,
        parts=tuple(parts),
        frames=line.frames,
        gaps=tuple(line.gaps),
        remarks=tuple(line.remarks),
    )


def _check_length(first: AudioFile, seconds: float) -> None:
    if seconds > LONGEST_NIGHT_S:
        raise RecordingError(
            f"{first.path}: with all its parts it lasts {seconds / 3600:.1f} h; a night may last "
            f"{LONGEST_NIGHT_S / 3600:g} h.",
            remedy="Cut out one night, or give only the files of one.",
        )


def _two_nights(audio: AudioFile, gap_s: float) -> RecordingError:
    return RecordingError(
        f"{audio.path}: begins {gap_s / 3600:.1f} h after the part before it ended; within a night "
        f"{LONGEST_GAP_S / 3600:g} h are allowed.",
        remedy="Give the parts of one night at a time.",
    )


def _named(audio: AudioFile, remarks: Sequence[str], alone: bool) -> list[str]:
    return [remark if alone else f"{shown_name(audio.path)}: {remark}" for remark in remarks]


@dataclass(slots=True)
class _TimeLine:
    """How far the night has come, and what was found on the way; used in planning and in reading."""

    start: datetime
    clock: AudioFile
    frames: int = 0
    gaps: list[Gap] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def place(self, part: Part) -> int:
        """Return where a part begins: where the one before ends, unless its stamp clearly says otherwise."""
        stamped, tolerance = part.stamped_frame, joining_frames(self.frames, self.clock.sample_rate_hz)
        if stamped is None or abs(stamped - self.frames) <= tolerance:
            return self.frames
        return stamped

    def begin(self, part: Part) -> tuple[int, int]:
        """Return how many samples of silence come before a part, and how many of its own are left out."""
        difference = self.place(part) - self.frames
        seconds, name = abs(difference) / self.clock.sample_rate_hz, shown_name(part.audio.path)
        if difference > 0:
            self.gaps.append(Gap(start=self.now(), end=self.now(difference)))
            self.remarks.append(f"{name}: begins {seconds:.3f} s after the sound before it ended")
        elif difference < 0:
            self.remarks.append(
                f"{name}: its first {seconds:.3f} s were left out, since the part before has them"
            )
        return max(difference, 0), max(-difference, 0)

    def now(self, ahead: int = 0) -> datetime:
        """Return the instant of the next sample, or of one ahead of it."""
        return self.start + self.clock.time_at(self.frames + ahead)


def _night_blocks(
    night: NightSound,
    streams: Sequence[SoundStream],
    line: _TimeLine,
    on_progress: Callable[[float], None] | None,
) -> Iterator[PressureBlock]:
    for part, stream in zip(night.parts, streams, strict=True):
        silent, left_out = line.begin(part)
        for samples in chain(_silence(silent), _without_head(stream, left_out)):
            block = PressureBlock(pressure_pa=samples, sample_rate_hz=night.sample_rate_hz, start=line.now())
            line.frames += samples.size
            yield block
            if on_progress is not None:
                on_progress(line.frames / night.sample_rate_hz)
        line.remarks += _named(part.audio, stream.remarks, alone=len(night.parts) == 1)


def _stretch(
    parts: Sequence[Part], line: _TimeLine, calibration: Calibration, wanted: tuple[int, int], channel: int
) -> Iterator[PressureArray]:
    """Yield the samples between two places of the night; parts before are counted, later ones not touched."""
    first, end = wanted
    for part in parts:
        silent, left_out = line.begin(part)
        begin = line.frames + silent
        yield np.zeros(max(min(begin, end) - max(line.frames, first), 0), dtype=np.float32)
        if begin >= end:
            return
        origin = begin - left_out
        samples, frames = read_stretch(
            part.audio, calibration, max(first, begin) - origin, end - origin, channel=channel
        )
        yield samples
        line.frames = max(begin, origin + frames)


def _silence(frames: int) -> Iterator[PressureArray]:
    for done in range(0, frames, BLOCK_SAMPLES):
        silence = np.zeros(min(BLOCK_SAMPLES, frames - done), dtype=np.float32)
        silence.flags.writeable = False
        yield silence


def _without_head(stream: SoundStream, left_out: int) -> Iterator[PressureArray]:
    for block in stream:
        samples = block.pressure_pa[left_out:]
        left_out = max(left_out - block.pressure_pa.size, 0)
        if samples.size:
            yield samples
