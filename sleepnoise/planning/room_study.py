"""One bedroom studied: its paths, the door test, and what each treatment would bring."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sleepnoise.acoustics.decibels import FloatArray, combine
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.advice import RoomAdvice, advise
from sleepnoise.isolation.bedroom import Bedroom, bedroom_from_profile
from sleepnoise.isolation.door_test import DoorComparison, calibrated
from sleepnoise.isolation.paths import RoomLevels, levels, room_paths
from sleepnoise.isolation.sounds import Sound, sound
from sleepnoise.isolation.treatments import shipped_treatments
from sleepnoise.profiles.bedroom import BedroomProfile, Side
from sleepnoise.profiles.files import read_bedroom

REFERENCE_DBA = 70.0
"""Level of a sound named without one. Chosen: only differences count then, and it is easy to read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingSound:
    """A sound behind the room and its A-weighted level there, dB(A)."""

    behind: Side
    sound: Sound
    level_dba: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomStudy:
    """What is known of one room.

    Attributes
    ----------
    bedroom : Bedroom
    standing : tuple of StandingSound
    tabulated : RoomLevels
        As the tables have it, before any door test.
    comparison : DoorComparison or None
        Door test against tables.
    advice : RoomAdvice
        From the measured door where there is one.
    """

    bedroom: Bedroom
    standing: tuple[StandingSound, ...]
    tabulated: RoomLevels
    comparison: DoorComparison | None
    advice: RoomAdvice


def study_room(
    path: Path, source: str | None = None, side: Side | None = None, level_dba: float | None = None
) -> RoomStudy:
    """Read a room file and study the room.

    Parameters
    ----------
    path : Path
    source : str, optional
        A sound by name or file that takes the place of those in the room file.
    side : {"hall", "outdoors", "neighbour"}, optional
        Where it stands; on every side that the room has when left out.
    level_dba : float, optional
        Its level there, dB(A).

    Raises
    ------
    ProfileError, SettingsError
        If the file or a sound is not valid, or no sound stands behind the room.
    """
    profile = read_bedroom(path)
    bedroom = bedroom_from_profile(profile)
    standing = _standing(profile, source, side, level_dba)
    arriving = _arriving(standing)
    paths = room_paths(bedroom)
    tabulated = levels(paths, arriving)
    comparison = None
    if profile.door_test is not None:
        paths, comparison = calibrated(paths, profile.door_test)
    return RoomStudy(
        bedroom=bedroom,
        standing=standing,
        tabulated=tabulated,
        comparison=comparison,
        advice=advise(paths, arriving, shipped_treatments()),
    )


def _standing(
    profile: BedroomProfile, source: str | None, side: Side | None, level_dba: float | None
) -> tuple[StandingSound, ...]:
    if source is not None:
        named = sound(source)
        at_dba = REFERENCE_DBA if level_dba is None else level_dba
        sides = [side] if side is not None else sorted({part.behind for part in profile.part})
        return tuple(StandingSound(behind=each, sound=named, level_dba=at_dba) for each in sides)
    if side is not None or level_dba is not None:
        raise SettingsError(
            "side and level: belong to a source, and none was named.", remedy="Name a sound with --source."
        )
    if not profile.arriving:
        raise SettingsError(
            "room: the file says of no sound what stands behind the room.",
            remedy="Name one, such as --source road-urban, or add [[arriving]] to the room file.",
        )
    return tuple(
        StandingSound(behind=entry.behind, sound=sound(entry.sound), level_dba=entry.level_dba)
        for entry in profile.arriving
    )


def _arriving(standing: tuple[StandingSound, ...]) -> Mapping[Side, FloatArray]:
    """Return all sounds of each side together, shape (bands,), A-weighted, dB."""
    by_side: dict[Side, list[FloatArray]] = {}
    for each in standing:
        by_side.setdefault(each.behind, []).append(each.sound.a_weighted_db + each.level_dba)
    return {side: combine(levels_db, axis=0) for side, levels_db in by_side.items()}
