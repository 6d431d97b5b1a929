"""A door test as one JSON document: every number unrounded, with what it was made from."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import CONVENTIONS, plain_value
from sleepnoise.fieldwork.door_test import DoorTest, Reading
from sleepnoise.fieldwork.ladder import loudness_ratio
from sleepnoise.trials.door_test import CAUTIONS, ORDER, DoorTestResult

LEAST_U_DB = 0.1
"""Standard uncertainty that a room file is given at least, dB. Chosen: no door test is better."""

SCHEMA_NAME = "sleepnoise/door-test"
SCHEMA_VERSION = 1
"""Version of the document's layout. Chosen: rises whenever a reader would have to change."""


def door_test_document(result: DoorTestResult) -> dict[str, Any]:
    """Return the result as plain values, ready for JSON."""
    test = result.test
    parts = {
        "schema": {"name": SCHEMA_NAME, "version": SCHEMA_VERSION},
        "conventions": {
            "rows": "the A-weighted level first, then bands as in nominal_hz, unweighted",
            "levels": CONVENTIONS["levels"].replace("calibration.absolute", "absolute"),
            "null": CONVENTIONS["null"],
            "uncertainty": CONVENTIONS["uncertainty"],
            "removed": ORDER,
        },
        "title": result.title,
        "absolute": result.absolute,
        "calibration": result.calibration,
        "nominal_hz": test.nominal_hz,
        "background_db": test.background_db.tolist() if test.background_read else None,
        "since_step": test.since + 1,
        "steps": [_step_document(test, number) for number in range(len(test.steps))],
        "left_share_of_since": test.ladder.left_share(test.since).tolist(),
        "remarks": result.remarks,
        "cautions": CAUTIONS,
        "inputs": result.provenance.inputs,
        "versions": result.provenance.versions,
    }
    document = plain_value(parts)
    assert isinstance(document, dict)
    return document


def room_file_block(result: DoorTestResult, part: str) -> str:
    """Return the table ``[door_test]`` for a room file: what closing the door took off, in TOML.

    Parameters
    ----------
    result : DoorTestResult
        Its first step is the open door, the one that totals count from the closed one.
    part : str
        Key of the door in the room file.

    Raises
    ------
    SettingsError
        If there is no second step, and so no closed door.
    """
    test = result.test
    if len(test.steps) < 2:
        raise SettingsError(
            "door test: has no closed door after an open one, which a room file asks for.",
            remedy="Give the open door first and the closed one second.",
        )
    closed = max(test.since, 1)
    gain_db, at_least = test.ladder.gain_db(0, closed), test.ladder.gain_is_least(closed)
    expanded_db = test.expanded_db(0, closed)
    known = np.isfinite(gain_db) & np.isfinite(expanded_db)
    bands = [(hz, row) for row, hz in enumerate(test.nominal_hz, start=1) if known[row]]
    rows = [row for _, row in bands] or [0]
    lines = [
        f"# From '{test.steps[0].title}' to '{test.steps[closed].title}' of the door test "
        f"'{result.title}'.".replace("\n", " "),
        "[door_test]",
        f'part = "{part}"',
        *_why_uncertain(test, closed, rows),
        f"uncertainty_db = {max(float(expanded_db[rows].max()) / COVERAGE_95, LEAST_U_DB):.2f}",
    ]
    if any(at_least[rows]):
        lines.insert(1, "# Where the background decided the closed level, the door is at least this good.")
    if bands:
        lines.append("[door_test.open_minus_closed_db]")
        lines += [f'"{hz:g}" = {gain_db[row]:.2f}' for hz, row in bands]
    else:
        lines.append(f"open_minus_closed_dba = {gain_db[0]:.2f}")
    return "\n".join(lines) + "\n"


def _why_uncertain(test: DoorTest, closed: int, rows: list[int]) -> Iterator[str]:
    """Yield why the uncertainty of a room file is that of its least certain band, as comments."""
    expanded_db = test.expanded_db(0, closed)
    worst = max(rows, key=lambda row: float(expanded_db[row]))
    if not np.isfinite(expanded_db[worst]):
        return
    if worst == 0:
        yield f"# Standard uncertainty: half of the ±{expanded_db[0]:.1f} dB (k = 2) of the A-weighted gain."
        return
    yield (
        f"# Standard uncertainty of the least certain band, {test.nominal_hz[worst - 1]:g} Hz: half of its "
        f"±{expanded_db[worst]:.1f} dB (k = 2),"
    )
    a_weighted = expanded_db[0]
    also = f" The A-weighted gain is known to ±{a_weighted:.1f} dB." if np.isfinite(a_weighted) else ""
    yield f"# taken for all bands, since a room file has one value for them.{also}"


def _step_document(test: DoorTest, number: int) -> dict[str, Any]:
    step = test.steps[number]
    after = number > test.since
    return {
        "step": number + 1,
        "title": step.title,
        "done": step.done,
        "measured_db": test.measured_db[number].tolist(),
        "source_change_db": test.source_change_db[number].tolist(),
        "corrected_db": test.ladder.levels_db[number].tolist(),
        "at_background_limit": test.ladder.at_limit[number].tolist(),
        "step_gain": _gain(test, number - 1, number) if number else None,
        "gain_since_first": _gain(test, 0, number) if number else None,
        "gain_since": _gain(test, test.since, number) if after else None,
        "removed_share_of_since": _removed_share(test, number).tolist() if after else None,
        "repeat_spread_db": float(test.repeat_spread_db[number]),
        "readings": [_reading(each) for each in step.readings],
        "source": [_reading(each) for each in step.source],
    }


def _removed_share(test: DoorTest, number: int) -> FloatArray:
    """Return a step's share of the energy of the step from which shares count; ``nan`` after a limit."""
    shares = test.ladder.removed_share(test.since)[number - test.since - 1]
    return np.where(test.ladder.at_limit[test.since : number].any(axis=0), np.nan, shares)


def _gain(test: DoorTest, first: int, last: int) -> dict[str, Any]:
    gain_db = test.ladder.gain_db(first, last)
    return {
        "gain_db": gain_db.tolist(),
        "at_least": test.ladder.gain_is_least(last).tolist(),
        "expanded_uncertainty_db": test.expanded_db(first, last).tolist(),
        "loudness_ratio": float(loudness_ratio(gain_db[0])),
    }


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "name": reading.name,
        "levels_db": _by_band(reading, reading.levels_db),
        "used_s": reading.used_s,
        "rejected_s": reading.rejected_s,
    }


def _by_band(reading: Reading, rows: FloatArray) -> dict[str, float]:
    names: Sequence[str] = ("A", *(f"{hz:g}" for hz in reading.nominal_hz))
    return dict(zip(names, rows.tolist(), strict=True))
