"""The files of a night: one, a list, or what lies in a folder."""

import os
from collections.abc import Sequence
from pathlib import Path

from sleepnoise.errors import RecordingError
from sleepnoise.formats.decoding import unreachable

SOUND_SUFFIXES = (
    *(".wav", ".wave", ".bwf", ".rf64", ".w64", ".aif", ".aiff", ".aifc", ".caf", ".flac", ".ogg", ".oga"),
    *(".opus", ".mp3", ".m4a", ".mp4", ".aac", ".3gp", ".amr", ".webm", ".mka"),
)
"""Endings of the files in a folder that are taken for parts of the night."""

MOST_PARTS = 5000
"""Most files of a night. Chosen: 14 h in parts of ten seconds; opening them takes some seconds."""


def sound_files(where: Path | Sequence[Path]) -> Sequence[Path]:
    """Return the files that a night is to be read from.

    Parameters
    ----------
    where : Path or sequence of Path
        A file, a folder or a list of files.

    Raises
    ------
    RecordingError
        If nothing was given, a folder cannot be listed or has no sound file, or there are
        more than ``MOST_PARTS``.
    """
    if not isinstance(where, Path):
        if not where:
            raise RecordingError("night: no recording was given.", remedy="Give its file, files or folder.")
        return _few_enough("night", where)
    # What cannot be looked at is no folder here: opening it as a file tells why.
    if not os.path.isdir(where):  # noqa: PTH112
        return [where]
    try:
        found = [
            path
            for path in sorted(where.iterdir())
            # Names that begin with a dot are shadows that some systems leave beside each file.
            if path.suffix.lower() in SOUND_SUFFIXES and not path.name.startswith(".") and path.is_file()
        ]
    except OSError as error:
        raise unreachable(where, error) from error
    if not found:
        raise RecordingError(
            f"{where}: there is no sound file in this folder (folders in it are not searched).",
            remedy="Give the folder that holds the parts of one night, and nothing else.",
        )
    return _few_enough(str(where), found)


def _few_enough(name: str, paths: Sequence[Path]) -> Sequence[Path]:
    if len(paths) > MOST_PARTS:
        raise RecordingError(
            f"{name}: a night may have {MOST_PARTS} sound files at most, got {len(paths)}.",
            remedy="Give the parts of one night at a time.",
        )
    return paths
