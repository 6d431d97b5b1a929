"""Sound files: what they hold, and their samples as a stream of calibrated blocks."""

import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.errors import RecordingError
from sleepnoise.recording.calibration import Calibration

CONTAINERS = ("WAV", "WAVEX", "RF64", "W64", "AIFF", "CAF", "FLAC", "OGG", "MP3")
"""Formats taken. The decoder knows more, but recognises some of them in files that are no sound at all."""

SAMPLE_RATES_HZ = (8_000, 192_000)
"""Sampling rates taken. Chosen: telephone quality at one end, the fastest field recorders at the other."""

LONGEST_S = 31 * 86_400
"""Longest recording believed, s. Chosen: a month; a larger count is a writer's "unknown length"."""

BLOCK_SAMPLES = 2**17
"""Samples of all channels in one block. Chosen: 2.7 s of 48 kHz mono, where decoding gets no faster."""

READ_AHEAD_BYTES = 2**18
"""Bytes fetched from disk at once. Chosen: the decoder asks for 8 KiB, which costs a quarter more time."""

_UNREADABLE = "Give a recording in WAV, RF64, W64, AIFF, CAF, FLAC, Ogg Vorbis, Ogg Opus or MP3."
_BAD_COPY = "Copy the file from the recorder again; if that does not help, use another recording."

FrameArray = NDArray[np.float32]


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
        Samples in each channel.
    """

    path: Path
    container: str
    encoding: str
    sample_rate_hz: int
    channels: int
    frames: int

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
        If there is no such file, it is no sound file of a format in ``CONTAINERS``, holds no
        samples, or states a sampling rate or a length that cannot be believed.
    """
    with _opened(path) as (decoder, *_):
        audio = AudioFile(
            path=path,
            container=decoder.format,
            encoding=decoder.subtype,
            sample_rate_hz=decoder.samplerate,
            channels=decoder.channels,
            frames=decoder.frames,
        )
    _check_header(audio)
    return audio


def read_blocks(
    audio: AudioFile,
    calibration: Calibration,
    start: datetime,
    *,
    channel: int = 1,
    on_progress: Callable[[float], None] | None = None,
) -> Iterator[PressureBlock]:
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

    Yields
    ------
    PressureBlock
        A file that was cut off short gives what it still holds, so the blocks may be fewer
        than ``audio.frames`` promises.

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
    return _pressure_blocks(audio, calibration, start, channel, on_progress)


def _pressure_blocks(
    audio: AudioFile,
    calibration: Calibration,
    start: datetime,
    channel: int,
    on_progress: Callable[[float], None] | None,
) -> Iterator[PressureBlock]:
    scale_pa = np.float32(calibration.pascal_per_full_scale)
    done = 0
    for frames in _decoded(audio):
        # A product of its own: the decoder fills the same memory again with the next block.
        with np.errstate(over="ignore", invalid="ignore"):
            pressure_pa = frames[:, channel - 1] * scale_pa
        _check_finite(audio, pressure_pa, done)
        pressure_pa.flags.writeable = False
        yield PressureBlock(
            pressure_pa=pressure_pa, sample_rate_hz=audio.sample_rate_hz, start=start + audio.time_at(done)
        )
        done += pressure_pa.size
        if on_progress is not None:
            on_progress(done / audio.sample_rate_hz)


class _Decoder(soundfile.SoundFile):  # type: ignore[misc]
    """A decoder that only runs forwards.

    The library seeks to where it is after every read. That costs time, and in a damaged file
    it loses sound that could be read, or takes it from the wrong place.
    """

    def seekable(self) -> bool:
        return False


class _File(io.FileIO):
    """A file that keeps its read error: the decoder would take it for the end of the file."""

    failure: OSError | None = None

    def readinto(self, buffer: memoryview) -> int | None:  # type: ignore[override]
        try:
            return super().readinto(buffer)
        except OSError as error:
            self.failure = error
            return 0


