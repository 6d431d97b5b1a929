"""Nights of a dossier assessed: which still have to be, and one after the other what they come to.

A result lies in a folder that is named after everything it rests on: recordings, calibration,
settings, profiles and the version of the program. If any of that changes, so does the name; the
earlier result stays beside it.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Literal

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.calibrating import calibration_files
from sleepnoise.assessing.chosen_guidelines import guideline_names
from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.assessing.said import Statements
from sleepnoise.casework.adding import sound_path
from sleepnoise.casework.changes import HASH_DIGITS, UNFINISHED, inventory, prepared, writing
from sleepnoise.casework.dossier import ASSESSED, GUIDELINES, Dossier, Night, read_dossier
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.durable import held
from sleepnoise.evidence.plain import document_text, plain_value
from sleepnoise.evidence.provenance import CODE, code_mark, file_mark, library_versions
from sleepnoise.profiles.files import shipped_profiles
from sleepnoise.recording.clock import ClockReading

WriteNight = Callable[[NightRecord, Path], None]
"""Writes the folder of an assessed night."""

Outcome = Literal["assessed", "there already", "another process is at it"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightDone:
    """What became of a night.

    Attributes
    ----------
    night : str
    outcome : Outcome
    folder : Path
        Where its result lies, or will.
    """

    night: str
    outcome: Outcome
    folder: Path


def settings_of(dossier: Dossier, night: Night, *, threads: int = 1) -> AssessSettings:
    """Return the settings by which a night of the dossier is assessed."""
    file, about = night.file, dossier.about
    tones = {
        sound.role: sound_path(dossier.root, sound.path) for sound in file.sound if sound.role != "recording"
    }
    return AssessSettings(
        start=file.start,
        zone=about.zone,
        clock=tuple(map(ClockReading.parse, file.clock)),
        channel=file.channel,
        tone=tones.get("tone"),
        tone_after=tones.get("tone after"),
        tone_level_db=file.tone_level_db,
        tone_frequency_hz=file.tone_frequency_hz,
        full_scale_level_db=file.full_scale_level_db,
        calibration_file=None if night.own_calibration else dossier.calibration,
        window=about.night_hours,
        guidelines=tuple(str(dossier.root / name) if _own(name) else name for name in about.guidelines),
        statements=Statements(
            labels=night.labels,
            diary=night.diary,
            source_kind=about.source_kind,
            windows=file.windows if file.windows == "open" or file.windows == "closed" else None,
        ),
        threads=threads,
    )


def result_folder(dossier: Dossier, night: Night) -> Path:
    """Return where the result of a night lies, or will, if it is assessed as the dossier stands now."""
    settings = settings_of(dossier, night)
    words = tuple(name for name in dossier.about.guidelines if not _own(name))
    alike = replace(
        settings, threads=1, tone=None, tone_after=None, calibration_file=None, guidelines=(),
        statements=replace(settings.statements, labels=None, diary=None),
    )  # fmt: skip
    files = [(path, role) for path, role in calibration_files(settings) if role == "calibration file"]
    files += settings.statements.files
    files += [(dossier.root / name, "guideline") for name in dossier.about.guidelines if _own(name)]
    rests_on = {
        "sleepnoise": library_versions()["sleepnoise"],
        # Where files lie is no part of it; what they hold is.
        "settings": alike,
        "sounds": [(sound.role, sound.sha256) for sound in night.file.sound],
        "files": [(role, file_mark(path, role).sha256) for path, role in files],
        "profiles": _shipped(words if words or not dossier.about.guidelines else None),
    }
    text = document_text({"rests on": plain_value(rests_on)})
    digest = hashlib.sha256(text.encode()).hexdigest()[:HASH_DIGITS]
    # The evening stands in front because others call a result by its folder.
    return night.folder / ASSESSED / f"{night.name}_{digest}"


def _own(guideline: str) -> bool:
    return guideline.startswith(f"{GUIDELINES}/")


@cache
def _shipped(guidelines: tuple[str, ...] | None) -> tuple[str, ...]:
    """Return the hashes of every shipped profile that a result rests on."""
    names = () if guidelines is None else guideline_names(guidelines)
    profiles = shipped_profiles()
    used = {profile.path for profile in profiles if profile.kind in ("treatment", "masker")}
    used |= {profile.path for profile in profiles if profile.kind == "guideline" and profile.name in names}
    return tuple(file_mark(path, "profile").sha256 for path in sorted(used))


def is_assessed(dossier: Dossier, night: Night) -> bool:
    """Return whether a night has a result that rests on what the dossier says now."""
    folder = result_folder(dossier, night).relative_to(dossier.root).as_posix()
    return f"{folder}/assessment.json" in dossier.files


def by_this_code(dossier: Dossier, night: Night) -> bool:
    """Return whether the very code that is running made the result that a night has now.

    Between two versions code may change; the result stands, but whoever asks is told.
    """
    path = (result_folder(dossier, night) / "assessment.json").relative_to(dossier.root).as_posix()
    made = [entry.versions.get(CODE) for entry in dossier.entries if path in entry.files]
    return made[-1:] == [code_mark()]


def current_results(dossier: Dossier) -> tuple[Path, ...]:
    """Return the folders of every night's result that rests on what the dossier says now.

    Raises
    ------
    SettingsError
        If there is none.
    """
    folders = [result_folder(dossier, night) for night in dossier.nights if is_assessed(dossier, night)]
    if not folders:
        raise SettingsError(
            f"{dossier.root}: no night is assessed as things stand.",
            remedy="Run 'dossier assess' first.",
        )
    return tuple(folders)


def assess_night(
    root: Path,
    name: str,
    *,
    write: WriteNight,
    now: Callable[[], datetime],
    threads: int = 1,
    on_progress: Callable[[float], None] | None = None,
) -> NightDone:
    """Assess one night of a dossier, unless that was done already.

    Parameters
    ----------
    root : Path
        Of the dossier.
    name : str
        Of the night.
    write : callable
        Writes the folder of a night, such as ``report.folder.write_assessment``.
    now : callable
        Tells the time for the journal.
    threads : int, optional
    on_progress : callable, optional

    Raises
    ------
    SleepNoiseError
        If the night cannot be assessed; the dossier stays as it was.

    Notes
    -----
    Safe to run in several processes at once, on the same night too: one of them does it.
    """
    dossier = read_dossier(root)
    dossier.check_recorded()
    night = dossier.night(name)
    folder = result_folder(dossier, night)
    if is_assessed(dossier, night):
        return NightDone(night=name, outcome="there already", folder=folder)
    with prepared(root) as ready, held(root / UNFINISHED / f"{name}.night", tries=1) as mine:
        if not mine:
            return NightDone(night=name, outcome="another process is at it", folder=folder)
        record = _assessed(dossier, night, threads, on_progress)
        place = ready / folder.relative_to(root)
        place.parent.mkdir(parents=True)
        write(record, place)
        with writing(root) as book:
            if f"{folder.relative_to(root).as_posix()}/assessment.json" in inventory(book.entries):
                return NightDone(night=name, outcome="there already", folder=folder)
            book.commit(ready, now(), did="assessed a night", about=name)
    return NightDone(night=name, outcome="assessed", folder=folder)


def _assessed(
    dossier: Dossier, night: Night, threads: int, on_progress: Callable[[float], None] | None
) -> NightRecord:
    record = assess_night_again(dossier, night, threads, on_progress)
    known = {sound.sha256 for sound in night.file.sound}
    for mark in record.provenance.inputs:
        if mark.role.startswith(("recording", "calibration tone")) and mark.sha256 not in known:
            raise RecordingError(
                f"{mark.name}: is not what it was when the night of {night.name} was added.",
                remedy="Bring the recording back as it was; if the other one is right, say so in night.toml.",
            )
    return record


def assess_night_again(
    dossier: Dossier, night: Night, threads: int = 1, on_progress: Callable[[float], None] | None = None
) -> NightRecord:
    """Return the record of a night, worked out anew from its recordings."""
    sounds = [sound_path(dossier.root, each.path) for each in night.file.sound if each.role == "recording"]
    for path in sounds:
        if not path.is_file():
            raise RecordingError(
                f"{path}: the recording of the night of {night.name} is not there.",
                remedy="Bring it back to where it was, or correct its place in night.toml.",
            )
    return assess_recording(sounds, settings_of(dossier, night, threads=threads), on_progress)
