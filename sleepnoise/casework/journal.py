"""The journal of a dossier: what was done, when, and every file that came of it.

One line of JSON an entry, only ever added to. Each entry carries the SHA-256 of itself and of the
entry before, so that no line can be changed, dropped or put in without being seen.
"""

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from sleepnoise.casework.enclosed import check_enclosed
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.durable import flush_folder
from sleepnoise.evidence.plain import utc_text

JOURNAL = "journal.jsonl"
NOTHING_BEFORE = ""

JOURNAL_VERSION = 1
"""Version of an entry's layout. Chosen: rises whenever a reader would have to change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """A file of the dossier as it was put there."""

    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One thing that was done.

    Attributes
    ----------
    number : int
        From 1.
    time_utc : str
        ISO 8601.
    did, about : str
        What was done, and to what, in words.
    change : str
        Name under which its files were prepared.
    files : mapping of str to KeptFile
        What it put into the dossier, by path within it.
    versions : mapping of str to str
        Of what did it.
    previous, sha256 : str
        Of the entry before; of this one without this very key.
    version : int
        Of the layout of the entry.
    """

    number: int
    time_utc: str
    did: str
    about: str
    change: str
    files: Mapping[str, KeptFile]
    versions: Mapping[str, str]
    previous: str
    sha256: str
    version: int = JOURNAL_VERSION


LONGEST_PATH = 500
"""Characters of a path within a dossier. Chosen: four times the longest; systems take 260 to 4096 in all, and
thousands of folders within each other end the program that unpacks them."""

_ENTRY = TypeAdapter(Entry)


class DamagedJournalError(RecordingError):
    """A line of the journal is not what was written."""


def read_journal(root: Path) -> tuple[Entry, ...]:
    """Return the entries of a dossier's journal; a last line that was never finished is not one of them.

    Raises
    ------
    DamagedJournalError
        If a line is not what was written.
    RecordingError
        If there is no journal to be read.
    """
    return _split(root)[0]


def unfinished_bytes(root: Path) -> int:
    """Return the length of a last line that was never finished."""
    return _split(root)[1]


def _split(root: Path) -> tuple[tuple[Entry, ...], int]:
    path = root / JOURNAL
    check_enclosed(root, [JOURNAL])
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise RecordingError(
            f"{root}: is no dossier that can be read ({JOURNAL}: {error.strerror}).",
            remedy="Give the folder that 'sleepnoise dossier start' made.",
        ) from None
    *lines, rest = raw.split(b"\n")
    if rest and _whole(rest):
        raise _damaged(path, len(lines) + 1)
    entries: list[Entry] = []
    for number, line in enumerate(lines, start=1):
        entry = _entry(line)
        if entry is not None and entry.version > JOURNAL_VERSION:
            raise RecordingError(
                f"{path}: line {number} has version {entry.version}, this program knows {JOURNAL_VERSION}.",
                remedy="Open the dossier with the newer sleepnoise that wrote it.",
            )
        before = entries[-1].sha256 if entries else NOTHING_BEFORE
        if entry is None or (entry.number, entry.previous) != (number, before):
            raise _damaged(path, number)
        entries.append(entry)
    return tuple(entries), len(rest)


def _whole(rest: bytes) -> bool:
    """Return whether an unended line holds a whole entry: then its end was changed, not cut off."""
    try:
        text = rest.decode()
        _, end = json.JSONDecoder().raw_decode(text)
    except ValueError:
        return False
    return end < len(text)


def _damaged(path: Path, number: int) -> DamagedJournalError:
    return DamagedJournalError(
        f"{path}: line {number} is not what was written there.",
        remedy="Take the journal, or the whole dossier, from a backup or an exported archive.",
    )


def _entry(line: bytes) -> Entry | None:
    try:
        table = json.loads(line)
        if line.decode() != _text(table) or table["sha256"] != _digest(table):
            return None
        if not all(map(harmless_path, table["files"])):
            return None
        if not set(table) <= {each.name for each in fields(Entry)}:
            return None
        return _ENTRY.validate_json(line, strict=True)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None


def harmless_path(path: str) -> bool:
    r"""Return whether a path stays within the folder that it is named from, on every system.

    Examples
    --------
    >>> harmless_path("nights/2026-02-10/night.toml")
    True
    >>> any(map(harmless_path, ["../a", "/a", "a//b", "a\\b", "C:a", ".lock", "a/./b", ""]))
    False
    """
    parts = path.split("/")
    return (
        len(path) <= LONGEST_PATH
        and path.isprintable()
        and not any(
            not part or part.startswith(".") or set(part) & set('\\:*?"<>|') or part.endswith((" ", "."))
            for part in parts
        )
    )


def next_entry(
    before: Sequence[Entry],
    now: datetime,
    *,
    did: str,
    about: str,
    change: str,
    files: Mapping[str, KeptFile],
    versions: Mapping[str, str],
) -> Entry:
    """Return the entry that follows those before."""
    table = {
        "number": len(before) + 1,
        "time_utc": utc_text(now),
        "did": did,
        "about": about,
        "change": change,
        "files": {path: asdict(files[path]) for path in sorted(files)},
        "versions": dict(versions),
        "previous": before[-1].sha256 if before else NOTHING_BEFORE,
        "version": JOURNAL_VERSION,
    }
    table["sha256"] = _digest(table)
    entry = _entry(_text(table).encode())
    assert entry is not None
    return entry


def append_entry(root: Path, entry: Entry) -> None:
    """Add an entry and wait until it is on the disk; on failure the journal stays as it was.

    Raises
    ------
    OSError
        If the disk does not take it.
    """
    path = root / JOURNAL
    torn = unfinished_bytes(root) if path.exists() else 0
    # Without a buffer: what did not fit must not be written once more on closing.
    with path.open("ab", buffering=0) as stream:
        end = stream.seek(0, os.SEEK_END) - torn
        stream.truncate(end)
        line = _text(_table(entry)).encode() + b"\n"
        try:
            while line:
                line = line[stream.write(line) :]
            os.fsync(stream.fileno())
        except OSError:
            stream.truncate(end)
            raise
    flush_folder(root)


def _table(entry: Entry) -> dict[str, Any]:
    # The files may be many: only they are taken apart.
    table = {each.name: getattr(entry, each.name) for each in fields(entry)}
    return {**table, "files": {path: asdict(kept) for path, kept in entry.files.items()}}


def _digest(table: Mapping[str, Any]) -> str:
    told = {key: value for key, value in table.items() if key != "sha256"}
    return hashlib.sha256(_text(told).encode()).hexdigest()


def _text(table: Mapping[str, Any]) -> str:
    return json.dumps(table, ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))
