"""Which nights there are: from folders, patterns, addresses, or a list written by hand.

A folder is a bedroom, and each sound file or folder in it is one night; or it holds bedrooms' folders,
which their files tell. What a pattern or address finds is one night each, of the bedroom that the folder
around it is named after. A list says it all itself.
"""

import csv
import glob
import io
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Any

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError, SettingsError, SleepNoiseError
from sleepnoise.evidence.reading import few_bytes
from sleepnoise.portfolio.addresses import found_at, is_address
from sleepnoise.portfolio.task import NightTask, checked_name
from sleepnoise.recording.clock import ClockReading, zone_named
from sleepnoise.recording.night_files import SOUND_SUFFIXES
from sleepnoise.recording.timestamps import find_start, zone_given

PARTS = ";"
"""Stands between the parts of one night in a list."""

LARGEST_LIST_BYTES = 50_000_000
"""Largest list of nights. Chosen: a hundred thousand nights, each with every column filled."""

PARTS_APART = timedelta(hours=20)
"""Parts of one night begin no further apart. Chosen: recorders left on from one evening to the next noon."""

NIGHTS_APART = timedelta(hours=12)
"""Two nights of one bedroom begin no closer together. Chosen: half a day, whatever the evening's hour."""

COLUMNS = (
    "bedroom", "night", "recording", "start", "zone", "clock", "channel", "window", "calibration", "tone",
    "full_scale_level", "labels", "diary",
)  # fmt: skip
"""Columns of a list of nights; only the first and the third must be there."""

_TEXTS, _STATED = ("start", "zone", "window"), ("labels", "diary")
_CALIBRATED = {"calibration": "calibration_file", "tone": "tone"}


def gather(where: Iterable[str], settings: AssessSettings) -> tuple[NightTask, ...]:
    """Return every night that is meant, in the order given.

    Parameters
    ----------
    where : iterable of str
        Each a folder, a sound file, a pattern, an address, or a list of nights (``.csv``).
    settings : AssessSettings
        What holds for every night of which a list says nothing else.

    Raises
    ------
    RecordingError
        If something is not there, or holds no recording.
    SettingsError
        If a list has mistakes, or two nights have the same name.
    StartTimeError
        If the zone that holds for all is not known, or no night has any.
    """
    if settings.zone is not None:
        # A mistake that would fail every night is said once, before any is begun.
        zone_named(settings.zone, "--zone")
    tasks = [task for each in where for task in _gathered(each, settings)]
    if all(task.settings.zone is None for task in tasks):
        zone_given(Path(tasks[0].recordings[0]), None)
    known: dict[tuple[str, str], NightTask] = {}
    for task in tasks:
        # Some file systems do not tell capitals from small letters.
        name = (task.bedroom.casefold(), task.night.casefold())
        if name in known:
            raise SettingsError(
                f"{task.recordings[0]}: is called {task.night!r} in bedroom {task.bedroom!r}, "
                f"and so is {known[name].recordings[0]}.",
                remedy="Rename one of them, or give names in a list of nights.",
            )
        known[name] = task
    return tuple(tasks)


def _gathered(where: str, settings: AssessSettings) -> list[NightTask]:
    if is_address(where):
        return [_named_by_folder(each, settings) for each in found_at(where)]
    path = Path(where)
    if path.is_dir():
        return _of_folder(path.resolve(), settings)
    if path.suffix.lower() == ".csv":
        return _of_list(path, settings)
    if path.exists():
        return [_named_by_folder(str(path.resolve()), settings)]
    found = sorted(glob.glob(where, recursive=True))  # noqa: PTH207 - a pattern may begin anywhere.
    if not found:
        raise RecordingError(f"{where}: there is no such file or folder.", remedy="Check the path.")
    return [_named_by_folder(str(Path(each).resolve()), settings) for each in found]


def _of_folder(folder: Path, settings: AssessSettings) -> list[NightTask]:
    nights = _inside(folder)
    if nights and _are_bedrooms(nights):
        return [task for bedroom in nights for task in _of_folder(bedroom, settings)]
    if not nights:
        raise RecordingError(
            f"{folder}: holds no night, neither a sound file nor a folder of them.",
            remedy="Name the folder of a bedroom: each file or folder in it is one night.",
        )
    return [_named_by_folder(str(each), settings) for each in nights]


def _inside(folder: Path) -> list[Path]:
    """Return the sound files and folders in a folder, in order."""
    return sorted(
        each
        for each in folder.iterdir()
        if not each.name.startswith(".") and (each.is_dir() or each.suffix.lower() in SOUND_SUFFIXES)
    )


