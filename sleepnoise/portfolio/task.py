"""One night among many: whose it is, where its recording lies, and how it is to be assessed."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from sleepnoise.assessing.calibrating import calibration_files
from sleepnoise.assessing.chosen_guidelines import guideline_names
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text, plain_value
from sleepnoise.evidence.provenance import FileMark, file_mark, library_versions
from sleepnoise.profiles.files import shipped_profiles

LONGEST_NAME = 100
"""Longest name of a bedroom or night. Chosen: leaves room for endings in every usual file system."""

_FORBIDDEN = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]')


@dataclass(frozen=True, slots=True, kw_only=True)
class NightTask:
    """One night to be assessed.

    Attributes
    ----------
    bedroom, night : str
        Together they name its results; both can be names of folders.
    recordings : tuple of str
        One folder or file, or the parts of the night; paths, or addresses such as ``s3://...``.
    settings : AssessSettings
    """

    bedroom: str
    night: str
    recordings: tuple[str, ...]
    settings: AssessSettings


def checked_name(name: str, where: str) -> str:
    """Return a name if it can name a folder on any system.

    Raises
    ------
    SettingsError
        If it cannot.

    Examples
    --------
    >>> checked_name("flat 3", "list")
    'flat 3'
    """
    trimmed = name.strip()
    if not trimmed or len(trimmed) > LONGEST_NAME or _FORBIDDEN.search(trimmed) or trimmed[0] in ".~":
        raise SettingsError(
            f'{where}: a name must be 1 to {LONGEST_NAME} characters long, none of them / \\ : * ? " < > | '
            f"and the first no dot or tilde, got {name!r:.60}.",
            remedy="Choose a plain name such as 'flat 3'.",
        )
    return trimmed.rstrip(". ")


def fingerprint(recordings: Sequence[Path], settings: AssessSettings) -> str:
    """Return SHA-256 of all that a night's result depends on: 64 hexadecimal digits.

    That is the content and name of its recordings, the content of every other file that is read for
    it, the settings, the versions and the code. Where files lie and how many threads work does not count.

    Parameters
    ----------
    recordings : sequence of Path
        Sound files, in the order in which they were given.
    settings : AssessSettings

    Raises
    ------
    SleepNoiseError
        If one of the files cannot be read.
    """
    others = [*calibration_files(settings), *settings.statements.files]
    marks = [
        *(file_mark(path, "recording") for path in recordings),
        *(file_mark(path, role) for path, role in others),
        *_profile_marks(settings.guidelines),
    ]
    # The guidelines' own marks stand for their names, which may be paths.
    asked = replace(settings, threads=1, guidelines=())
    parts = {"files": marks, "settings": plain_value(asked), "versions": library_versions()}
    return hashlib.sha256(document_text({"made_from": plain_value(parts)}).encode()).hexdigest()


def _profile_marks(asked_for: tuple[str, ...]) -> tuple[FileMark, ...]:
    """Return the marks of all profiles that are read; those of the user are looked at each time."""
    names, shipped = _guideline_names(asked_for), _shipped_marks()
    guidelines = (shipped.get(("guideline", name)) or file_mark(Path(name), "guideline") for name in names)
    return (*guidelines, *(mark for (kind, _), mark in shipped.items() if kind in ("treatment", "masker")))


# What is shipped stays the same as long as a worker lives, and takes longer to read than to use.


@lru_cache
def _guideline_names(asked_for: tuple[str, ...]) -> tuple[str, ...]:
    return guideline_names(asked_for)


@lru_cache
def _shipped_marks() -> dict[tuple[str, str], FileMark]:
    return {(each.kind, each.name): file_mark(each.path, each.kind) for each in shipped_profiles()}
