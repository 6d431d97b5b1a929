"""Provenance: which files a result was made from, and which versions made it."""

import hashlib
import sys
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path

from sleepnoise.errors import RecordingError

READ_BYTES = 1 << 20
"""Bytes hashed at a time. Chosen: large enough for full speed, nothing beside the engine's buffers."""

WITNESSES = ("sleepnoise", "numpy", "scipy", "soundfile", "pyarrow")
"""Packages whose version may change a digit of a result."""

CODE = "code of sleepnoise"
"""Name of the hash of this package's code among the versions."""

CODE_DIGITS = 16
"""Hexadecimal digits of it. Chosen: 64 bits, no two states of the code have the same."""

WITHOUT_RESULTS = ("cli", "screens", "__main__.py")
"""Rooms on which no result depends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileMark:
    """A file as it was when it was used.

    Attributes
    ----------
    role : str
        What it was used for, such as ``"recording"``.
    name : str
        Name without its folder: a result does not depend on where a file lay.
    size_bytes : int
    sha256 : str
        64 hexadecimal digits.
    """

    role: str
    name: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What a result was made from.

    Attributes
    ----------
    inputs : tuple of FileMark
    versions : dict of str to str
    """

    inputs: tuple[FileMark, ...]
    versions: dict[str, str]


def file_mark(path: Path, role: str) -> FileMark:
    """Return name, size and SHA-256 of a file, read in pieces.

    Raises
    ------
    RecordingError
        If it cannot be read.
    """
    digest = hashlib.sha256()
    size_bytes = 0
    try:
        # Nobody may ever write into a pipe, and a device may have no end.
        if path.exists() and not path.is_file():
            raise OSError(None, "is no plain file")
        with path.open("rb") as stream:
            while piece := stream.read(READ_BYTES):
                digest.update(piece)
                size_bytes += len(piece)
    except OSError as error:
        raise RecordingError(
            f"{path}: cannot be read as {role} ({error.strerror}).",
            remedy="Check the path and its permissions.",
        ) from None
    # A name that is no valid text must not stop the files it is written into.
    name = path.name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return FileMark(role=role, name=name, size_bytes=size_bytes, sha256=digest.hexdigest())


def library_versions() -> dict[str, str]:
    """Return the versions of Python, of this package and of the libraries that results rest on.

    Of this package also a hash of its code: what was changed between two versions is told apart, too.
    """
    # By name: no room may import the package's top, which knows them all.
    versions = {name: str(import_module(name).__version__) for name in WITNESSES}
    return {"python": ".".join(map(str, sys.version_info[:3])), **versions, CODE: code_mark()}


@cache
def code_mark(package: Path = Path(__file__).parents[1]) -> str:
    """Return what tells a package's code from any other: the first digits of SHA-256 of all its files.

    Rooms that only ask and show (``cli``, ``screens``) do not count, nor what Python keeps of its own.
    Looked at once a process, which goes on with the code it has loaded.
    """
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        inside = path.relative_to(package)
        if path.is_file() and inside.parts[0] not in WITHOUT_RESULTS and "__pycache__" not in inside.parts:
            # A name and a length before each content: nothing can pass from one file to the next.
            content = path.read_bytes()
            digest.update(f"{inside.as_posix()} {len(content)}\n".encode() + content)
    return digest.hexdigest()[:CODE_DIGITS]
