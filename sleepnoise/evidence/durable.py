"""Files that survive: flushed to the disk, held by one writer at a time.

A hold belongs to an open file, so the system lets go of it when its owner ends, however that
comes about; nobody has to find out whether a process is still alive.
"""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sleepnoise.errors import OutputError

TRIES = 1200
"""Times that a hold is asked for. Chosen: a minute in all; a change takes a second, a large import more."""

PAUSE_S = 0.05
"""Pause between two tries, s. Chosen: short for people, long for a processor."""

if sys.platform == "win32":
    import msvcrt

    _BUSY: type[OSError] = OSError

    def _take(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    _BUSY: type[OSError] = BlockingIOError

    def _take(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextmanager
def held(path: Path, *, tries: int | None = TRIES) -> Iterator[bool]:
    """Hold a file against every other process, and say whether it could be had.

    Parameters
    ----------
    path : Path
        Is made when missing, and stays.
    tries : int or None, optional
        1 to ask once and not wait; None to wait for as long as it takes.

    Yields
    ------
    bool

    Raises
    ------
    OutputError
        If the file cannot be made, or not be held at all where it lies.
    """
    try:
        # Through a link, a file would be made elsewhere.
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
    except OSError as error:
        raise cannot_write(path.parent, error) from None
    try:
        try:
            mine = _taken(handle, tries)
        except OSError as error:
            raise cannot_write(path.parent, error) from None
        yield mine
    finally:
        os.close(handle)


def _taken(handle: int, tries: int | None) -> bool:
    tried = 0
    while tries is None or tried < tries:
        if tried:
            time.sleep(PAUSE_S)
        try:
            _take(handle)
        except _BUSY:
            tried += 1
        else:
            return True
    return False


@contextmanager
def take_folder(path: Path) -> Iterator[bool]:
    """Hold a folder if nobody else does, and say whether it could be had; some systems know no such thing.

    Raises
    ------
    OSError
        If there is no such folder.
    """
    if sys.platform == "win32":
        yield False
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        try:
            _take(handle)
            mine = True
        except OSError:
            mine = False
        yield mine
    finally:
        os.close(handle)


def flush_file(path: Path) -> None:
    """Wait until a file's content is on the disk."""
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def flush_folder(path: Path) -> None:
    """Wait until the names in a folder are on the disk, where systems know such a thing."""
    if sys.platform == "win32":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def cannot_write(place: Path, error: OSError) -> OutputError:
    """Return the complaint about a place that takes nothing."""
    return OutputError(
        f"{place}: cannot be written ({error.strerror or error}).",
        remedy="Choose a folder you may write to, on a disk with room, then try again.",
    )
