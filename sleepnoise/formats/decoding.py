"""The decoder below every sound file but those of phones: plain arrays, from the beginning to the end."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from stat import S_ISDIR, S_ISREG

import numpy as np
import soundfile
from numpy.typing import NDArray

from sleepnoise.errors import RecordingError
from sleepnoise.formats.containers import SoundBytes, open_bytes

UNREADABLE = (
    "Give a recording in WAV, RF64, BW64, W64, AIFF, CAF, FLAC, Ogg Vorbis, Ogg Opus or MP3, or, with the "
    "extra 'phone', in m4a, 3gp, AMR or WebM."
)
BAD_COPY = "Copy the file from the recorder again; if that does not help, use another recording."

FrameArray = NDArray[np.float32]


class Decoder(soundfile.SoundFile):  # type: ignore[misc]
    """A decoder that only runs forwards.

    The library seeks to where it is after every read. That costs time, and in a damaged file
    it loses sound that could be read, or takes it from the wrong place.
    """

    def seekable(self) -> bool:
        """Say no."""
        return False


@contextmanager
def opened(path: Path) -> Iterator[tuple[Decoder, SoundBytes]]:
    """Open a sound file: its decoder, and the bytes below it.

    Parameters
    ----------
    path : Path

    Raises
    ------
    RecordingError
        If it cannot be opened, or is no sound file.
    """
    try:
        source = open_bytes(path)
    except (OSError, ValueError) as error:
        raise unreachable(path, error) from error
    with source.stream:
        try:
            decoder = Decoder(source.stream)
        except (soundfile.LibsndfileError, TypeError) as error:
            # TypeError: a name that ends in .raw promises samples without any header.
            raise RecordingError(
                f"{path}: is no sound file that can be read here.", remedy=UNREADABLE
            ) from error
        with decoder:
            yield decoder, source


def check_regular(path: Path, what: str = "sound file") -> None:
    """Refuse what is no plain file, because a pipe or device may keep one waiting for ever.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, for the complaint.

    Raises
    ------
    RecordingError
        If there is no such file, it cannot be reached, is of another kind or is empty.
    """
    try:
        status = path.stat()
    except FileNotFoundError as error:
        raise RecordingError(f"{path}: there is no such file.", remedy="Check the path.") from error
    except (OSError, ValueError) as error:
        raise unreachable(path, error) from error
    if not S_ISREG(status.st_mode):
        kind = "a folder" if S_ISDIR(status.st_mode) else "a device or pipe"
        raise RecordingError(f"{path}: is {kind}, not a {what}.", remedy="Give one plain file.")
    if status.st_size == 0:
        raise RecordingError(f"{path}: is empty (0 bytes).", remedy=BAD_COPY)


def unreachable(path: Path, error: Exception) -> RecordingError:
    """Return the error for a file that the system does not hand out."""
    reason = getattr(error, "strerror", None) or str(error)
    return RecordingError(
        f"{path}: cannot be opened: {reason}.", remedy="Check the path and who may read it."
    )


def decoded(path: Path, block_samples: int) -> Iterator[FrameArray]:
    """Decode a file from its beginning.

    Parameters
    ----------
    path : Path
    block_samples : int
        Samples of all channels in one block.

    Yields
    ------
    ndarray, shape (frames, channels), float32
        Gone with the next one: the decoder fills the same memory again.

    Raises
    ------
    RecordingError
        If the file is damaged before its end, or the medium fails.
    """
    with opened(path) as (decoder, source):
        rows, promised = max(block_samples // decoder.channels, 1), decoder.frames
        buffer = np.empty((rows, decoder.channels), dtype=np.float32)
        done, got = 0, rows
        failure: Exception | None = None
        while got == rows and failure is None:
            buffer.fill(np.nan)
            try:
                got = len(decoder.read(out=buffer))
            except soundfile.LibsndfileError as error:
                failure, got = error, _filled(buffer)
            if got:
                yield buffer[:got]
            done += got
        _check_end(path, source, failure, done_s=done / decoder.samplerate)
        if decoder.format == "OGG" and done < promised:
            # The length is read off the last page, so a cut file agrees with it; one with a hole does not.
            missing_s = (promised - done) / decoder.samplerate
            raise RecordingError(
                f"{path}: {missing_s:.3f} s are missing somewhere inside it.", remedy=BAD_COPY
            )


def _filled(buffer: FrameArray) -> int:
    """Return how many frames a decoder wrote before it failed; the library does not tell."""
    untouched = np.isnan(buffer[:, 0])
    return int(untouched.argmax()) if untouched.any() else len(buffer)


def _check_end(path: Path, source: SoundBytes, failure: Exception | None, done_s: float) -> None:
    """Refuse a recording that is damaged in the middle: what follows would get wrong times."""
    if source.file.failure is not None:
        raise RecordingError(
            f"{path}: cannot be read beyond {done_s:.3f} s: {source.file.failure.strerror}.",
            remedy="Check the card, cable or network and copy the file to this machine first.",
        ) from source.file.failure
    # A decoder that fails at the very end has met a recording that was cut short, which is fine.
    if failure is not None and source.stream.tell() < source.stream.seek(0, 2):
        raise RecordingError(f"{path}: is damaged at {done_s:.3f} s.", remedy=BAD_COPY) from failure
    if done_s == 0:
        raise RecordingError(f"{path}: no sound could be decoded.", remedy=BAD_COPY)
