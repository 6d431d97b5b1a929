"""What people bring to a dossier: nights, door tests, words, papers, and changes by hand."""

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path

from sleepnoise.calibration.kept import read_calibration
from sleepnoise.casework.changes import prepared, writing
from sleepnoise.casework.dossier import (
    CALIBRATION_FILE,
    DOOR_TESTS,
    DOSSIER_FILE,
    NIGHT_FILE,
    NIGHTS,
    PAPERS,
    ROOM_FILE,
    Dossier,
    read_dossier,
)
from sleepnoise.casework.written_files import (
    VERSION,
    DossierFile,
    NightFile,
    SoundEntry,
    SoundRole,
    checked,
    is_earlier,
    written_text,
)
from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.night.window import NightWindow
from sleepnoise.profiles.door_test import DoorTestProfile
from sleepnoise.profiles.files import read_bedroom, read_door_test
from sleepnoise.recognition.diary import read_diary
from sleepnoise.recognition.labels import read_labels
from sleepnoise.recognition.written_times import RecordedNight
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.sequence import NightSound, open_night
from sleepnoise.trials.door_test import study_door_test

SINGLE_FILES: dict[str, tuple[str, Callable[[Path], object]]] = {
    "room": (ROOM_FILE, read_bedroom),
    "calibration": (CALIBRATION_FILE, read_calibration),
}
"""Files of which a dossier has one: what it is called there, and what refuses a wrong one."""

SOUNDS = "sound"
"""Folder of a night in which recordings lie that were copied into the dossier."""


@contextmanager
def adding(root: Path) -> Iterator[tuple[Dossier, Path, Callable[[datetime, str, str], None]]]:
    """Give the dossier, a folder to prepare in, and what makes the change count.

    Raises
    ------
    SleepNoiseError
        If it is no dossier, or was changed by hand and nobody said so.
    """
    with prepared(root) as ready, writing(root) as book:
        dossier = read_dossier(root)
        dossier.check_recorded()

        def commit(now: datetime, did: str, about: str) -> None:
            book.commit(ready, now, did=did, about=about)

        yield dossier, ready, commit


def add_night(
    root: Path,
    recordings: Sequence[Path],
    about: dict[str, object],
    now: datetime,
    *,
    tones: Sequence[Path] = (),
    copy: bool = False,
) -> str:
    """Add a night to a dossier and return its name, the evening on which it begins.

    Parameters
    ----------
    root : Path
    recordings : sequence of Path
        As for an assessment: a file, the parts of one night, or one folder of them.
    about : dict
        Further keys of :class:`NightFile`, such as ``windows``.
    now : datetime
    tones : sequence of Path, optional
        A calibrator recorded before the night, and after it.
    copy : bool, optional
        Copy the recordings into the dossier. Otherwise they stay where they are, and their hashes are kept.

    Raises
    ------
    SleepNoiseError
        If the recording cannot be opened, its night is there already, or a key is not allowed.
    """
    sounds = [part.audio.path for part in _opened(read_dossier(root), recordings, about).parts]
    named: list[tuple[SoundRole, Path]] = [("recording", path) for path in sounds]
    named += zip(("tone", "tone after"), tones, strict=False)
    # The hashes take long, and nobody else needs to wait for them.
    found = [(role, path, file_mark(path, role)) for role, path in named]
    with adding(root) as (dossier, ready, commit):
        evening = _evening(dossier, _opened(dossier, recordings, about))
        name = evening.isoformat()
        _check_new(dossier, name, {mark.sha256 for role, _, mark in found if role == "recording"})
        folder = ready / NIGHTS / name
        folder.mkdir(parents=True)
        entries = []
        for number, (role, path, mark) in enumerate(found, start=1):
            kept = _kept_path(root, path)
            if copy:
                kept = f"{NIGHTS}/{name}/{SOUNDS}/{number:02}_{path.name}"
                (folder / SOUNDS).mkdir(exist_ok=True)
                shutil.copyfile(path, ready / kept)
            entries.append(SoundEntry(role=role, path=kept, size_bytes=mark.size_bytes, sha256=mark.sha256))
        night = checked(NightFile, {**about, "evening": evening, "sound": entries})
        (folder / NIGHT_FILE).write_text(written_text(night), encoding="utf-8", newline="\n")
        commit(now, "added a night", name)
    return name


