"""A night in few strokes, from what its assessment's document has: quarter hours, sounds, faults."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sleepnoise.errors import SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarter:
    """A quarter of an hour; levels in dB, ``nan`` where not known.

    Attributes
    ----------
    start_s : float, s
        After the night window opens.
    seconds : float, s
        Recorded.
    laeq, lafmax, la90 : float
    """

    start_s: float
    seconds: float
    laeq: float
    lafmax: float
    la90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardSound:
    """A label or group of sounds of one night: how often it was heard, how loud at most, and whose it is."""

    name: str
    events: int
    lafmax: float
    own: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSketch:
    """One night in few strokes.

    Attributes
    ----------
    window_s : float, s
        Length of the night window.
    quarters : tuple of Quarter
    events_s : tuple of float, s
        When events begin, after the night window opens.
    sounds : tuple of HeardSound
        Labels, or groups where nobody gave a label.
    unnamed : int
        Events that belong to no group and have no label.
    laeq, laeq_without_own, own_s
        LAeq with and without the sleeper's and the room's own sounds, ``nan`` for the second if nobody
        said which those are; and how long they last, s.
    faults : tuple of str
        Kinds of faults, each once.
    calibration, expanded_uncertainty_db
        Where the scale came from, and U (k = 2) of a level.
    files : tuple of (name, SHA-256)
        Recordings.
    """

    window_s: float
    quarters: tuple[Quarter, ...]
    events_s: tuple[float, ...]
    sounds: tuple[HeardSound, ...]
    unnamed: int
    laeq: float
    laeq_without_own: float
    own_s: float
    faults: tuple[str, ...]
    calibration: str
    expanded_uncertainty_db: float
    files: tuple[tuple[str, str], ...]


def night_sketch(document: Mapping[str, Any], opens: datetime, name: str) -> NightSketch:
    """Return a night in few strokes.

    Parameters
    ----------
    document : mapping
        An ``assessment.json`` as read by a JSON parser.
    opens : datetime
        When the night window opens.
    name : str
        For complaints.

    Raises
    ------
    SettingsError
        If the document is no assessment, or one of another layout.
    """
    try:
        return _sketch(document, opens)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise SettingsError(
            f"{name}: is no assessment of a night: {type(error).__name__} {error}.",
            remedy="Assess the night again with 'sleepnoise dossier assess'.",
        ) from None


def _sketch(document: Mapping[str, Any], opens: datetime) -> NightSketch:
    night, events = document["night"], document["events"]
    own = document["sounds"]["own"]
    names = {str(each["label"] or each["group"]) for each in events} - {""}
    own_names = {str(each["label"]) for each in own["reasons"]} if own else set()
    return NightSketch(
        window_s=float(night["window_s"]),
        quarters=tuple(_quarter(each, opens) for each in night["quarter_hours"]),
        events_s=tuple(_after(each["start_utc"], opens) for each in events),
        sounds=tuple(_heard(name, events, name in own_names) for name in sorted(names)),
        unnamed=sum(not (each["label"] or each["group"]) for each in events),
        laeq=_level(night["statistics"]["LAeq_dB"]),
        laeq_without_own=_level(own["others_only"]["LAeq_dB"]) if own else math.nan,
        own_s=float(own["own_s"]) if own else 0.0,
        faults=tuple(sorted({str(flag["kind"]) for flag in document["quality"]["flags"]})),
        calibration=str(document["calibration"]["origin"]),
        expanded_uncertainty_db=_level(document["uncertainty"]["expanded_db"]),
        files=tuple((str(each["name"]), str(each["sha256"])) for each in document["recording"]["files"]),
    )


def _quarter(each: Mapping[str, Any], opens: datetime) -> Quarter:
    return Quarter(
        start_s=_after(each["start_utc"], opens),
        seconds=float(each["duration_s"]),
        laeq=_level(each["LAeq_dB"]),
        lafmax=_level(each["LAFmax_dB"]),
        la90=_level(each["LA90_dB"]),
    )


def _heard(name: str, events: list[Mapping[str, Any]], own: bool) -> HeardSound:
    mine = [each for each in events if str(each["label"] or each["group"]) == name]
    return HeardSound(
        name=name,
        events=len(mine),
        lafmax=max((_level(each["LAFmax_dB"]) for each in mine), default=math.nan),
        own=own,
    )


def _after(start_utc: str, opens: datetime) -> float:
    return (datetime.fromisoformat(start_utc) - opens).total_seconds()


def _level(value: float | str | None) -> float:
    """Return a level as files have it: null is not known, and infinities are written as words."""
    return math.nan if value is None else float(value)
