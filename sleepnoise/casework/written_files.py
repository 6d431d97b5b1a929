"""The files of a dossier that people write and read: the dossier's own and that of each night, in TOML."""

import stat
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal, TypeVar

from pydantic import Field, ValidationError

from sleepnoise.assessing.record import CALIBRATOR_FREQUENCY_HZ, CALIBRATOR_LEVEL_DB, DEFAULT_WINDOW
from sleepnoise.errors import ProfileError, SettingsError
from sleepnoise.profiles.fields import Entry, Level, Note, Text
from sleepnoise.profiles.guideline import SourceKind
from sleepnoise.profiles.mistakes import explained
from sleepnoise.profiles.toml_text import toml_text

VERSION: Final = 2
"""Version of the dossier's layout. Chosen: rises whenever a reader would have to change. In version 1 the
hours of the night were called ``window``, which read like the bedroom's windows; there were no treatments."""

LARGEST_BYTES = 100_000
"""Largest such file, bytes. Chosen: a hundred parts of a night, and notes."""

_WHAT = "a dossier"

WindowState = Literal["open", "tilted", "closed", ""]
"""How the bedroom's windows stood; empty if nobody noted it."""

SoundRole = Literal["recording", "tone", "tone after"]

_Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
_File = TypeVar("_File", bound=Entry)


class TreatmentEntry(Entry):
    """``[[treatment]]``: a change of the room, and the first evening after it."""

    first_evening: date
    title: Text


class DossierFile(Entry):
    """``dossier.toml``: the place, and how its nights are to be judged."""

    kind: Literal["dossier"] = "dossier"
    version: Literal[2] = VERSION
    title: Annotated[Text, Field(max_length=200)]
    place: Note = ""
    zone: Text
    night_hours: Text = DEFAULT_WINDOW
    guidelines: list[Text] = Field(default_factory=list)
    source_kind: SourceKind | None = None
    recorder: Note = ""
    treatment: Annotated[list[TreatmentEntry], Field(max_length=100)] = Field(default_factory=list)


class SoundEntry(Entry):
    """``[[sound]]``: one recording that a night rests on, where it lay and what it held."""

    role: SoundRole = "recording"
    path: Text
    size_bytes: Annotated[int, Field(ge=0)]
    sha256: _Sha256


class NightFile(Entry):
    """``night.toml``: one night; what people know of it, and the recordings it rests on."""

    kind: Literal["night"] = "night"
    version: Literal[2] = VERSION
    evening: date
    windows: WindowState = ""
    day: Annotated[Note, Field(max_length=60)] = ""
    note: Note = ""
    start: Text | None = None
    clock: list[Text] = Field(default_factory=list)
    channel: Annotated[int, Field(ge=1, le=64)] = 1
    tone_level_db: Level = CALIBRATOR_LEVEL_DB
    tone_frequency_hz: Annotated[float, Field(ge=20, le=20_000)] = CALIBRATOR_FREQUENCY_HZ
    full_scale_level_db: Annotated[float, Field(ge=0, le=200)] | None = None
    sound: Annotated[list[SoundEntry], Field(min_length=1, max_length=1000)]


def read_written(path: Path, model: type[_File]) -> _File:
    """Read a file that people write, and name every mistake in it.

    Raises
    ------
    ProfileError
        If it cannot be read or is not valid.
    """
    try:
        return model.model_validate(_raised(path, tomllib.loads(_text(path))))
    except ValidationError as error:
        raise ProfileError(
            f"{path}: {explained(error, _WHAT)}",
            remedy="Mend the keys named above; nothing was changed.",
        ) from None
    except (OSError, ValueError, RecursionError) as error:
        if isinstance(error, ProfileError):
            raise
        reason = error.strerror if isinstance(error, OSError) else error
        raise ProfileError(
            f"{path}: cannot be read as TOML ({reason!s:.200}).", remedy="Mend that place."
        ) from None


def is_earlier(path: Path) -> bool:
    """Return whether a file has an earlier version."""
    return bool(tomllib.loads(_text(path)).get("version") != VERSION)


def _raised(path: Path, table: dict[str, Any]) -> dict[str, Any]:
    """Return what a file of an earlier version says in the words of this one."""
    version = table.get("version")
    if isinstance(version, int) and version > VERSION:
        raise ProfileError(
            f"{path}: has version {version}, this program knows up to {VERSION}.",
            remedy="Open the dossier with the newer sleepnoise that wrote it.",
        )
    if version == 1:
        renamed = {"window": "night_hours"} if table.get("kind") == "dossier" else {}
        table = {renamed.get(key, key): value for key, value in table.items()} | {"version": VERSION}
    return table


def checked(model: type[_File], table: Mapping[str, object]) -> _File:
    """Return what a table of keys says, as if it had been read from a file.

    Raises
    ------
    SettingsError
        With every mistake.
    """
    try:
        return model.model_validate(dict(table))
    except ValidationError as error:
        raise SettingsError(
            f"dossier: {explained(error, _WHAT)}", remedy="Mend what is named above."
        ) from None


def _text(path: Path) -> str:
    # Devices and pipes have no size and no end.
    if not stat.S_ISREG(path.stat().st_mode) or path.stat().st_size > LARGEST_BYTES:
        raise ProfileError(
            f"{path}: must be a file of at most {LARGEST_BYTES / 1000:g} kB.", remedy="Check the path."
        )
    # Editors of some systems put a mark in front.
    return path.read_bytes().decode("utf-8-sig")


def written_text(file: Entry) -> str:
    """Return a file as TOML, without what is left empty; the same content gives the same text.

    Examples
    --------
    >>> print(written_text(DossierFile(title="Flat 3", zone="Europe/Vienna")))
    kind = "dossier"
    version = 2
    title = "Flat 3"
    zone = "Europe/Vienna"
    night_hours = "23:00-07:00"
    <BLANKLINE>
    """
    return toml_text(_filled(file.model_dump(exclude_none=True)))


def _filled(table: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table and those in it without what is empty."""
    return {key: _without_empty(value) for key, value in table.items() if value not in ("", [])}


def _without_empty(value: object) -> object:
    if not isinstance(value, list):
        return value
    return [_filled(each) if isinstance(each, dict) else each for each in value]
