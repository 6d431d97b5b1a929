"""A dossier as one archive: the same dossier gives the same bytes, and an archive unpacks to no harm.

Files lie in it as they are, not compressed, so that no version of a compressor changes a byte and
an archive can never unpack to more than its own size. Its first file lists all others with their
SHA-256.
"""

import shutil
import stat
import struct
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.casework.changes import inventory, settled
from sleepnoise.casework.journal import JOURNAL, KeptFile, harmless_path, read_journal
from sleepnoise.errors import OutputError, RecordingError, SleepNoiseError
from sleepnoise.evidence.placing import placed, placed_files
from sleepnoise.evidence.plain import document_text
from sleepnoise.evidence.provenance import READ_BYTES, FileMark, file_mark

CONTENTS = "contents.json"
"""First file of an archive."""

SCHEMA = {"name": "sleepnoise/dossier-archive", "version": 1}
"""Name and version of the list of contents. Chosen: raised whenever a key changes its meaning."""

LARGEST_LIST_BYTES = 100_000_000
"""Largest list of contents, bytes. Chosen: half a million files."""

ANY_DAY = (1980, 1, 1, 0, 0, 0)
"""Time of every file in an archive. Chosen: the first that the format knows; true times: the journal."""

READABLE = stat.S_IFREG | 0o644
"""Kind and rights of every file in an archive. Chosen: a plain file that everybody may read."""


_NO_ARCHIVE = (zipfile.BadZipFile, NotImplementedError, EOFError, ValueError, struct.error, RuntimeError)
"""What the library raises at an archive that is broken, its names included."""


