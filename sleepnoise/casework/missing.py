"""What a dossier has and what it still lacks for a sound judgement."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from sleepnoise.calibration.kept import read_calibration
from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.casework.dossier import ROOM_FILE, Dossier, Night
from sleepnoise.casework.night_results import by_this_code
from sleepnoise.comparison.before_after import RESAMPLED_FROM
from sleepnoise.profiles.bedroom import BedroomProfile
from sleepnoise.profiles.files import read_bedroom

State = Literal["there", "weak", "missing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One thing that a judgement rests on.

    Attributes
    ----------
    what : str
    state : State
        ``"weak"``: something is there, but not all that it takes.
    found : str
        What there is, in words.
    remedy : str
        What to do; empty if nothing is lacking.
    """

    what: str
    state: State
    found: str
    remedy: str = ""


def points_of(dossier: Dossier, compared: NightsCompared) -> tuple[Point, ...]:
    """Return everything that a sound judgement rests on, and how it stands.

    Parameters
    ----------
    dossier : Dossier
    compared : NightsCompared
        Its assessed nights.

    Raises
    ------
    SleepNoiseError
        If a file of the dossier cannot be read.
    """
    return (
        *_changed_by_hand(dossier),
        _calibration(dossier),
        _nights(dossier.nights, compared),
        _assessed(dossier, compared),
        _windows(dossier.nights),
        _guideline(dossier),
        *_room(dossier),
        _door_test(dossier),
        _words(dossier.nights),
    )


def _changed_by_hand(dossier: Dossier) -> Iterator[Point]:
    if dossier.edited:
        yield Point(
            what="Changes by hand",
            state="weak",
            found=f"not in the journal: {', '.join(dossier.edited)}",
            remedy="Undo them, or write them into the journal with 'dossier accept'.",
        )


def _calibration(dossier: Dossier) -> Point:
    what, remedy = "Calibration", "Keep one with 'calibrate' and add it, or give a tone with each night."
    own = [night for night in dossier.nights if night.own_calibration]
    without = [night.name for night in dossier.nights if night not in own]
    if dossier.calibration is None:
        if without or not own:
            found = f"none for {_listed(without)}" if without else "none"
            return Point(what=what, state="weak" if own else "missing", found=found, remedy=remedy)
        return Point(what=what, state="there", found="of each night its own")
    kept = read_calibration(dossier.calibration)
    late = [name for name in without if name > kept.valid_until.isoformat()]
    if late:
        found = f"valid until {kept.valid_until}, so not for {_listed(late)}"
        return Point(
            what=what, state="weak", found=found, remedy="Calibrate again, or give those nights a tone."
        )
    return Point(what=what, state="there", found=f"valid until {kept.valid_until}")


def _nights(nights: Sequence[Night], compared: NightsCompared) -> Point:
    """Return whether there are nights enough of one kind, measured from beginning to end."""
    whole = {group.window_state: len(group.nights) for group in compared.groups}
    if max(whole.values(), default=0) >= RESAMPLED_FROM:
        state: State = "there"
    else:
        state = "weak" if nights else "missing"
    counts = [f"{count} whole with windows {word or 'not noted'}" for word, count in sorted(whole.items())]
    partial = sum(len(group.partial) for group in compared.groups)
    counts += [f"{partial} measured in part"] if partial else []
    counts += [f"{len(compared.not_assessed)} not assessed"] if compared.not_assessed else []
    need = f"Measure {RESAMPLED_FROM} whole nights with the windows alike; fewer hardly tell how they differ."
    return Point(
        what="Nights",
        state=state,
        found=", ".join(counts) or "none",
        remedy="" if state == "there" else need,
    )


def _assessed(dossier: Dossier, compared: NightsCompared) -> Point:
    nights, todo = dossier.nights, compared.not_assessed
    if not nights:
        return Point(what="Assessed", state="missing", found="no night yet", remedy="Add a night.")
    other = [night.name for night in nights if night.name not in todo and not by_this_code(dossier, night)]
    if not todo and other:
        return Point(
            what="Assessed",
            state="weak",
            found=f"by other code of this version: {_listed(other)}",
            remedy="See with 'dossier verify --again' whether every number comes out again.",
        )
    if not todo:
        return Point(what="Assessed", state="there", found=f"all {len(nights)}")
    return Point(
        what="Assessed",
        state="weak" if len(todo) < len(nights) else "missing",
        found=f"still to do: {_listed(todo)}",
        remedy="Run 'dossier assess'.",
    )


def _windows(nights: Sequence[Night]) -> Point:
    open_ = [night.name for night in nights if not night.file.windows]
    if nights and not open_:
        return Point(what="Windows", state="there", found="noted for every night")
    return Point(
        what="Windows",
        state="weak" if len(open_) < len(nights) else "missing",
        found=f"not noted for {_listed(open_)}" if open_ else "no night yet",
        remedy='Write windows = "open", "tilted" or "closed" into night.toml, then \'dossier accept\'.',
    )


def _guideline(dossier: Dossier) -> Point:
    if dossier.about.guidelines:
        return Point(what="Guideline", state="there", found=", ".join(dossier.about.guidelines))
    return Point(
        what="Guideline",
        state="missing",
        found="none chosen; the international ones are used",
        remedy="Choose what holds at the place; see 'profiles list', then write it into dossier.toml.",
    )


def _room(dossier: Dossier) -> Iterator[Point]:
    if dossier.room is None:
        yield Point(
            what="Room",
            state="missing",
            found="no room file, so no plan and no answer on air, fire and escape",
            remedy=f"Write {ROOM_FILE} as the bedroom.toml of 'sleepnoise demo' shows, and add it with "
            "'dossier add-file'.",
        )
        return
    room = read_bedroom(dossier.room)
    yield Point(what="Room", state="there", found=room.title)
    open_ = tuple(_open_questions(room))
    if open_:
        yield Point(
            what="Safety",
            state="weak",
            found=f"not answered: {'; '.join(open_)}",
            remedy=f"Write the answers into {ROOM_FILE}, then 'dossier accept': advice waits for them.",
        )
    else:
        yield Point(what="Safety", state="there", found="air, fire, escape and alarm are answered")


def _open_questions(room: BedroomProfile) -> Iterator[str]:
    questions = {
        "does an appliance in the home burn fuel": room.air.burns_fuel,
        "does fresh air come in another way": room.air.other_fresh_air,
        "where is the smoke alarm": room.alarm.place,
        "may the home be changed": room.home.owner_agrees if room.home.tenancy != "owned" else "yes",
    }
    for part in room.part:
        if part.what == "door":
            questions[f"is {part.key} a rated fire door"] = part.rated_fire_door
        if part.what == "window":
            questions[f"is {part.key} an escape window"] = part.escape_window
    yield from (question for question, answer in questions.items() if answer == "unknown")


def _door_test(dossier: Dossier) -> Point:
    tests = [folder.name for folder in dossier.door_tests]
    if tests:
        return Point(what="Door test", state="there", found=", ".join(tests))
    return Point(
        what="Door test",
        state="missing",
        found="none: how much the door lets through is assumed",
        remedy="Play steady noise behind the door, see 'door-test', and add it.",
    )


def _words(nights: Sequence[Night]) -> Point:
    told = [night.name for night in nights if night.labels or night.diary]
    if told:
        return Point(what="Labels, diary", state="there", found=f"for {_listed(told)}")
    return Point(
        what="Labels, diary",
        state="missing",
        found="none: whose a sound is, and what woke somebody, is not told",
        remedy="Add what people wrote down with 'dossier add-words'.",
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{names[0]} and {len(names) - 1} more"
