"""A plan heard, and a plan held against what came of it, as JSON documents: everything, unrounded."""

from collections.abc import Sequence
from typing import Any

from sleepnoise.evidence.plain import CONVENTIONS, named_fields, plain_value
from sleepnoise.proving.after_night import AfterNight
from sleepnoise.proving.agreement import MeasuredAnew
from sleepnoise.proving.door_proof import DoorProof
from sleepnoise.proving.excerpts import Excerpt
from sleepnoise.proving.held import Held
from sleepnoise.proving.night_proof import NightProof
from sleepnoise.proving.promise import Promise

HEARD_SCHEMA = {"name": "sleepnoise/plan-heard", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""

CHECKED_SCHEMA = {"name": "sleepnoise/plan-checked", "version": 1}
"""The same of a plan that was checked. Chosen: as above."""

_CONVENTIONS = {key: CONVENTIONS[key] for key in ("null", "-Infinity", "third octaves", "uncertainty")}


def heard_document(after: AfterNight, excerpts: Sequence[Excerpt] = ()) -> dict[str, Any]:
    """Return the document of a night heard behind its plan."""
    document = plain_value(
        {
            "schema": HEARD_SCHEMA,
            "conventions": _CONVENTIONS,
            "room": after.promise.room,
            "levels": [_anew(each) for each in after.levels],
            "events": [
                {**named_fields(each), "LAFmax_dB": _anew(each.lafmax), "side": each.side}
                for each in after.events
            ],
            "audible": len(after.audible),
            "verdicts": [
                {**named_fields(each), "verified": each.criterion.source.verified}
                for each in after.assessment.verdicts
            ],
            "excerpts": [{**named_fields(each), "path": each.path.name} for each in excerpts],
        }
    )
    assert isinstance(document, dict)
    return document


def checked_document(
    promise: Promise,
    nights: Sequence[NightProof],
    door: DoorProof | None,
    gain: DoorProof | str | None,
    anew: Promise | None,
) -> dict[str, Any]:
    """Return the document of a plan held against what was measured afterwards.

    Parameters
    ----------
    promise : Promise
    nights : sequence of NightProof
    door : DoorProof or None
        What a door test says.
    gain : DoorProof, str or None
        What the nights say of the installed treatment, or why they cannot tell.
    anew : Promise or None
        Of the plan made anew.
    """
    document = plain_value(
        {
            "schema": CHECKED_SCHEMA,
            "conventions": _CONVENTIONS,
            "room": promise.room,
            "nights": [
                {
                    "night": each.night,
                    "word": each.word,
                    "rows": [_held(row) for row in each.rows],
                    "audible_events": _held(each.count),
                }
                for each in nights
            ],
            "door_test": None if door is None else _gain(door),
            "gain_by_nights": gain if gain is None or isinstance(gain, str) else _gain(gain),
            "planned_anew": anew,
        }
    )
    assert isinstance(document, dict)
    return document


def _anew(each: MeasuredAnew) -> dict[str, Any]:
    return {**named_fields(each), "difference_db": each.difference_db, "agrees": each.agrees}


def _held(each: Held) -> dict[str, Any]:
    return {**named_fields(each), "difference": each.difference}


def _gain(proof: DoorProof) -> dict[str, Any]:
    return {
        "part": proof.part,
        "before": proof.gain.before,
        "after": proof.gain.after,
        "word": proof.word,
        "overall": _held(proof.overall),
        "bands": [_held(each) for each in proof.bands],
        "at_least": proof.gain.at_least.tolist(),
    }
