"""A dossier's folder that somebody hands over: nothing in it may lead out of it.

A link in the right place would have files elsewhere read, moved into the dossier or removed.
"""

import stat
from collections.abc import Iterable
from pathlib import Path

from sleepnoise.errors import RecordingError


def check_enclosed(root: Path, paths: Iterable[str]) -> None:
    """Refuse to follow a path out of a folder: nothing on the way, nor at its end, may be a link or device.

    Parameters
    ----------
    root : Path
        May be a link itself: whoever named it meant it.
    paths : iterable of str
        Within it, with ``/`` between their parts; what is not there yet does no harm.

    Raises
    ------
    RecordingError
        With the first that leads elsewhere.
    """
    found: dict[Path, str] = {}
    for path in paths:
        place = root
        for part in path.split("/"):
            place = place / part
            if place not in found:
                found[place] = _what_leads_elsewhere(place)
            if found[place]:
                raise RecordingError(
                    f"{place}: is {found[place]}; a dossier holds plain files and folders alone.",
                    remedy="Put the file or folder itself there, or ask for an archive that 'export' wrote.",
                )


def _what_leads_elsewhere(place: Path) -> str:
    try:
        mode = place.lstat().st_mode
    except OSError:
        return ""
    if stat.S_ISLNK(mode):
        return "a link"
    return "" if stat.S_ISREG(mode) or stat.S_ISDIR(mode) else "no plain file"
