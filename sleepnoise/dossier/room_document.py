"""A studied room as one JSON document: everything, unrounded."""

import math
from pathlib import Path
from typing import Any

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source
from sleepnoise.evidence.provenance import file_mark, library_versions
from sleepnoise.isolation.advice import Advice, Refusal
from sleepnoise.isolation.door_test import DoorComparison
from sleepnoise.isolation.paths import RoomLevels
from sleepnoise.planning.room_study import RoomStudy

SCHEMA = {"name": "sleepnoise/paths", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""


def room_document(study: RoomStudy, file: Path) -> dict[str, Any]:
    """Return the document of a studied room; what is infinite or not known is null.

    Parameters
    ----------
    study : RoomStudy
    file : Path
        The room file that it was read from.
    """
    mark = file_mark(file, "room file")
    room, now = study.bedroom, study.advice.now
    return {
        "schema": SCHEMA,
        "made_from": {"name": mark.name, "sha256": mark.sha256, "versions": library_versions()},
        "room": {
            "title": room.title,
            "volume_m3": room.volume_m3,
            "absorption_m2": _bands(room.absorption_m2),
        },
        "sounds": [
            {
                "behind": each.behind,
                "sound": each.sound.key,
                "LA_dB": each.level_dba,
                "source": _source(each.sound.source),
            }
            for each in study.standing
        ],
        "room_LA_dB": now.room_dba,
        "standard_uncertainty_dB": now.u_db,
        "room_LA_tabulated_dB": study.tabulated.room_dba,
        "door_test": None if study.comparison is None else _door_test(study.comparison),
        "paths": _paths(now),
        "treatments": {
            "advised": [_advice(each) for each in study.advice.allowed],
            "too_little": [_advice(each) for each in study.advice.too_little],
            "not_advised": [_refusal(each) for each in study.advice.refused],
        },
        "currency": room.currency or None,
    }


def _paths(now: RoomLevels) -> list[dict[str, Any]]:
    return [
        {
            "part": path.part.key,
            "title": path.part.title,
            "through": path.through,
            "behind": path.part.behind,
            "construction": path.part.element.key,
            "source": _source(path.part.element.source),
            "gap_width_mm": None if path.gap is None else path.gap.width_m * 1000.0,
            "gap_width_measured": None if path.gap is None else path.gap.measured,
            "open_area_with_transmission_1_m2": path.simple_m2,
            "insertion_dB": _bands(now.insertion_db[number]),
            "LA_dB": _number(now.levels_dba[number]),
            "standard_uncertainty_dB": path.u_db,
            "share": _number(now.shares[number]),
            "gain_without_dB": _number(now.gains_without_db[number]),
            "strongest": number == now.strongest,
        }
        for number, path in enumerate(now.paths.paths)
    ]


def _door_test(comparison: DoorComparison) -> dict[str, Any]:
    return {
        "part": comparison.part,
        "open_minus_closed_dB": _bands(comparison.measured_db),
        "tabulated_dB": _bands(comparison.tabulated_db),
        "better_than_tabulated_dB": _bands(comparison.better_db),
        "at_least": bool(np.any(comparison.at_limit)),
    }


def _advice(advice: Advice) -> dict[str, Any]:
    treatment = advice.treatment
    return {
        "treatment": treatment.key,
        "title": treatment.title,
        "part": advice.part.key,
        "gain_dB": _number(advice.gain_db),
        "standard_uncertainty_dB": advice.u_db,
        "room_LA_dB": _number(advice.room_dba),
        "part_gain_dB": _bands(advice.path_gain_db),
        "cost_class": treatment.cost_class,
        "price": advice.price,
        "excludes": sorted(treatment.excludes),
        "basis": treatment.basis,
        "source": _source(treatment.source),
        "alarm": advice.alarm or None,
        "cautions": list(advice.cautions),
    }


def _refusal(refusal: Refusal) -> dict[str, Any]:
    return {
        "treatment": refusal.treatment.key,
        "title": refusal.treatment.title,
        "part": refusal.part.key,
        "reasons": list(refusal.reasons),
    }


def _source(source: Source) -> dict[str, str]:
    return {"document": source.document, "place": source.place, "how_known": source.how_known}


def _bands(values: FloatArray) -> dict[str, float | None] | float | None:
    """Return one value for each band by its name, or the single number that there is."""
    if values.ndim == 0:
        return _number(values)
    return {band_label(hz): _number(value) for hz, value in zip(NOMINAL_HZ, values, strict=True)}


def _number(value: FloatArray | float) -> float | None:
    return float(value) if math.isfinite(value) else None