@contextmanager
def _opened(path: Path) -> Iterator[tuple[_Decoder, BinaryIO, _File]]:
    """Open a sound file: its decoder, the buffered bytes below it, and the file below those."""
    _check_regular(path)
    try:
        file = _File(path)
    except OSError as error:
        raise _unreachable(path, error) from error
    with io.BufferedReader(file, READ_AHEAD_BYTES) as stream:
        try:
            decoder = _Decoder(stream)
        except (soundfile.LibsndfileError, TypeError) as error:
            # TypeError: a name that ends in .raw promises samples without any header.
            raise RecordingError(
                f"{path}: is no sound file that can be read here.", remedy=_UNREADABLE
            ) from error
        with decoder:
            yield decoder, stream, file


def _check_regular(path: Path) -> None:
    try:
        status = path.stat()
    except FileNotFoundError as error:
        raise RecordingError(f"{path}: there is no such file.", remedy="Check the path.") from error
    except (OSError, ValueError) as error:
        raise _unreachable(path, error) from error
    if not S_ISREG(status.st_mode):
        what = "a folder" if S_ISDIR(status.st_mode) else "a device or pipe"
        raise RecordingError(f"{path}: is {what}, not a sound file.", remedy="Give one recording.")
    if status.st_size == 0:
        raise RecordingError(f"{path}: is empty (0 bytes).", remedy=_BAD_COPY)


def _unreachable(path: Path, error: Exception) -> RecordingError:
    reason = getattr(error, "strerror", None) or str(error)
    return RecordingError(
        f"{path}: cannot be opened: {reason}.", remedy="Check the path and who may read it."
    )


def _check_header(audio: AudioFile) -> None:
    lowest_hz, highest_hz = SAMPLE_RATES_HZ
    if audio.container not in CONTAINERS:
        raise RecordingError(
            f"{audio.path}: has the format {audio.container}, which is not taken.", remedy=_UNREADABLE
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


def _check_finite(audio: AudioFile, pressure_pa: PressureArray, done: int) -> None:
    finite = np.isfinite(pressure_pa)
    if not finite.all():
        where = _seconds_text(audio, done + int(finite.argmin()))
        raise RecordingError(
            f"{audio.path}: every sample must be a finite number; the one at {where} is not.",
            remedy="Export the recording again, as integers if you can, or cut that moment out.",
        )


def _decoded(audio: AudioFile) -> Iterator[FrameArray]:
    """Decode a file from its beginning; each array, shape (frames, channels), is gone with the next."""
    buffer = np.empty((max(BLOCK_SAMPLES // audio.channels, 1), audio.channels), dtype=np.float32)
    done, got = 0, len(buffer)
    with _opened(audio.path) as (decoder, stream, file):
        failure: Exception | None = None
        while got == len(buffer) and failure is None:
            buffer.fill(np.nan)
            try:
                got = len(decoder.read(out=buffer))
            except soundfile.LibsndfileError as error:
                failure, got = error, _filled(buffer)
            if got:
                yield buffer[:got]
            done += got
        if file.failure is not None:
            raise RecordingError(
                f"{audio.path}: cannot be read beyond {_seconds_text(audio, done)}: {file.failure.strerror}.",
                remedy="Check the card, cable or network and copy the file to this machine first.",
            ) from file.failure
        # A decoder that fails at the very end has met a recording that was cut short, which is fine.
        _check_end(audio, done, failure if stream.tell() < os.fstat(file.fileno()).st_size else None)


def _filled(buffer: FrameArray) -> int:
    """Return how many frames a decoder wrote before it failed; the library does not tell."""
    untouched = np.isnan(buffer[:, 0])
    return int(untouched.argmax()) if untouched.any() else len(buffer)


def _check_end(audio: AudioFile, done: int, failure: Exception | None) -> None:
    """Refuse a recording that is damaged in the middle: what follows would get wrong times."""
    if failure is not None:
        raise RecordingError(
            f"{audio.path}: is damaged at {_seconds_text(audio, done)}.", remedy=_BAD_COPY
        ) from failure
    if audio.container == "OGG" and done < audio.frames:
        # The length is read off the last page, so a cut file agrees with it; one with a hole does not.
        missing = _seconds_text(audio, audio.frames - done)
        raise RecordingError(f"{audio.path}: {missing} are missing somewhere inside it.", remedy=_BAD_COPY)
    if done == 0:
        raise RecordingError(f"{audio.path}: no sound could be decoded.", remedy=_BAD_COPY)


def _seconds_text(audio: AudioFile, frame: int) -> str:
    return f"{frame / audio.sample_rate_hz:.3f} s"
