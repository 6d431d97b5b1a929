"""Profile files: found by name or path, read with suspicion, checked against their model.

Files may come from strangers: they must be small, regular, UTF-8 and free of tricks.
"""

import stat
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from sleepnoise.errors import ProfileError
from sleepnoise.profiles.bedroom import BedroomProfile
from sleepnoise.profiles.door_test import DoorTestProfile
from sleepnoise.profiles.guideline import GuidelineProfile
from sleepnoise.profiles.insulation import InsulationProfile
from sleepnoise.profiles.mistakes import explained
from sleepnoise.profiles.schema import (
    KINDS,
    ConstructionProfile,
    MaskerProfile,
    Profile,
    SoundProfile,
    TreatmentProfile,
)

LARGEST_PROFILE_BYTES = 100_000
"""Anything larger was not written by hand. Chosen: above three times the largest shipped."""

LONGEST_LINE = 3_000
"""Characters of a line. Chosen: above the longest note; thousands of dots in a key take seconds to parse."""

_WHAT = "this kind of profile"

_PACKAGE = Path(__file__).parents[1]

_AnyProfile = TypeVar(
    "_AnyProfile",
    GuidelineProfile,
    TreatmentProfile,
    MaskerProfile,
    ConstructionProfile,
    SoundProfile,
    BedroomProfile,
    DoorTestProfile,
    InsulationProfile,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippedProfile:
    """A profile that comes with the program: its kind, name, title and file."""

    kind: str
    name: str
    title: str
    path: Path


def shipped_folder() -> Path:
    """Return the folder of shipped profiles: the checkout's own, or the copy inside the wheel."""
    checkout = _PACKAGE.parent
    if (checkout / "pyproject.toml").is_file() and (checkout / "profiles").is_dir():
        return checkout / "profiles"
    return _PACKAGE / "_data" / "profiles"


def read_profile(name_or_path: str | Path, kind: str | None = None) -> Profile:
    """Read and validate one profile.

    Parameters
    ----------
    name_or_path : str or Path
        Name of a shipped profile, such as ``"who-1999-bedroom"``, or a ``.toml`` file.
    kind : str, optional
        Refuse any other kind than this key of ``KINDS``.

    Raises
    ------
    ProfileError
        If there is no such profile, or the file is not valid. The complaint names the
        file and every key that is wrong.
    """
    path = _locate(str(name_or_path))
    table = _parse(path)
    found = table.get("kind")
    if not isinstance(found, str) or found not in KINDS:
        raise ProfileError(
            f"{_named(path)}: kind must be one of {', '.join(KINDS)}, got {found!r:.60}.",
            remedy='Write the kind in the first line of the file, for example: kind = "guideline".',
        )
    if kind is not None and found != kind:
        raise ProfileError(
            f"{_named(path)}: the kind must be {kind} here, got {found}.",
            remedy="See what there is with 'sleepnoise profiles list'.",
        )
    try:
        return KINDS[found].model_validate(table)
    except ValidationError as error:
        raise ProfileError(
            f"{_named(path)}: {explained(error, _WHAT)}",
            remedy="Mend the keys named above and check the file again.",
        ) from None


def read_guideline(name_or_path: str | Path) -> GuidelineProfile:
    """Read a guideline profile; see :func:`read_profile`."""
    return _read(name_or_path, "guideline", GuidelineProfile)


def read_treatment(name_or_path: str | Path) -> TreatmentProfile:
    """Read a treatment profile; see :func:`read_profile`."""
    return _read(name_or_path, "treatment", TreatmentProfile)


def read_masker(name_or_path: str | Path) -> MaskerProfile:
    """Read a masker profile; see :func:`read_profile`."""
    return _read(name_or_path, "masker", MaskerProfile)


def read_construction(name_or_path: str | Path) -> ConstructionProfile:
    """Read a family of building elements; see :func:`read_profile`."""
    return _read(name_or_path, "construction", ConstructionProfile)


def read_sound(name_or_path: str | Path) -> SoundProfile:
    """Read the shape of a generic sound; see :func:`read_profile`."""
    return _read(name_or_path, "sound", SoundProfile)


def read_bedroom(path: str | Path) -> BedroomProfile:
    """Read a room file; see :func:`read_profile`. None is shipped."""
    return _read(path, "bedroom", BedroomProfile)


def read_door_test(path: str | Path) -> DoorTestProfile:
    """Read a door-test file; see :func:`read_profile`. None is shipped."""
    return _read(path, "door-test", DoorTestProfile)


def read_insulation(path: str | Path) -> InsulationProfile:
    """Read the file of an insulation measurement; see :func:`read_profile`. None is shipped."""
    return _read(path, "insulation", InsulationProfile)


def door_test_from(table: dict[str, object]) -> DoorTestProfile:
    """Check a door test that was told on the command line instead of in a file.

    Raises
    ------
    ProfileError
        With every mistake.
    """
    try:
        return DoorTestProfile.model_validate(table)
    except ValidationError as error:
        told = explained(error, _WHAT)
        raise ProfileError(f"door test: {told}", remedy="Mend what is named above.") from None


def shipped_profiles(kind: str | None = None) -> tuple[ShippedProfile, ...]:
    """Return all shipped profiles, or those of one kind, sorted by kind and name."""
    found = (_shipped(path, path.stat().st_mtime_ns) for path in _shipped_files())
    wanted = (entry for entry in found if kind is None or entry.kind == kind)
    return tuple(sorted(wanted, key=lambda entry: (entry.kind, entry.name)))


@cache
def _shipped(path: Path, _changed_ns: int) -> ShippedProfile:
    """Return the entry of a shipped file; one job asks for all of them a dozen times."""
    profile = read_profile(path)
    return ShippedProfile(kind=profile.kind, name=path.stem, title=profile.title, path=path)


def _read(name_or_path: str | Path, kind: str, model: type[_AnyProfile]) -> _AnyProfile:
    profile = read_profile(name_or_path, kind)
    assert isinstance(profile, model)
    return profile


def _shipped_files() -> list[Path]:
    return sorted(shipped_folder().rglob("*.toml"))


def _locate(name_or_path: str) -> Path:
    given = Path(name_or_path.replace("\0", "\N{REPLACEMENT CHARACTER}"))
    if given.suffix.lower() == ".toml":
        return given
    by_name = {path.stem: path for path in _shipped_files()}
    if name_or_path in by_name:
        return by_name[name_or_path]
    raise ProfileError(
        f"{name_or_path!r:.80}: no shipped profile has this name; there are: {', '.join(sorted(by_name))}.",
        remedy="Choose one of these names, or give the path of a .toml file.",
    )


def _parse(path: Path) -> dict[str, object]:
    text = _text(path)
    if max(map(len, text.splitlines()), default=0) > LONGEST_LINE:
        raise ProfileError(f"{_named(path)}: has a line over {LONGEST_LINE} characters.", remedy="Break it.")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ProfileError(f"{_named(path)}: is nested too deeply.", remedy="Write it flat.") from None
    except ValueError as error:  # TOMLDecodeError, or whatever a converter refuses
        raise ProfileError(
            f"{_named(path)}: is not valid TOML: {error!s:.200}", remedy="Mend that place."
        ) from None


def _text(path: Path) -> str:
    """Return the text of a regular file of sensible size."""
    try:
        return _read_bytes(path).decode("utf-8-sig")
    except FileNotFoundError:
        raise ProfileError(f"{_named(path)}: there is no such file.", remedy="Check the path.") from None
    except OSError as error:
        raise ProfileError(
            f"{_named(path)}: cannot be read ({error.strerror}).", remedy="Check the path."
        ) from None
    except UnicodeDecodeError:
        raise ProfileError(f"{_named(path)}: is not UTF-8 text.", remedy="Save it as UTF-8.") from None


def _read_bytes(path: Path) -> bytes:
    # Devices and pipes have no size and no end.
    if not stat.S_ISREG(path.stat().st_mode):
        raise ProfileError(f"{_named(path)}: is not a file.", remedy="Give the path of a .toml file.")
    with path.open("rb") as file:
        raw = file.read(LARGEST_PROFILE_BYTES + 1)
    if len(raw) > LARGEST_PROFILE_BYTES:
        raise ProfileError(
            f"{_named(path)}: is larger than {LARGEST_PROFILE_BYTES / 1000:g} kB, so this is no profile.",
            remedy="Give the path of a profile written in TOML.",
        )
    return raw


def _named(path: Path) -> str:
    shown = f"{path!s:.200}"
    return shown if shown.isprintable() else repr(shown)
