"""Whether a dossier is what was put into it, and whether its numbers come out again."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from sleepnoise.casework.adding import sound_path
from sleepnoise.casework.changes import LOCK, UNFINISHED, inventory, settled
from sleepnoise.casework.dossier import ASSESSED, Dossier, Night, differs, read_dossier
from sleepnoise.casework.journal import JOURNAL, KeptFile
from sleepnoise.casework.night_results import (
    WriteNight,
    assess_night_again,
    by_this_code,
    is_assessed,
    result_folder,
)
from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.errors import SleepNoiseError
from sleepnoise.evidence.plain import document_text
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.profiles.files import read_door_test
from sleepnoise.trials.door_test import study_door_test

Word = Literal["changed", "missing", "not in the journal", "recording changed", "recording not here"]

NUMBERS_SHOWN = 5
"""Numbers that differ and are named. Chosen: enough to see what kind they are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A file that is not as it should be; a recording that is not here is no fault of the dossier."""

    path: str
    word: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """One result worked out anew.

    Attributes
    ----------
    what : str
        Night or door test.
    same_bytes : bool
        Whether every file came out the same to the last bit.
    numbers : int
        That were compared.
    different : tuple of str
        Where numbers differ: place, before and now.
    other_code : bool
        Whether other code than that which is running made the result that is kept.
    trouble : str
        Why it could not be worked out; empty if it was.
    """

    what: str
    same_bytes: bool = False
    numbers: int = 0
    different: tuple[str, ...] = ()
    other_code: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was found.

    Attributes
    ----------
    files, recordings : int
        That were hashed.
    findings : tuple of Finding
    again : tuple of Again
        Empty unless it was asked for.
    """

    files: int
    recordings: int
    findings: tuple[Finding, ...]
    again: tuple[Again, ...]

    @property
    def sound(self) -> bool:
        """Whether everything that is here is as it was put here, and comes out again."""
        bad = any(finding.word != "recording not here" for finding in self.findings)
        return not bad and not any(each.different or each.trouble for each in self.again)


def verify_dossier(
    root: Path, *, again: WriteNight | None = None, sounds_in: Path | None = None
) -> Verification:
    """Hash everything again, and on request work everything out again.

    Parameters
    ----------
    root : Path
    again : callable, optional
        Writes the folder of a night; asks for every result to be worked out anew.
    sounds_in : Path, optional
        Folder in which recordings are looked for, by name, that are not where they were.

    Raises
    ------
    SleepNoiseError
        If the journal is damaged, or it is no dossier.
    """
    with settled(root) as entries:
        files = inventory(entries)
        findings = [*_changed(root, files), *_strangers(root, files)]
        dossier = _read_if_sound(root, findings)
        outside = [] if dossier is None else list(_recordings(dossier, sounds_in))
    findings += [finding for finding in outside if finding is not None]
    return Verification(
        files=len(files) + 1,
        recordings=sum(finding is None or finding.word != "recording not here" for finding in outside),
        findings=tuple(findings),
        again=tuple(_again(dossier, again)) if dossier is not None and again is not None else (),
    )


def _read_if_sound(root: Path, findings: list[Finding]) -> Dossier | None:
    """Return the dossier, or nothing if what was found explains why it cannot be read."""
    try:
        return read_dossier(root)
    except SleepNoiseError:
        if findings:
            return None
        raise


def _changed(root: Path, files: Mapping[str, KeptFile]) -> Iterator[Finding]:
    for path, kept in files.items():
        if not (root / path).is_file():
            yield Finding(path=path, word="missing")
        elif differs(root / path, kept):
            yield Finding(path=path, word="changed")


def _strangers(root: Path, files: Mapping[str, KeptFile]) -> Iterator[Finding]:
    known = {*files, JOURNAL, LOCK}
    for path in sorted(root.rglob("*")):
        inside = path.relative_to(root)
        stray = path.is_symlink() or not path.is_dir()
        if stray and inside.as_posix() not in known and inside.parts[0] != UNFINISHED:
            yield Finding(path=inside.as_posix(), word="not in the journal")


def _recordings(dossier: Dossier, sounds_in: Path | None) -> Iterator[Finding | None]:
    for night in dossier.nights:
        for sound in night.file.sound:
            if sound.path in dossier.files:
                continue
            place = sound_path(dossier.root, sound.path)
            if sounds_in is not None and not place.is_file():
                place = sounds_in / place.name
            if not place.is_file():
                yield Finding(path=sound.path, word="recording not here")
            elif file_mark(place, sound.role).sha256 != sound.sha256:
                yield Finding(path=sound.path, word="recording changed")
            else:
                yield None


def _again(dossier: Dossier, write: WriteNight) -> Iterator[Again]:
    for night in dossier.nights:
        if is_assessed(dossier, night):
            yield _tried(night.name, lambda night=night: _night_again(dossier, night, write))  # type: ignore[misc]
        elif any((night.folder / ASSESSED).glob("*/assessment.json")):
            yield Again(what=night.name, trouble="its results rest on other settings, words or versions.")
    for folder in dossier.door_tests:
        yield _tried(f"door test {folder.name}", lambda folder=folder: _door_test_again(folder))  # type: ignore[misc]


def _tried(what: str, work: Callable[[], Again]) -> Again:
    try:
        return work()
    except SleepNoiseError as error:
        return Again(what=what, trouble=error.complaint)
    except (OSError, ValueError, RecursionError) as error:
        # A result that is missing, or is no document, cannot be compared with anything.
        return Again(
            what=what, trouble=f"what was kept cannot be read: {type(error).__name__}: {error!s:.200}"
        )


def _night_again(dossier: Dossier, night: Night, write: WriteNight) -> Again:
    before = result_folder(dossier, night)
    with TemporaryDirectory() as scratch:
        now = Path(scratch) / "night"
        write(assess_night_again(dossier, night), now)
        names = {path.name for folder in (before, now) for path in folder.iterdir()}
        same = all(_bytes(before / name) == _bytes(now / name) for name in names)
        found = _compared(
            night.name, same, *((each / "assessment.json").read_text("utf-8") for each in (before, now))
        )
        return replace(found, other_code=not by_this_code(dossier, night))


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _door_test_again(folder: Path) -> Again:
    before = (folder / "result.json").read_text("utf-8")
    now = document_text(
        door_test_document(study_door_test(read_door_test(folder / "door_test.toml"), folder))
    )
    return _compared(f"door test {folder.name}", before == now, before, now)


def _compared(what: str, same: bool, before: str, now: str) -> Again:
    old, new = dict(_numbers(json.loads(before))), dict(_numbers(json.loads(now)))
    different = [
        f"{place}: {old.get(place, 'nothing')}, now {new.get(place, 'nothing')}"
        for place in old | new
        if place not in old or place not in new or old[place] != new[place]
    ]
    return Again(what=what, same_bytes=same, numbers=len(old), different=tuple(different))


def _numbers(part: Any, place: str = "") -> Iterator[tuple[str, float | str | None]]:
    """Yield every number of a document with its place, unknown and infinite ones too."""
    if isinstance(part, Mapping):
        for key, value in part.items():
            yield from _numbers(value, f"{place} {key}".strip())
    elif isinstance(part, list):
        for number, value in enumerate(part, start=1):
            yield from _numbers(value, f"{place} {number}".strip())
    elif part is None or isinstance(part, int | float) or part in ("Infinity", "-Infinity"):
        yield place, part
