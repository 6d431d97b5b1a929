"""Sound that is made here, written as WAV or FLAC: never half, and never over what is there."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Literal

import soundfile
from numpy.typing import NDArray

from sleepnoise.errors import OutputError, SettingsError

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
        If there is no such folder, or a file is there and *force* is not given.
    """
    if path.suffix.lower() not in endings:
        raise SettingsError(
            f"sound file: the file must end in {' or '.join(endings)}, got {path.name!r:.60}.",
            remedy=f"Name a {endings[0]} file.",
        )
    if not path.parent.is_dir():
        raise OutputError(f"{path.parent}: is no folder.", remedy="Make it first, or choose another.")
    if path.exists() and not force:
        raise OutputError(f"{path}: exists already.", remedy="Choose another name, or use --force.")


def write_sound_file(
    path: Path,
    blocks: Iterable[NDArray[Any]],
    *,
    frames: int,
    channels: int,
    sample_rate_hz: int,
    subtype: Literal["PCM_16", "PCM_24"],
    on_progress: Callable[[float], None] = lambda _share: None,
) -> None:
    """Write blocks under a temporary name, and rename the file once it is whole.

    Parameters
    ----------
    path : Path
        Ends in one of ``FORMATS``; what is there is replaced.
    blocks : iterable of ndarray, shape (n, channels)
        Full scale is 1 for floating point; one block at a time is in memory.
    frames : int
        How many there are in all.
    channels : int
    sample_rate_hz : int, Hz
    subtype : {"PCM_16", "PCM_24"}
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SettingsError
        If it is too long for a WAV file.
    OutputError
        If it cannot be written.
    """
    _check_size(path, frames * channels * BYTES[subtype])
    unfinished = path.with_name(f".unfinished-{path.name}")
    try:
        with soundfile.SoundFile(
            unfinished,
            "w",
            sample_rate_hz,
            channels=channels,
            format=FORMATS[path.suffix.lower()],
            subtype=subtype,
        ) as file:
            written = 0
            for block in blocks:
                file.write(block)
                written += len(block)
                on_progress(written / frames)
        if soundfile.info(unfinished).frames != frames:
            raise OSError("it is incomplete, the disk may be full")
        unfinished.replace(path)
    except (OSError, soundfile.SoundFileError) as error:
        raise OutputError(
            f"{path}: cannot be written: {str(error).rstrip('.')}.",
            remedy="Choose a folder that you may write to, on a disk with room for it.",
        ) from error
    finally:
        unfinished.unlink(missing_ok=True)


def _check_size(path: Path, size_bytes: int) -> None:
    if path.suffix.lower() == ".wav" and size_bytes > LARGEST_WAV_BYTES:
        raise SettingsError(
            f"{path}: a WAV file holds at most 4 GB, this would be {size_bytes / 1e9:.1f} GB.",
            remedy="Write FLAC, or a shorter file, and let the player repeat it.",
        )