def _are_bedrooms(folders: list[Path]) -> bool:
    """Return whether these are bedrooms, each with its nights, rather than nights of one, each in its parts.

    They are if there are folders in them; if files in one of them begin further apart than parts of one
    night do; or if files in two of them begin in the same night.
    """
    if not all(each.is_dir() for each in folders):
        return False
    inside = [_inside(each) for each in folders]
    if any(each.is_dir() for files in inside for each in files):
        return True
    starts = [sorted(start for each in files if (start := _start(each)) is not None) for files in inside]
    if any(each and each[-1] - each[0] > PARTS_APART for each in starts):
        return True
    firsts = sorted(each[0] for each in starts if each)
    return any(later - earlier < NIGHTS_APART for earlier, later in pairwise(firsts))


def _start(file: Path) -> datetime | None:
    """Return when a sound file says that it began, by its own clock; None if it does not."""
    try:
        # Only differences count: any zone will do, and so will any sampling rate.
        return find_start(file, 48_000, given=None, zone="UTC").utc
    except SleepNoiseError:
        return None


def _named_by_folder(recording: str, settings: AssessSettings) -> NightTask:
    pure = PurePosixPath(recording) if is_address(recording) else Path(recording)
    name = pure.name if not is_address(recording) and Path(recording).is_dir() else pure.stem
    return NightTask(
        bedroom=checked_name(pure.parent.name, recording),
        night=checked_name(name, recording),
        recordings=(recording,),
        settings=settings,
    )


# A list of nights.


def _of_list(path: Path, settings: AssessSettings) -> list[NightTask]:
    remedy = "Save it as CSV, UTF-8, with commas; see 'sleepnoise assess-many -h'."
    raw = few_bytes(path, LARGEST_LIST_BYTES, what="list of nights", remedy=remedy)
    try:
        if b"\0" in raw:
            raise ValueError("it holds nulls")
        reader = csv.DictReader(io.StringIO(raw.decode("utf-8-sig"), newline=""), strict=True)
        _check_columns(path, reader.fieldnames or [])
        rows = [(reader.line_num, row) for row in reader]
    except SleepNoiseError:
        raise
    except (ValueError, csv.Error) as error:
        raise RecordingError(
            f"{path}: cannot be read as a list of nights ({error!s:.200}).", remedy=remedy
        ) from None
    if not rows:
        raise RecordingError(f"{path}: lists no night.", remedy="Write one line for each night.")
    return [_of_row(path, line, row, settings) for line, row in rows]


def _check_columns(path: Path, names: Iterable[str]) -> None:
    given = list(names)
    wrong = [f"there is no column {name!r}" for name in ("bedroom", "recording") if name not in given]
    wrong += [f"column {name!r:.60} is not known" for name in given if name not in COLUMNS]
    if wrong or len(set(given)) < len(given):
        raise SettingsError(
            f"{path}: {wrong[0] if wrong else 'a column is there twice'}.",
            remedy=f"The first line names the columns; known are {', '.join(COLUMNS)}.",
        )


def _of_row(
    path: Path, line: int, row: dict[str | None, str | list[str] | None], settings: AssessSettings
) -> NightTask:
    where = f"{path}, line {line}"
    if None in row or None in row.values():
        raise SettingsError(
            f"{where}: has not as many cells as the first line.", remedy="Put text with commas in quotes."
        )
    cells = {str(name): str(cell).strip() for name, cell in row.items() if str(cell).strip()}
    folder = path.resolve().parent
    recordings = tuple(
        _placed(part.strip(), folder) for part in cells.get("recording", "").split(PARTS) if part.strip()
    )
    if not recordings:
        raise SettingsError(f"{where}: names no recording.", remedy="Fill in the column 'recording'.")
    return NightTask(
        bedroom=checked_name(cells.get("bedroom", ""), where),
        night=checked_name(cells.get("night") or PurePosixPath(recordings[0]).stem, where),
        recordings=recordings,
        settings=_row_settings(where, cells, folder, settings),
    )


def _placed(name: str, folder: Path) -> str:
    return name if is_address(name) else str(folder / name)


def _row_settings(
    where: str, cells: dict[str, str], folder: Path, settings: AssessSettings
) -> AssessSettings:
    given: dict[str, Any] = {name: cells[name] for name in _TEXTS if name in cells}
    said: dict[str, Any] = {name: folder / cells[name] for name in _STATED if name in cells}
    try:
        if "channel" in cells:
            given["channel"] = int(cells["channel"])
        if "full_scale_level" in cells:
            given["full_scale_level_db"] = float(cells["full_scale_level"])
    except ValueError as error:
        raise SettingsError(f"{where}: {error!s:.200}.", remedy="Give a plain number.") from None
    if "clock" in cells:
        given["clock"] = tuple(ClockReading.parse(each.strip()) for each in cells["clock"].split(PARTS))
    files = {field: folder / cells[name] for name, field in _CALIBRATED.items() if name in cells}
    if files or "full_scale_level_db" in given:
        # A night's own calibration takes the place of the one that holds for all.
        given = {"tone": None, "full_scale_level_db": None, "calibration_file": None, **given, **files}
    return replace(settings, statements=replace(settings.statements, **said), **given)
