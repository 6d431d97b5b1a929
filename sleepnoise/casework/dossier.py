"""A bedroom's dossier as it lies on the disk: its files, its nights, and what was assessed."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path

from sleepnoise.casework.changes import EARLIER, inventory, prepared, writing
from sleepnoise.casework.enclosed import check_enclosed
from sleepnoise.casework.journal import JOURNAL, Entry, KeptFile, read_journal
from sleepnoise.casework.written_files import DossierFile, NightFile, read_written, written_text
from sleepnoise.errors import OutputError, RecordingError, SettingsError
from sleepnoise.evidence.placing import placed
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.night.window import NightWindow

DOSSIER_FILE, ROOM_FILE, CALIBRATION_FILE = "dossier.toml", "room.toml", "calibration.toml"
NIGHTS, ASSESSED, NIGHT_FILE = "nights", "assessed", "night.toml"
DOOR_TESTS, GUIDELINES = "door-tests", "guidelines"
PAPERS = {"plan": "plans", "proof": "proofs", "report": "reports"}
"""What else is kept, by its kind, and the folder that it is kept in."""

BY_HAND = (".toml", ".csv")
"""Endings of files that people may change by hand; the dossier asks to be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """A night of the dossier.

    Attributes
    ----------
    name : str
        Its evening, such as ``"2026-02-10"``.
    file : NightFile
    folder : Path
    labels, diary : Path or None
    """

    name: str
    file: NightFile
    folder: Path
    labels: Path | None
    diary: Path | None

    @property
    def own_calibration(self) -> bool:
        """Whether it has a calibration of its own: a tone, or a full-scale level."""
        tones = any(sound.role == "tone" for sound in self.file.sound)
        return tones or self.file.full_scale_level_db is not None


@dataclass(frozen=True, kw_only=True)
class Dossier:
    """A dossier as it was read.

    Attributes
    ----------
    root : Path
    entries : tuple of Entry
        The journal.
    files : mapping of str to KeptFile
        Everything that was put into it, by path within it.
    about : DossierFile
    nights : tuple of Night
        In order of time.
    """

    root: Path
    entries: tuple[Entry, ...]
    files: Mapping[str, KeptFile]
    about: DossierFile
    nights: tuple[Night, ...]

    @property
    def room(self) -> Path | None:
        """The room file, if there is one."""
        return self._kept(ROOM_FILE)

    @property
    def calibration(self) -> Path | None:
        """The calibration that holds for every night without one of its own."""
        return self._kept(CALIBRATION_FILE)

    def calibrated(self, name: str) -> bool:
        """Return whether the night of an evening has a calibration: its own, or that of the dossier."""
        return self.calibration is not None or self.night(name).own_calibration

    @property
    def door_tests(self) -> tuple[Path, ...]:
        """The folders of the door tests."""
        return tuple(
            (self.root / path).parent
            for path in sorted(self.files)
            if path.startswith(f"{DOOR_TESTS}/") and path.endswith("/result.json")
        )

    @cached_property
    def edited(self) -> tuple[str, ...]:
        """Files that people write and that differ from what the journal knows."""
        by_hand = (path for path in self.files if path.endswith(BY_HAND) and not _is_result(path))
        return tuple(sorted(path for path in by_hand if differs(self.root / path, self.files[path])))

    def night(self, name: str) -> Night:
        """Return the night of an evening.

        Raises
        ------
        SettingsError
            If there is none.
        """
        for night in self.nights:
            if night.name == name:
                return night
        raise SettingsError(
            f"{self.root}: there is no night of {name!r:.40}.",
            remedy=f"Give one of: {', '.join(night.name for night in self.nights) or 'none yet'}.",
        )

    def papers(self, kind: str) -> tuple[Path, ...]:
        """Return the plans, proofs or reports that are kept, in the order in which they came."""
        return tuple(self.root / path for path in self.files if path.startswith(f"{PAPERS[kind]}/"))

    def check_recorded(self) -> None:
        """Refuse to go on while a file was changed by hand and nobody said so.

        Raises
        ------
        SettingsError
        """
        if self.edited:
            raise SettingsError(
                f"{self.root}: changed by hand since it was recorded: {', '.join(self.edited)}.",
                remedy="Write the change into the journal with 'sleepnoise dossier accept', or undo it.",
            )

    def _kept(self, name: str) -> Path | None:
        return self.root / name if name in self.files else None