def _opened(dossier: Dossier, recordings: Sequence[Path], about: dict[str, object]) -> NightSound:
    start, clock = about.get("start"), about.get("clock", ())
    assert isinstance(clock, list | tuple)
    where = recordings[0] if len(recordings) == 1 else recordings
    return open_night(
        where,
        given=None if start is None else str(start),
        zone=dossier.about.zone,
        clock=tuple(map(ClockReading.parse, clock)),
    )


def _evening(dossier: Dossier, sound: NightSound) -> date:
    window = NightWindow.parse(dossier.about.night_hours, dossier.about.zone)
    begun = sound.start.utc
    return (
        window.overlapping(begun, begun + timedelta(seconds=sound.seconds))[0].astimezone(window.zone).date()
    )


def _check_new(dossier: Dossier, name: str, hashes: set[str]) -> None:
    for night in dossier.nights:
        same = hashes & {sound.sha256 for sound in night.file.sound if sound.role == "recording"}
        if night.name == name or same:
            raise SettingsError(
                f"{dossier.root}: a recording of the night of {night.name} is there already.",
                remedy="Each night counts once: give another recording, or correct its night.toml and accept "
                "the change.",
            )


def _kept_path(root: Path, path: Path) -> str:
    """Return where a recording lies: from the dossier if it is close to it, so that both can be moved."""
    there, here = path.resolve(), root.resolve()
    if there.is_relative_to(here.parent):
        return Path(os.path.relpath(there, here)).as_posix()
    return there.as_posix()


def add_door_test(root: Path, file: Path, now: datetime, name: str = "") -> str:
    """Add a door test with its recordings and its result, and return its name.

    Parameters
    ----------
    root : Path
    file : Path
        A door-test file; what it names must lie in its folder or below.
    now : datetime
    name : str, optional
        The file's own when left out.

    Raises
    ------
    SleepNoiseError
        If the test cannot be made sense of, or one of that name is there already.
    """
    profile = read_door_test(file)
    sounds = sorted(_door_sounds(profile))
    for sound in sounds:
        if Path(sound).is_absolute() or ".." in Path(sound).parts:
            raise SettingsError(
                f"{file}: recordings must lie in the folder of the file, got {sound!r:.80}.",
                remedy="Put file and recordings together, then add them.",
            )
    result = document_text(door_test_document(study_door_test(profile, file.parent)))
    name = name or file.stem
    _check_name(name)
    with adding(root) as (dossier, ready, commit):
        folder = f"{DOOR_TESTS}/{name}"
        _refuse_there(dossier, folder)
        for source in (file.name, *sounds):
            target = ready / folder / ("door_test.toml" if source == file.name else source)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file.parent / source, target)
        (ready / folder / "result.json").write_text(result, encoding="utf-8", newline="\n")
        commit(now, "added a door test", name)
    return name


def _door_sounds(profile: DoorTestProfile) -> set[str]:
    entries = [*profile.step, *([profile.background] if profile.background else [])]
    found = {name for entry in entries for name in entry.recordings}
    found |= {name for step in profile.step for name in step.source_recordings}
    return found | ({profile.calibration.tone} if profile.calibration.tone else set())