class _Schema(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    name: Literal["sleepnoise/dossier-archive"]
    version: Literal[1]


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    size_bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class _Contents(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    kind: Annotated[_Schema, Field(alias="schema")]
    files: dict[str, _Kept]


def export_dossier(root: Path, out: Path) -> FileMark:
    """Write a dossier into one archive and return its mark.

    Parameters
    ----------
    root : Path
    out : Path
        File to make.

    Raises
    ------
    OutputError
        If the file is there already or cannot be written.
    RecordingError
        If a file of the dossier is not what the journal knows.
    """
    if out.resolve().is_relative_to(root.resolve()):
        raise OutputError(f"{out}: lies within the dossier itself.", remedy="Choose a place outside it.")
    with placed_files(out, force=None) as (unfinished,), settled(root) as entries:
        _write(root, unfinished, inventory(entries))
    return file_mark(out, "archive")


def _write(root: Path, out: Path, files: Mapping[str, KeptFile]) -> None:
    journal = file_mark(root / JOURNAL, "journal")
    listed = {**files, JOURNAL: KeptFile(size_bytes=journal.size_bytes, sha256=journal.sha256)}
    with zipfile.ZipFile(out, "x", zipfile.ZIP_STORED) as archive:
        table = {"schema": SCHEMA, "files": {path: asdict(listed[path]) for path in sorted(listed)}}
        archive.writestr(_info(CONTENTS), document_text(table))
        for path in sorted(listed):
            mark = file_mark(root / path, "file of the dossier")
            if (mark.size_bytes, mark.sha256) != (listed[path].size_bytes, listed[path].sha256):
                raise RecordingError(
                    f"{root / path}: is not what the journal knows.",
                    remedy="See 'dossier verify'; if it was changed on purpose, 'dossier accept' says so.",
                )
            info = _info(path)
            info.file_size = mark.size_bytes
            with (root / path).open("rb") as source, archive.open(info, "w") as target:
                shutil.copyfileobj(source, target, READ_BYTES)


def _info(path: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(path, ANY_DAY)
    info.external_attr = READABLE << 16
    # What the system writes here by itself differs from one to the other.
    info.create_system = 3
    return info


def import_dossier(archive: Path, root: Path) -> int:
    """Unpack an archive into a new folder and return how many files it holds.

    Parameters
    ----------
    archive : Path
    root : Path
        Folder to make.

    Raises
    ------
    RecordingError
        If it is no archive of a dossier, was changed, or holds what could do harm. Nothing is left behind.
    OutputError
        If the folder is there already or cannot be written.
    """
    root = root.resolve()
    if root.exists() or not root.parent.is_dir():
        raise OutputError(
            f"{root}: must be a new folder in one that is there.", remedy="Choose another place."
        )
    with _opened(archive) as opened:
        listed = _listed(archive, opened)
        with placed(root, replace=False) as (unfinished,):
            unfinished.mkdir()
            for path, kept in listed.items():
                _unpack(archive, opened, path, kept, unfinished)
            _check_journal(archive, unfinished, listed)
    return len(listed)


@contextmanager
def _opened(archive: Path) -> Iterator[zipfile.ZipFile]:
    if archive.exists() and not archive.is_file():
        raise _refused(archive, "is no plain file")
    try:
        with zipfile.ZipFile(archive) as opened:
            yield opened
    except SleepNoiseError:
        raise
    except _NO_ARCHIVE as error:
        raise _refused(archive, f"is no archive that can be read ({type(error).__name__})") from None
    except FileNotFoundError:
        raise _refused(archive, "there is no such file") from None
    except OSError as error:
        raise _refused(archive, f"cannot be read ({error.strerror or error})") from None


def _listed(archive: Path, opened: zipfile.ZipFile) -> dict[str, _Kept]:
    """Return the contents that an archive promises, once nothing in it could do harm."""
    infos = opened.infolist()
    for info in infos:
        _check_info(archive, info)
    if sum(info.file_size for info in infos) > archive.stat().st_size:
        raise _refused(archive, "would unpack to more than its own size")
    names = [info.filename for info in infos]
    if names[:1] != [CONTENTS] or infos[0].file_size > LARGEST_LIST_BYTES:
        raise _refused(archive, f"does not begin with {CONTENTS}")
    try:
        files = _Contents.model_validate_json(opened.read(CONTENTS)).files
    except ValidationError:
        raise _refused(archive, f"{CONTENTS} is no list of contents") from None
    if sorted(names[1:]) != sorted(files):
        raise _refused(archive, f"does not hold just what {CONTENTS} lists")
    _check_apart(archive, names)
    return files


def _check_apart(archive: Path, names: Iterable[str]) -> None:
    """Refuse names that some system takes for one another, and a file where a folder must be."""
    files = list(names)
    folders = {name[: end + 1] for name in files for end, sign in enumerate(name) if sign == "/"}
    known: set[str] = set()
    for place in (*files, *sorted(folders)):
        alike = unicodedata.normalize("NFC", place.removesuffix("/")).casefold()
        if alike in known:
            raise _refused(archive, f"holds two names that are one on some systems: {place!r:.80}")
        known.add(alike)


def _check_info(archive: Path, info: zipfile.ZipInfo) -> None:
    kind = stat.S_IFMT(info.external_attr >> 16)
    if not harmless_path(info.filename) or info.orig_filename != info.filename:
        raise _refused(archive, f"holds a name that leads elsewhere: {info.filename!r:.80}")
    if kind not in (0, stat.S_IFREG) or info.is_dir():
        raise _refused(archive, f"holds what is no plain file: {info.filename!r:.80}")
    if info.compress_type != zipfile.ZIP_STORED or info.flag_bits & 1:
        raise _refused(archive, f"holds a packed or locked file: {info.filename!r:.80}")


def _unpack(archive: Path, opened: zipfile.ZipFile, path: str, kept: _Kept, to: Path) -> None:
    target = to / path
    target.parent.mkdir(parents=True, exist_ok=True)
    if opened.getinfo(path).file_size == kept.size_bytes:
        with opened.open(path) as source, target.open("xb") as sink:
            shutil.copyfileobj(source, sink, READ_BYTES)
        if file_mark(target, "file of the dossier").sha256 == kept.sha256:
            return
    raise _refused(archive, f"{path} was changed since it was exported")


def _check_journal(archive: Path, folder: Path, listed: Mapping[str, _Kept]) -> None:
    try:
        known = {path: kept.sha256 for path, kept in inventory(read_journal(folder)).items()}
    except RecordingError as error:
        # Nobody ever sees the folder that it was unpacked into.
        why = error.complaint.removeprefix(f"{folder / JOURNAL}: ").removeprefix(f"{folder}: ")
        raise _refused(archive, f"{JOURNAL}: {why.rstrip('.')}") from None
    there = {path: kept.sha256 for path, kept in listed.items() if path != JOURNAL}
    if known != there:
        raise _refused(archive, "its journal does not name just the files that it holds")


def _refused(archive: Path, why: str) -> RecordingError:
    return RecordingError(
        f"{archive}: {why}.",
        remedy="Give an archive that 'sleepnoise dossier export' wrote, as it was written.",
    )
