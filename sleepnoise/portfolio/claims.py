"""A claim on one night, so that two runs into the same folder never work on it at once.

The system gives it up when its holder ends, however it ends.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def claimed(path: Path, *, wait: bool) -> Iterator[bool]:
    """Hold a claim; give whether it was got.

    Parameters
    ----------
    path : Path
        File that stands for it; it is made, and stays.
    wait : bool
        Whether to wait for it if somebody else holds it.
    """
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        yield _taken(descriptor, wait=wait)
    finally:
        os.close(descriptor)


if sys.platform == "win32":
    import msvcrt

    def _taken(descriptor: int, *, wait: bool) -> bool:
        while True:
            try:
                msvcrt.locking(descriptor, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
            except OSError:
                if wait:
                    continue  # It gives up after ten seconds.
                return False
            return True

else:
    import fcntl

    def _taken(descriptor: int, *, wait: bool) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError:
            return False
        return True
