"""Sound that is made here, written as WAV or FLAC: never half, and never over what is there."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Literal

import soundfile
from numpy.typing import NDArray

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.placing import check_file_place, placed_files

FORMATS = {".wav": "WAV", ".flac": "FLAC"}
"""Containers by the ending of the file's name."""

LARGEST_WAV_BYTES = 2**32 - 2**16
"""Largest WAV file, less room for its head. Source: the RIFF format counts bytes in 32 bits."""

BYTES = {"PCM_16": 2, "PCM_24": 3}
"""Bytes of a sample. Source: the names of the encodings."""


def check_sound_path(path: Path, endings: tuple[str, ...], *, force: bool) -> None:
    """Refuse a place where a sound file cannot be written, before anything is worked out.

    Raises
    ------
    SettingsError
        If its name does not end as it should.
    OutputError
        As :func:`check_file_place`.
    """
    if path.suffix.lower() not in endings:
        raise SettingsError(
            f"sound file: the file must end in {' or '.join(endings)}, got {path.name!r:.60}.",
            remedy=f"Name a {endings[0]} file.",
        )
    check_file_place(path, force=force)


def write_sound_file(
    path: Path,
    blocks: Iterable[NDArray[Any]],
    *,
    frames: int,
    channels: int,
    sample_rate_hz: int,
    subtype: Literal["PCM_16", "PCM_24"],
    force: bool,
    on_progress: Callable[[float], None] = lambda _share: None,
) -> None:
    """Write blocks as one file, which is there whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in one of ``FORMATS``.
    blocks : iterable of ndarray, shape (n, channels)
        Full scale is 1 for floating point; one block at a time is in memory.
    frames : int
        How many there are in all.
    channels : int
    sample_rate_hz : int, Hz
    subtype : {"PCM_16", "PCM_24"}
    force : bool
        Whether a file that is there may be replaced.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SettingsError
        If it is too long for a WAV file.
    OutputError
        As :func:`placed_files`.
    """
    _check_size(path, frames * channels * BYTES[subtype])
    with placed_files(path, force=force) as (unfinished,):
        written = write_samples(
            unfinished,
            _told(blocks, frames, on_progress),
            channels=channels,
            sample_rate_hz=sample_rate_hz,
            subtype=subtype,
        )
        if written != frames:
            raise OSError(0, f"it is incomplete: {written} of {frames} frames")


def _told(
    blocks: Iterable[NDArray[Any]], frames: int, on_progress: Callable[[float], None]
) -> Iterator[NDArray[Any]]:
    """Yield blocks, and tell what share of them has been taken."""
    taken = 0
    for block in blocks:
        yield block
        taken += len(block)
        on_progress(taken / frames)


def write_samples(
    path: Path,
    blocks: Iterable[NDArray[Any]],
    *,
    channels: int,
    sample_rate_hz: int,
    subtype: Literal["PCM_16", "PCM_24"],
    comment: str = "",
) -> int:
    """Write blocks as one file where nothing is yet, and return how many frames there were.

    Raises
    ------
    OSError
        If the disk does not take all of them.
    """
    written = 0
    try:
        with soundfile.SoundFile(
            path, "w", sample_rate_hz, channels=channels, format=FORMATS[path.suffix.lower()], subtype=subtype
        ) as file:
            if comment:
                file.comment = comment
            for block in blocks:
                file.write(block)
                written += len(block)
        # What is lost while the file is being closed goes unreported.
        complete = soundfile.info(path).frames == written
    except soundfile.SoundFileError:
        complete = False
    if not complete:
        raise OSError(0, "it is incomplete, the disk may be full")
    return written


def _check_size(path: Path, size_bytes: int) -> None:
    if path.suffix.lower() == ".wav" and size_bytes > LARGEST_WAV_BYTES:
        raise SettingsError(
            f"{path}: a WAV file holds at most 4 GB, this would be {size_bytes / 1e9:.1f} GB.",
            remedy="Write FLAC, or a shorter file, and let the player repeat it.",
        )
