"""What forbids a treatment in a room, and what has to be seen to before it.

Safety questions that were not answered count against a treatment. Local codes and licensed practice
come first; nothing here replaces them.
"""

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, level
from sleepnoise.acoustics.source import Source
from sleepnoise.isolation.bedroom import Bedroom, Part
from sleepnoise.isolation.paths import RoomPaths
from sleepnoise.isolation.treatments import Treatment
from sleepnoise.profiles.bedroom import Answer, HomeEntry

NFPA_72 = Source(
    document="NFPA 72", place="75 dB(A) at the pillow, as quoted on public pages", how_known="looked-up"
)

ALARM_AT_PILLOW_DBA = 75.0
"""Level that a smoke alarm should reach where people sleep. Source: NFPA_72."""
ALARM_BAND_HZ = 3150.0
"""Band of the usual high-pitched sounder. Chosen: near 3.1 kHz (common practice, no source)."""
AUDIBLE_CHANGE_DB = 0.5
"""Change of the alarm's level that is worth a word. Chosen: smaller ones lie within any measurement."""

_FUEL: dict[Answer, str] = {
    "yes": "a fuel-burning appliance draws air from this room: danger of carbon monoxide; a competent "
    "check comes first",
    "unknown": "does a fuel-burning appliance stand in this room or draw air from it? Nothing is closed "
    "before that is answered with no",
}
_FIRE_DOOR: dict[Answer, str] = {
    "yes": "a rated fire door may be altered only with parts approved for it, by those who may",
    "unknown": "is this a rated fire door? It is not altered before that is answered with no",
}
_ESCAPE: dict[Answer, str] = {
    "yes": "this window serves as an escape: it must open as before, so it is left alone",
    "unknown": "does this window serve as an escape? It is not altered before that is answered with no",
}


def reasons_against(treatment: Treatment, part: Part, bedroom: Bedroom) -> tuple[str, ...]:
    """Return every reason that forbids a treatment on a part; none when it may be advised."""
    touches = treatment.touches
    reasons: list[str] = []
    if "air" in touches:
        reasons += _reasons_of_air(bedroom)
    if part.what == "door" and "door" in touches and part.rated_fire_door != "no":
        reasons.append(_FIRE_DOOR[part.rated_fire_door])
    if part.what == "window" and "window" in touches and part.escape_window != "no":
        reasons.append(_ESCAPE[part.escape_window])
    if "building" in touches:
        reasons += _reasons_of_home(bedroom.home)
    if "weight" in touches and part.carries_heavy_leaf == "no":
        reasons.append("frame and hinges cannot carry a heavier leaf")
    return tuple(reasons)


def conditions(treatment: Treatment, part: Part, bedroom: Bedroom) -> tuple[str, ...]:
    """Return what has to be seen to before an allowed treatment."""
    found = []
    if "air" in treatment.touches and bedroom.air.other_fresh_air == "unknown":
        found.append("First make sure that enough fresh air comes another way: this narrows one.")
    if "air" in treatment.touches and bedroom.air.damp == "unknown":
        found.append("First look for damp and mould: less air makes both worse.")
    if "building" in treatment.touches and bedroom.home.tenancy == "unknown":
        found.append("First ask whose consent it needs; tenants need it in writing.")
    if "building" in treatment.touches and bedroom.home.protected_building == "unknown":
        found.append("First ask whether the building is protected.")
    if "weight" in treatment.touches and part.carries_heavy_leaf == "unknown":
        found.append("First have frame and hinges checked: the new leaf is heavier.")
    return tuple(found)


def alarm_caution(paths: RoomPaths, open_m2: FloatArray) -> str:
    """Return what changed open areas do to a smoke alarm in the hall, as a caution; empty when nothing.

    Only the alarm's own band counts, over all paths from the hall.
    """
    from_hall = np.array([path.part.behind == "hall" for path in paths.paths])
    band = NOMINAL_HZ.index(ALARM_BAND_HZ)
    before_m2, after_m2 = (float(area[from_hall, band].sum()) for area in (paths.open_m2, open_m2))
    alarm = paths.bedroom.alarm
    if alarm.place == "bedroom" or before_m2 <= 0.0:
        return ""
    change_db = float(level(before_m2 / after_m2)) if after_m2 > 0.0 else np.inf
    if change_db < AUDIBLE_CHANGE_DB:
        return ""
    if alarm.place != "hall":
        return (
            "Smoke alarm: there is none in the bedroom as far as is known, and this makes one in the hall "
            f"about {change_db:.0f} dB quieter here. Fit an interlinked one in the bedroom first."
        )
    if alarm.at_pillow_dba is None:
        return (
            f"Smoke alarm: the one in the hall gets about {change_db:.0f} dB quieter at the pillow. Measure "
            "it there with the door closed, before and after."
        )
    after_dba = alarm.at_pillow_dba - change_db
    verdict = (
        f"under the {ALARM_AT_PILLOW_DBA:g} dB(A) asked for: fit an interlinked one in the bedroom first."
        if after_dba < ALARM_AT_PILLOW_DBA
        else "check it again afterwards."
    )
    return (
        f"Smoke alarm: from {alarm.at_pillow_dba:.0f} to about {after_dba:.0f} dB(A) at the pillow with the "
        f"door closed; {verdict}"
    )


def _reasons_of_air(bedroom: Bedroom) -> list[str]:
    reasons = []
    if bedroom.air.burns_fuel != "no":
        reasons.append(_FUEL[bedroom.air.burns_fuel])
    if bedroom.air.other_fresh_air == "no":
        reasons.append("fresh air comes no other way: give it another one first")
    if bedroom.air.damp == "yes":
        reasons.append("the room is damp: less air means mould; find and mend the cause first")
    return reasons


def _reasons_of_home(home: HomeEntry) -> list[str]:
    reasons = []
    if home.tenancy == "rented" and home.owner_agrees != "yes":
        reasons.append("the room is rented: it needs the owner's written consent first")
    if home.protected_building == "yes":
        reasons.append("the building is protected: it needs the consent of those in charge first")
    return reasons
