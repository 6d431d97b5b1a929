"""Recordings that lie elsewhere: found by their address, copied to scratch before they are heard.

An address has a scheme in front, such as ``s3://bucket/flat-3/night.flac``; whatever ``fsspec``
can open is read. It and what it needs for one kind of store are optional (extra ``cluster``).
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.recording.night_files import SOUND_SUFFIXES


def is_address(text: str) -> bool:
    """Return whether a text is an address rather than a path.

    Examples
    --------
    >>> is_address("s3://nights/flat-3"), is_address("nights/flat-3")
    (True, False)
    """
    return "://" in text


def found_at(address: str) -> tuple[str, ...]:
    """Return the addresses of the sound files that an address stands for, sorted.

    Parameters
    ----------
    address : str
        Of a file, of a folder, or with the wildcards ``*`` and ``?``.

    Raises
    ------
    RecordingError
        If there is none, or the store does not answer.
    """
    with _complaining(address):
        store, path = _store(address)
        if any(sign in path for sign in "*?"):
            found = store.glob(path)
        else:
            found = store.find(path, maxdepth=1) if store.isdir(path) else [path]
        sounds = sorted(each for each in found if _is_sound(PurePosixPath(each)))
        addresses = tuple(str(store.unstrip_protocol(each)) for each in sounds)
    if not addresses:
        raise RecordingError(f"{address}: holds no sound file.", remedy="Check the address.")
    return addresses


@contextmanager
def fetched(recordings: Sequence[str]) -> Iterator[list[Path]]:
    """Give the recordings as paths; what has an address is copied to scratch as long as it is needed.

    Raises
    ------
    RecordingError
        If one cannot be copied.
    """
    with TemporaryDirectory(prefix="sleepnoise-") as scratch:
        yield [
            _copied(each, Path(scratch), place) if is_address(each) else Path(each)
            for place, each in enumerate(recordings)
        ]


def _copied(address: str, scratch: Path, place: int) -> Path:
    # Two parts may have one name; a folder of its own keeps the name, which may hold the time.
    path = scratch / str(place) / PurePosixPath(address).name
    path.parent.mkdir()
    with _complaining(address):
        store, remote = _store(address)
        store.get_file(remote, str(path))
    return path


def _is_sound(path: PurePosixPath) -> bool:
    return path.suffix.lower() in SOUND_SUFFIXES and not path.name.startswith(".")


def _store(address: str) -> tuple[Any, str]:
    try:
        from fsspec.core import url_to_fs
    except ImportError:
        raise SettingsError(
            f"{address}: addresses need the package fsspec, which is not installed.",
            remedy="Install it with: pip install 'sleepnoise[cluster]'.",
        ) from None
    store, path = url_to_fs(address)
    return store, str(path)


@contextmanager
def _complaining(address: str) -> Iterator[None]:
    """Turn whatever a store refuses into a complaint about its address."""
    try:
        yield
    except (OSError, ValueError, ImportError) as error:
        if isinstance(error, RecordingError | SettingsError):
            raise
        raise RecordingError(
            f"{address}: cannot be read ({str(error) or type(error).__name__}).",
            remedy="Check the address, the rights to it and the connection.",
        ) from None