def add_words(root: Path, night: str, now: datetime, *, labels: Path | None, diary: Path | None) -> None:
    """Add labels or a diary to a night, in place of earlier ones, which stay in ``earlier/``.

    Raises
    ------
    SleepNoiseError
        If there is no such night, or the file has mistakes.
    """
    with adding(root) as (dossier, ready, commit):
        found = dossier.night(night)
        sound = open_night(
            [sound_path(root, each.path) for each in found.file.sound if each.role == "recording"],
            given=found.file.start,
            zone=dossier.about.zone,
            clock=tuple(map(ClockReading.parse, found.file.clock)),
        )
        window = NightWindow.parse(dossier.about.night_hours, dossier.about.zone)
        recorded = RecordedNight(
            start=sound.start.utc, end=sound.start.utc + timedelta(seconds=sound.seconds), zone=window.zone
        )
        (ready / NIGHTS / night).mkdir(parents=True)
        if labels is not None:
            read_labels(labels, recorded)
            shutil.copyfile(labels, ready / NIGHTS / night / "labels.csv")
        if diary is not None:
            read_diary(diary, recorded)
            shutil.copyfile(diary, ready / NIGHTS / night / "diary.csv")
        commit(now, "added words", night)


def sound_path(root: Path, path: str) -> Path:
    """Return where a recording lies that a night names."""
    return Path(os.path.normpath(root / path))


def add_file(root: Path, kind: str, file: Path, now: datetime) -> str:
    """Add the room's file or a calibration, or keep a plan, a proof or a report; return its place.

    Raises
    ------
    SleepNoiseError
        If it is not what it is said to be, or one of that name is there already.
    """
    if kind in SINGLE_FILES:
        path, read = SINGLE_FILES[kind]
        read(file)
    else:
        path = f"{PAPERS[kind]}/{file.name}"
        file_mark(file, kind)
    with adding(root) as (dossier, ready, commit):
        _refuse_there(dossier, path)
        (ready / path).parent.mkdir(exist_ok=True)
        shutil.copyfile(file, ready / path)
        commit(now, f"added a {kind}", file.name)
    return path


def accept_changes(root: Path, now: datetime, why: str) -> tuple[str, ...]:
    """Write into the journal which files were changed by hand, and return them.

    Raises
    ------
    SleepNoiseError
        If a changed file is missing or not valid.
    """
    with prepared(root) as ready, writing(root) as book:
        edited = read_dossier(root).edited
        for path, read in SINGLE_FILES.values():
            if path in edited:
                read(root / path)
        for path in edited:
            (ready / path).parent.mkdir(parents=True, exist_ok=True)
            file_mark(root / path, "file of the dossier")
            shutil.copyfile(root / path, ready / path)
        if edited:
            book.commit(ready, now, did="accepted changes made by hand", about=why)
    return edited


def upgrade_dossier(root: Path, now: datetime) -> tuple[str, ...]:
    """Write the files of an earlier version anew in the words of this one, and return them.

    The earlier files stay in ``earlier/``; results stay what they are.

    Raises
    ------
    SleepNoiseError
        If a file cannot be read, or was changed by hand and nobody said so.
    """
    with adding(root) as (dossier, ready, commit):
        files: dict[Path, DossierFile | NightFile] = {root / DOSSIER_FILE: dossier.about}
        files |= {night.folder / NIGHT_FILE: night.file for night in dossier.nights}
        old = {path: file for path, file in files.items() if is_earlier(path)}
        for path, file in old.items():
            place = ready / path.relative_to(root)
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(written_text(file), encoding="utf-8", newline="\n")
        if old:
            commit(now, "brought up to date", f"version {VERSION}")
    return tuple(path.relative_to(root).as_posix() for path in old)


def _check_name(name: str) -> None:
    if not name.replace("-", "").replace("_", "").replace(".", "").isalnum() or name.startswith("."):
        raise SettingsError(
            f"name: must be letters, digits, hyphens, underscores and dots, got {name!r:.60}.",
            remedy="Rename it, or give another name.",
        )


def _refuse_there(dossier: Dossier, path: str) -> None:
    if any(known == path or known.startswith(f"{path}/") for known in dossier.files):
        raise SettingsError(
            f"{dossier.root}: {path} is there already; nothing is overwritten.", remedy="Give another name."
        )
