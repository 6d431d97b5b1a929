"""Changes of a dossier: wholly made or not at all, one after the other, whoever is killed meanwhile.

A change is prepared in a folder of its own, out of sight. Its entry in the journal is the point
from which it counts: before it, whoever comes next clears the preparation away; after it,
whoever comes next puts the files in place that are not there yet. Nothing is ever removed:
the earlier content of a file that is replaced is moved to ``earlier/``.
"""

import os
import secrets
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sleepnoise.casework.enclosed import check_enclosed
from sleepnoise.casework.journal import (
    Entry,
    KeptFile,
    append_entry,
    harmless_path,
    next_entry,
    read_journal,
)
from sleepnoise.errors import OutputError, RecordingError, SettingsError
from sleepnoise.evidence.durable import cannot_write, flush_file, flush_folder, held
from sleepnoise.evidence.provenance import file_mark, library_versions

UNFINISHED = ".unfinished"
"""Where changes are prepared."""

LOCK = ".lock"
"""Held by whoever is writing."""

EARLIER = "earlier"
"""Where the earlier content of replaced files lies, by its hash."""

HASH_DIGITS = 16
"""Hexadecimal digits of a hash that name a folder. Chosen: 64 bits, no two alike in any dossier."""


def inventory(entries: Sequence[Entry]) -> dict[str, KeptFile]:
    """Return every file that the journal knows, as it was put there last."""
    return {path: kept for entry in entries for path, kept in entry.files.items()}


@contextmanager
def prepared(root: Path) -> Iterator[Path]:
    """Give an empty folder in which a change can be prepared; it is gone afterwards.

    Raises
    ------
    OutputError
        If the disk does not take it.
    """
    place = root / UNFINISHED
    name = secrets.token_hex(8)
    check_enclosed(root, [UNFINISHED])
    try:
        place.mkdir(exist_ok=True)
    except OSError as error:
        raise cannot_write(root, error) from None
    # Held first, so that nobody takes the folder for one left behind.
    with held(_hold_of(place / name), tries=1):
        try:
            (place / name).mkdir()
            yield place / name
        except OutputError:
            raise
        except OSError as error:
            raise cannot_write(root, error) from None
        finally:
            if not _counts(root, name):
                _clear(place / name)


def _counts(root: Path, change: str) -> bool:
    """Return whether a change is in the journal and has files that are not in their place yet."""
    try:
        entries = read_journal(root)
    except RecordingError:
        return True
    ready = root / UNFINISHED / change
    return any((ready / path).exists() for entry in entries if entry.change == change for path in entry.files)


@dataclass(slots=True)
class Writing:
    """The right to change a dossier; see :func:`writing`."""

    root: Path
    entries: tuple[Entry, ...]

    def commit(self, ready: Path, now: datetime, *, did: str, about: str) -> Entry:
        """Make a prepared change count and put its files in place.

        Parameters
        ----------
        ready : Path
            From :func:`prepared`; its files have the paths that they will have in the dossier.
        now : datetime
        did, about : str
            For the journal.

        Raises
        ------
        OutputError
            If a file is in the way that the journal does not know.
        SettingsError
            If a file's name does not do on every system.
        OSError
            If the disk does not take it; nothing is changed then.
        """
        known = inventory(self.entries)
        for path in _paths(ready):
            if not harmless_path(path):
                raise SettingsError(
                    f"{Path(path).name!r:.100}: a file of this name cannot be kept on every system.",
                    remedy="Rename it: letters, digits, hyphens, underscores, dots and blanks are safe.",
                )
            check_enclosed(self.root, [path])
            self._keep_earlier(ready, path, known)
        files = {}
        for path in _paths(ready):
            mark = file_mark(ready / path, "file of the dossier")
            files[path] = KeptFile(size_bytes=mark.size_bytes, sha256=mark.sha256)
            flush_file(ready / path)
        for folder in (*(path for path in ready.rglob("*") if path.is_dir()), ready):
            flush_folder(folder)
        entry = next_entry(
            self.entries, now, did=did, about=about, change=ready.name, files=files,
            versions=library_versions(),
        )  # fmt: skip
        append_entry(self.root, entry)
        self.entries = (*self.entries, entry)
        _put_in_place(self.root, entry)
        return entry

    def _keep_earlier(self, ready: Path, path: str, known: dict[str, KeptFile]) -> None:
        there = self.root / path
        if not there.exists():
            return
        if path not in known:
            raise OutputError(
                f"{there}: is there already, and the dossier knows nothing of it.",
                remedy="Move it out of the dossier, then try again.",
            )
        digest = file_mark(there, "file of the dossier").sha256
        old = ready / EARLIER / digest[:HASH_DIGITS] / there.name
        if not (self.root / old.relative_to(ready)).exists():
            old.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(there, old)


@contextmanager
def writing(root: Path) -> Iterator[Writing]:
    """Hold a dossier for writing, with every change of earlier writers finished or cleared away.

    Raises
    ------
    OutputError
        If another writer does not let go, or the disk does not take a change.
    RecordingError
        If it is no dossier.
    """
    entries = read_journal(root)
    check_enclosed(root, [LOCK, UNFINISHED])
    with held(root / LOCK) as mine:
        if not mine:
            raise OutputError(
                f"{root}: another process has been writing for a minute.",
                remedy="Wait until it has ended, then try again.",
            )
        try:
            entries = read_journal(root)
            _finish(root, entries)
            yield Writing(root, entries)
        except OutputError:
            raise
        except OSError as error:
            raise cannot_write(root, error) from None


@contextmanager
def settled(root: Path) -> Iterator[tuple[Entry, ...]]:
    """Hold a dossier still to look at all of it; where nothing can be written, nobody else can either.

    Raises
    ------
    OutputError, RecordingError
        As :func:`writing`.
    """
    if os.access(root, os.W_OK):
        with writing(root) as book:
            yield book.entries
    else:
        yield read_journal(root)


def _finish(root: Path, entries: Sequence[Entry]) -> None:
    """Put in place what was journaled and left, and clear away what never was."""
    place = root / UNFINISHED
    left = {path.name: path for path in place.iterdir() if path.is_dir()} if place.is_dir() else {}
    for entry in entries:
        if entry.change in left:
            _put_in_place(root, entry)
    for folder in left.values():
        with held(_hold_of(folder), tries=1) as abandoned:
            if abandoned:
                _clear(folder)


def _put_in_place(root: Path, entry: Entry) -> None:
    ready = root / UNFINISHED / entry.change
    folders = set()
    for path in entry.files:
        check_enclosed(root, [f"{UNFINISHED}/{entry.change}/{path}"])
        if (ready / path).exists():
            check_enclosed(root, [path])
            target = root / path
            target.parent.mkdir(parents=True, exist_ok=True)
            os.replace(ready / path, target)  # noqa: PTH105
            folders |= {folder for folder in target.parents if folder.is_relative_to(root)}
    for folder in sorted(folders, reverse=True):
        flush_folder(folder)


def _paths(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def _hold_of(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}.held")


def _clear(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    _hold_of(folder).unlink(missing_ok=True)
