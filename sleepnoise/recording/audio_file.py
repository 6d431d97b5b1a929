"""Sound files: what they hold, and their samples as a stream of calibrated blocks."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.errors import RecordingError
from sleepnoise.formats.coding import coding_remark
from sleepnoise.formats.decoding import UNREADABLE, FrameArray, check_regular, decoded, opened
from sleepnoise.formats.phone import (
    PHONE_CONTAINERS,
    PhoneSound,
    decode_phone,
    phone_format,
    read_phone_header,
)
from sleepnoise.formats.riff import OPEN
from sleepnoise.recording.calibration import Calibration

CONTAINERS = ("WAV", "WAVEX", "RF64", "BW64", "W64", "AIFF", "CAF", "FLAC", "OGG", "MP3")
"""Formats taken, beside those of phones. The decoder knows more, but recognises some of them in
files that are no sound at all."""

SAMPLE_RATES_HZ = (8_000, 192_000)
"""Sampling rates taken. Chosen: telephone quality at one end, the fastest field recorders at the other."""

LONGEST_S = 31 * 86_400
"""Longest recording believed, s. Chosen: a month; a larger count is a writer's "unknown length"."""

BLOCK_SAMPLES = 2**17
"""Samples of all channels in one block. Chosen: 2.7 s of 48 kHz mono, where decoding gets no faster."""

LARGEST_SAMPLE = 1000.0
"""Largest sample believed, full scales. Chosen: 60 dB above full scale, far beyond any recorder that writes
floats; the squares of larger ones overflow."""

SHORT_BY_S = 0.1
"""Least loss at the end that is said, s. Chosen: lossy coders state their length a few packets off,
and so short a loss moves no statistic of a night."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioFile:
    """What a sound file says of itself, checked.

    Attributes
    ----------
    path : Path
    container, encoding : str
        Such as ``"WAV"`` and ``"PCM_24"``.
    sample_rate_hz : int, Hz
    channels : int
    frames : int
        Samples in each channel, as far as can be told before reading.
    remarks : tuple of str
        What is to be said of the file: how it was closed, what is missing, how it is coded.
    """

    path: Path
    container: str
    encoding: str
    sample_rate_hz: int
    channels: int
    frames: int
    remarks: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.frames / self.sample_rate_hz

    def time_at(self, frame: int) -> timedelta:
        """Return the time from the first sample to a frame, counted to the nearest microsecond."""
        seconds, rest = divmod(frame, self.sample_rate_hz)
        return timedelta(seconds=seconds, microseconds=round(rest * 1_000_000 / self.sample_rate_hz))


def open_audio(path: Path) -> AudioFile:
    """Read the header of a sound file and check what it says.

    Parameters
    ----------
    path : Path

    Returns
    -------
    AudioFile

    Raises
    ------
    RecordingError
        If there is no such file, it is no sound file of a format in ``CONTAINERS`` and no
        phone's, holds no samples, or states a sampling rate or a length that cannot be believed.
    """
    check_regular(path)
    demuxer = phone_format(path)
    audio = _read_header(path) if demuxer is None else _read_phone_header(path, demuxer)
    _check_header(audio)
    return replace(audio, remarks=(*audio.remarks, *_coding_remarks(audio, audio.frames)))


class SoundStream(Iterator[PressureBlock]):
    """Blocks of a recording, one after another; afterwards also what only reading them could tell."""

    def __init__(self, blocks: Iterator[PressureBlock], tally: "_Tally") -> None:
        self._blocks, self._tally = blocks, tally

    def __next__(self) -> PressureBlock:
        return next(self._blocks)

    @property
    def frames_read(self) -> int:
        """Samples of each channel so far."""
        return self._tally.frames

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be said of the file and, after its end, of what was missing in it."""
        return tuple(self._tally.remarks)


@dataclass(slots=True)
class _Tally:
    """What is known so far, shared by a stream and the generator that feeds it."""

    remarks: list[str]
    frames: int = 0


def read_blocks(
    audio: AudioFile,
    calibration: Calibration,
    start: datetime,
    *,
    channel: int = 1,
    on_progress: Callable[[float], None] | None = None,
) -> SoundStream:
    """Read one channel of a recording as calibrated blocks; memory does not grow with its length.

    Parameters
    ----------
    audio : AudioFile
    calibration : Calibration
    start : datetime
        Instant of the first sample, UTC.
    channel : int
        Counted from 1.
    on_progress : callable, optional
        Called with the seconds of sound done so far, each time a block has been dealt with.

    Returns
    -------
    SoundStream
        Iterator of PressureBlock. A file that was cut off short gives what it still holds, so
        the blocks may be fewer than ``audio.frames`` promises.

    Raises
    ------
    RecordingError
        At once, if there is no such channel; while reading, if the file is damaged before its end
        or a sample is no finite number.
    """
    if not 1 <= channel <= audio.channels:
        raise RecordingError(
            f"{audio.path}: channel must be 1 to {audio.channels}, got {channel}.",
            remedy="Choose a channel that the recording has.",
        )
    tally = _Tally(list(audio.remarks))
    blocks = _pressure_blocks(audio, calibration, start, channel, on_progress, tally)
    return SoundStream(blocks, tally)


