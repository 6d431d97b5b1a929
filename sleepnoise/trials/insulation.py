"""An insulation measurement from its file: levels typed or recorded on both sides, and what they come to."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.evidence.provenance import Provenance, library_versions
from sleepnoise.fieldwork.door_test import Reading
from sleepnoise.fieldwork.field import position_mean, survey_area_m2
from sleepnoise.fieldwork.insulation import Insulation, Sides, insulation
from sleepnoise.fieldwork.reverberation_index import reverberation_in_thirds_s
from sleepnoise.profiles.insulation import InsulationProfile
from sleepnoise.trials.readings import Listening, check_one_scale

FEW_POSITIONS = 5
"""Microphone positions on each side under which a reader is told. Source: ISO 16283-1:2014, 7.2 (memory)."""

FURNISHED = (
    "Reverberation comes from the survey table for such rooms (ISO 10052), not from a measurement: what "
    "rests on it may be off by 1 to 2 dB."
)

SMALL_ELEMENT = (
    "The element is smaller than a 7.5th of the room's volume, m² by m³; by the survey method (ISO 10052) "
    "R' takes that 7.5th for its area."
)

CAUTIONS = (
    "A full test by ISO 16283 has several loudspeaker and microphone positions on both sides and measures "
    "reverberation; whether a result holds in a dispute is for an accredited tester to say.",
    "While testing: hearing protection beside the loudspeaker, no children or animals near it, by day, and "
    "with the neighbours told.",
)
"""Said of every insulation measurement. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InsulationResult:
    """An insulation measurement, and what it was made from.

    Attributes
    ----------
    title : str
    octaves : bool
    positions : tuple of int
        On the side of the sound and on the receiving side.
    found : Insulation
    remarks : tuple of str
    provenance : Provenance
    """

    title: str
    octaves: bool
    positions: tuple[int, int]
    found: Insulation
    remarks: tuple[str, ...]
    provenance: Provenance


def study_insulation(
    profile: InsulationProfile, folder: Path, on_progress: Callable[[float], None] = lambda _share: None
) -> InsulationResult:
    """Work out an insulation measurement.

    Parameters
    ----------
    profile : InsulationProfile
    folder : Path
        From which its sound files are named.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause.
    """
    listening, read = _read(profile, folder, on_progress)
    room, area_m2 = profile.room, profile.area_m2
    if area_m2 is not None and room.furnishing and profile.before == "room":
        area_m2 = survey_area_m2(area_m2, room.volume_m3)
    found = insulation(
        _sides(read),
        reverberation_in_thirds_s(
            room.volume_m3, room.furnishing, room.reverberation_s, room.reverberation_by_hz
        ),
        room.volume_m3,
        before=profile.before,
        area_m2=area_m2,
        smallest_dimension_m=room.smallest_dimension_m,
        octaves=profile.bands == "octave",
    )
    positions = len(read["source"]), len(read["receiving"])
    few = f"Fewer than {FEW_POSITIONS} microphone positions on a side: levels between them are not known."
    return InsulationResult(
        title=profile.title,
        octaves=profile.bands == "octave",
        positions=positions,
        found=found,
        remarks=(
            *listening.remarks,
            *found.remarks,
            *([FURNISHED] if room.furnishing else []),
            *([SMALL_ELEMENT] if area_m2 != profile.area_m2 else []),
            *([few] if min(positions) < FEW_POSITIONS and profile.before == "room" else []),
        ),
        provenance=Provenance(inputs=tuple(listening.inputs), versions=library_versions()),
    )


def _read(
    profile: InsulationProfile, folder: Path, on_progress: Callable[[float], None]
) -> tuple[Listening, dict[str, tuple[Reading, ...]]]:
    """Return every reading by its side, and what was said on the way."""
    sides = {
        "source": profile.source,
        "receiving": profile.receiving,
        "source corners": profile.source_corners,
        "receiving corners": profile.receiving_corners,
        "background": profile.background,
    }
    entries = {side: entry for side, entry in sides.items() if entry}
    check_one_scale("insulation", entries.values(), profile.calibration)
    recordings = sum(len(each.recordings) for each in entries.values())
    done = iter(range(1, 1 + recordings))
    listening = Listening(folder, profile.bands == "octave", lambda: on_progress(next(done) / recordings))
    calibration = listening.calibration(profile.calibration, profile.channel)
    return listening, {
        side: listening.readings(entry, calibration, profile.channel, side) for side, entry in entries.items()
    }


def _sides(read: dict[str, tuple[Reading, ...]]) -> Sides:
    """Return all readings by the bands that they share."""
    shared = set.intersection(*(set(each.nominal_hz) for readings in read.values() for each in readings))
    hz = tuple(sorted(shared))

    def levels_db(side: str) -> FloatArray | None:
        rows = [[each.levels_db[1 + each.nominal_hz.index(one)] for one in hz] for each in read.get(side, ())]
        return np.array(rows) if rows else None

    source, receiving, quiet = levels_db("source"), levels_db("receiving"), levels_db("background")
    assert source is not None
    assert receiving is not None
    return Sides(
        nominal_hz=hz,
        source_db=source,
        receiving_db=receiving,
        background_db=None if quiet is None else position_mean(quiet),
        source_corners_db=levels_db("source corners"),
        receiving_corners_db=levels_db("receiving corners"),
    )