def differs(path: Path, kept: KeptFile) -> bool:
    """Return whether a file is missing or is not what the journal knows."""
    if path.is_symlink() or not path.is_file() or path.stat().st_size != kept.size_bytes:
        return True
    return file_mark(path, "file of the dossier").sha256 != kept.sha256


def kept_content(dossier: Dossier, path: Path) -> bytes:
    """Return the content of a kept file that is what the journal knows.

    Raises
    ------
    RecordingError
        If it is missing or is something else.
    """
    kept = dossier.files[path.relative_to(dossier.root).as_posix()]
    try:
        content = b"" if path.is_symlink() or not path.is_file() else path.read_bytes()
    except OSError:
        content = b""
    if hashlib.sha256(content).hexdigest() != kept.sha256:
        raise RecordingError(
            f"{path}: is not what was written there.",
            remedy="Look what else has changed with 'sleepnoise dossier verify'.",
        )
    return content


def read_dossier(root: Path) -> Dossier:
    """Read a dossier.

    Raises
    ------
    SleepNoiseError
        If there is none, or a file of it cannot be read.
    """
    entries = read_journal(root)
    files = inventory(entries)
    check_enclosed(root, files)
    about = read_written(root / DOSSIER_FILE, DossierFile)
    names = [path.split("/")[1] for path in files if path.startswith(f"{NIGHTS}/") and _is_night(path)]
    return Dossier(
        root=root,
        entries=entries,
        files=files,
        about=about,
        nights=tuple(_night(root, name, files) for name in sorted(names)),
    )


def _is_result(path: str) -> bool:
    """Return whether a file is a result, or belongs to one: nobody may change that by hand."""
    return path.startswith((f"{DOOR_TESTS}/", f"{EARLIER}/")) or f"/{ASSESSED}/" in path


def _is_night(path: str) -> bool:
    return path.endswith(f"/{NIGHT_FILE}")


def _night(root: Path, name: str, files: Mapping[str, KeptFile]) -> Night:
    def beside(file: str) -> Path | None:
        return root / NIGHTS / name / file if f"{NIGHTS}/{name}/{file}" in files else None

    folder = root / NIGHTS / name
    return Night(
        name=name,
        file=read_written(folder / NIGHT_FILE, NightFile),
        folder=folder,
        labels=beside("labels.csv"),
        diary=beside("diary.csv"),
    )


def start_dossier(root: Path, about: DossierFile, now: datetime, others: Mapping[str, bytes]) -> None:
    """Start a dossier in a new or empty folder.

    Parameters
    ----------
    root : Path
    about : DossierFile
    now : datetime
    others : mapping of str to bytes
        Further files by name, such as ``"room.toml"``.

    Raises
    ------
    OutputError
        If something is there already, or the folder cannot be written.
    SleepNoiseError
        If zone or window are none.
    """
    NightWindow.parse(about.night_hours, about.zone)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise OutputError(
            f"{root}: is there already and not empty; nothing is overwritten.",
            remedy="Choose another folder.",
        )
    if not root.parent.is_dir():
        raise OutputError(f"{root.parent}: there is no such folder.", remedy="Make it first.")
    # An empty folder may be there.
    with placed(root, replace=root.exists()) as (fresh,):
        _begin(fresh, about, now, others)


def _begin(root: Path, about: DossierFile, now: datetime, others: Mapping[str, bytes]) -> None:
    root.mkdir()
    (root / JOURNAL).touch()
    with prepared(root) as ready:
        (ready / DOSSIER_FILE).write_text(written_text(about), encoding="utf-8", newline="\n")
        for name, content in others.items():
            (ready / name).parent.mkdir(exist_ok=True)
            (ready / name).write_bytes(content)
        with writing(root) as book:
            book.commit(ready, now, did="started the dossier", about=about.title)