def _pressure_blocks(
    audio: AudioFile,
    calibration: Calibration,
    start: datetime,
    channel: int,
    on_progress: Callable[[float], None] | None,
    tally: _Tally,
) -> Iterator[PressureBlock]:
    scale_pa = np.float32(calibration.pascal_per_full_scale)
    for frames in _frames(audio, tally.remarks):
        # A product of its own: the decoder fills the same memory again with the next block.
        with np.errstate(over="ignore", invalid="ignore"):
            pressure_pa = frames[:, channel - 1] * scale_pa
        _check_samples(audio, pressure_pa, tally.frames, LARGEST_SAMPLE * scale_pa)
        pressure_pa.flags.writeable = False
        block_start = start + audio.time_at(tally.frames)
        tally.frames += pressure_pa.size
        yield PressureBlock(pressure_pa=pressure_pa, sample_rate_hz=audio.sample_rate_hz, start=block_start)
        if on_progress is not None:
            on_progress(tally.frames / audio.sample_rate_hz)
    _remark_loss(audio, tally)


def _remark_loss(audio: AudioFile, tally: _Tally) -> None:
    """Say what turned out to be missing at the end; the bit rate was taken for the whole length."""
    missing_s = (audio.frames - tally.frames) / audio.sample_rate_hz
    if missing_s < SHORT_BY_S:
        return
    for remark in _coding_remarks(audio, audio.frames):
        tally.remarks.remove(remark)
    tally.remarks.append(f"cut short: {missing_s:.3f} s less could be decoded than expected")
    tally.remarks += _coding_remarks(audio, tally.frames)


def _coding_remarks(audio: AudioFile, frames: int) -> tuple[str, ...]:
    seconds = frames / audio.sample_rate_hz
    remark = coding_remark(audio.encoding, 8 * audio.path.stat().st_size, seconds, audio.channels)
    return () if remark is None else (remark,)


def _frames(audio: AudioFile, notes: list[str]) -> Iterator[FrameArray]:
    check_regular(audio.path)
    demuxer = phone_format(audio.path)
    if demuxer is None:
        return decoded(audio.path, BLOCK_SAMPLES)
    sound = PhoneSound(
        container=audio.container,
        encoding=audio.encoding,
        sample_rate_hz=audio.sample_rate_hz,
        channels=audio.channels,
        frames=audio.frames,
    )
    return decode_phone(audio.path, demuxer, sound, max(BLOCK_SAMPLES // audio.channels, 1), notes)


def _read_header(path: Path) -> AudioFile:
    with opened(path) as (decoder, source):
        # What is read with a header of our own keeps the name of its own.
        kinds = {"RF64": "RF64", "BW64": "BW64", "RIFF": decoder.format.replace("RF64", "WAV")}
        audio = AudioFile(
            path=path,
            container=kinds.get(source.kind) or decoder.format,
            encoding=decoder.subtype,
            sample_rate_hz=decoder.samplerate,
            channels=decoder.channels,
            frames=decoder.frames,
        )
    missing_s = source.missing_share * audio.seconds
    if missing_s == 0:
        return replace(audio, remarks=(source.finding,) if source.finding else ())
    # A count that nobody could have recorded is no count.
    remark = (
        OPEN if missing_s > LONGEST_S else f"cut short: {missing_s:.3f} s that its header counts are missing"
    )
    return replace(audio, remarks=(remark,))


def _read_phone_header(path: Path, demuxer: str) -> AudioFile:
    sound = read_phone_header(path, demuxer)
    return AudioFile(
        path=path,
        container=sound.container,
        encoding=sound.encoding,
        sample_rate_hz=sound.sample_rate_hz,
        channels=sound.channels,
        frames=sound.frames,
    )


def _check_header(audio: AudioFile) -> None:
    lowest_hz, highest_hz = SAMPLE_RATES_HZ
    if audio.container not in (*CONTAINERS, *PHONE_CONTAINERS):
        raise RecordingError(
            f"{audio.path}: has the format {audio.container}, which is not taken.", remedy=UNREADABLE
        )
    if not lowest_hz <= audio.sample_rate_hz <= highest_hz:
        raise RecordingError(
            f"{audio.path}: the sampling rate must be {lowest_hz} to {highest_hz} Hz, "
            f"got {audio.sample_rate_hz}.",
            remedy="Record at 44.1 or 48 kHz.",
        )
    if audio.frames <= 0:
        raise RecordingError(
            f"{audio.path}: holds no sound: its header counts 0 samples.",
            remedy="If the recorder lost power, open the file on it once, so that it can repair it.",
        )
    if audio.frames > LONGEST_S * audio.sample_rate_hz:
        raise RecordingError(
            f"{audio.path}: its header counts {audio.frames} samples, which is more than a month.",
            remedy="Its writer did not know the length: save the recording again, as WAV or FLAC.",
        )


def _check_samples(audio: AudioFile, pressure_pa: PressureArray, done: int, largest_pa: np.float32) -> None:
    # Two passes without a temporary array; what is no number fails any comparison.
    if -largest_pa <= pressure_pa.min(initial=0.0) and pressure_pa.max(initial=0.0) <= largest_pa:
        return
    first = int((np.abs(pressure_pa) <= largest_pa).argmin())
    raise RecordingError(
        f"{audio.path}: every sample must be a finite number, at most {LARGEST_SAMPLE:g} times full scale; "
        f"the one at {_seconds_text(audio, done + first)} is not.",
        remedy="Export the recording again, as integers if you can, or cut that moment out.",
    )


def _seconds_text(audio: AudioFile, frame: int) -> str:
    return f"{frame / audio.sample_rate_hz:.3f} s"
