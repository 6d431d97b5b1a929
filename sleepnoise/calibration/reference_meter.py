"""Calibration beside a sound level meter: both hear the same sounds, level by level.

The gain is the mean difference of simultaneous levels. Their scatter says how well the two
heard the same; the slope of one over the other tells a recorder that does not keep its gain, or
that hears mostly itself.

Symbols: ``b`` slope of the recorder's levels over the meter's, 1 for a recorder that follows.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray
from sleepnoise.calibration.columns import read_columns
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import (
    ISO_1996_2_METER,
    METER_U_DB,
    Calibration,
    InstrumentClass,
    UncertaintyPart,
    expanded_db,
    recorder_part,
)

FEWEST_PAIRS = 5
"""Fewest pairs. Chosen: fewer show neither scatter nor slope."""

REFERENCE_LEVELS_DB = (10.0, 140.0)
"""Levels that a meter may show, dB. Chosen: from its own noise to pain."""

RECORDER_LEVELS_DB = (-140.0, 10.0)
"""Levels re full scale that a recorder may give, dB. Chosen: from the last of 24 bits to a float file
that goes beyond."""

MOST_SCATTER_DB = 2.0
"""Largest standard deviation of the differences, dB. Chosen: two microphones side by side keep within
1 dB; beyond twice that they did not hear the same."""

SLOPE_TOLERANCE = 0.10
"""How far the slope may be from 1. Chosen: 1 dB over 10 dB, as far as a class 2 meter may be off (5.6.5
of IEC 61672-1 allows it 1.1 dB in all)."""

SLOPE_NEEDS_DB = 10.0
"""Range of levels from which a slope is told, dB. Chosen: the tolerance is then 1 dB, beyond most scatter."""

HEADS = ("reference_db", "recorder_db")
"""Heads of the two columns of a file of pairs."""

_PAIR = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*=\s*([-+\u2212]?\d+(?:\.\d+)?)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPair:
    """Levels of one sound, over the same time and with the same weighting.

    Attributes
    ----------
    reference_db : float, dB re 20 µPa
        What the meter shows.
    recorder_db : float, dB re full scale
        What the recording gives without calibration, a full-scale mean square being 0 dB.
    """

    reference_db: float
    recorder_db: float

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the pair that a text such as ``"62.1=-31.4"`` stands for; the meter's level is first.

        Raises
        ------
        CalibrationError
            If the text is no such pair.
        """
        found = _PAIR.fullmatch(text.strip())
        if found is None:
            raise CalibrationError(
                f"reference meter: METER=RECORDER is needed, two levels in dB, got {text!r:.60}.",
                remedy="Write the meter's level, then the recording's re full scale, such as 62.1=-31.4.",
            )
        return cls(reference_db=float(found[1]), recorder_db=float(found[2].replace("\u2212", "-")))


def read_level_pairs(path: Path) -> tuple[LevelPair, ...]:
    """Read pairs of levels from a text file with the heads ``reference_db`` and ``recorder_db``.

    Raises
    ------
    CalibrationError
        If it cannot be read, has other heads, or a row has not two numbers.
    """
    heading, rows = read_columns(path, "pairs of levels")
    heads = [head.strip().strip('"') for head in re.split(r"[;,\t ]+", heading.strip())]
    if sorted(heads) != sorted(HEADS):
        raise CalibrationError(
            f"{path}: the columns must be headed {' and '.join(HEADS)}, got {heading!r:.60}.",
            remedy="Write this as the first line: reference_db,recorder_db",
        )
    for row in rows:
        if len(row.numbers) != len(heads):
            raise CalibrationError(
                f"{path}, line {row.line}: two levels are needed, got {len(row.numbers)}.",
                remedy="Mend the line: what the meter shows and what the recording gives.",
            )
    return tuple(LevelPair(**dict(zip(heads, row.numbers, strict=True))) for row in rows)


def calibration_from_reference(
    pairs: Sequence[LevelPair],
    *,
    meter_class: InstrumentClass = 2,
    recorder_class: InstrumentClass | None = None,
) -> Calibration:
    """Return the calibration that simultaneous levels of a sound level meter give.

    Parameters
    ----------
    pairs : sequence of LevelPair
        At least ``FEWEST_PAIRS``, from quiet to loud if the slope is to be checked.
    meter_class : {1, 2}
        Class of the meter; 2 if it is not known.
    recorder_class : {1, 2} or None
        Class of the recorder and its microphone together; None: taken for class 2.

    Raises
    ------
    CalibrationError
        If there are too few pairs, a level cannot be believed, the differences scatter too
        much, or the recorder does not follow the meter.
    """
    if meter_class not in METER_U_DB:
        raise CalibrationError(
            f"reference meter: its class must be 1 or 2, got {meter_class}.",
            remedy="Give the class printed on the meter, or 2.",
        )
    reference_db, recorder_db = _levels(pairs)
    difference_db = reference_db - recorder_db
    scatter_db = float(np.std(difference_db, ddof=1))
    remarks = _check_slope(reference_db, recorder_db)
    if scatter_db > MOST_SCATTER_DB:
        raise CalibrationError(
            f"reference meter: the differences may scatter by {MOST_SCATTER_DB:g} dB (standard deviation), "
            f"these do by {scatter_db:.1f} dB.",
            remedy="Put both microphones side by side and compare levels over the same seconds, "
            "with the same weighting.",
        )
    mean_db = float(np.mean(difference_db))
    parts = (recorder_part(recorder_class), *_parts(scatter_db, len(pairs), meter_class))
    return Calibration(
        pascal_per_full_scale=float(REFERENCE_PRESSURE_PA * 10.0 ** (mean_db / 20)),
        absolute=True,
        expanded_uncertainty_db=expanded_db(parts),
        origin=f"{len(pairs)} levels beside a class {meter_class} meter, {reference_db.min():g} to "
        f"{reference_db.max():g} dB, scatter {scatter_db:.2f} dB",
        parts=parts,
        remarks=remarks,
    )


def _parts(scatter_db: float, pairs: int, meter_class: int) -> tuple[UncertaintyPart, ...]:
    return (
        UncertaintyPart(
            what="reference meter",
            standard_db=METER_U_DB[meter_class],
            basis=f"class {meter_class}; {ISO_1996_2_METER.document}, Table 1",
        ),
        UncertaintyPart(
            what="scatter of the comparison",
            standard_db=scatter_db / math.sqrt(pairs),
            basis=f"standard deviation {scatter_db:.2f} dB of {pairs} differences, of their mean",
        ),
    )


def _levels(pairs: Sequence[LevelPair]) -> tuple[FloatArray, FloatArray]:
    if len(pairs) < FEWEST_PAIRS:
        raise CalibrationError(
            f"reference meter: at least {FEWEST_PAIRS} pairs of levels are needed, got {len(pairs)}.",
            remedy="Compare more sounds, from quiet to loud, each for ten seconds or longer.",
        )
    for number, pair in enumerate(pairs, start=1):
        for what, value, (lowest, highest) in (
            ("the meter's level", pair.reference_db, REFERENCE_LEVELS_DB),
            ("the recorder's level, re full scale,", pair.recorder_db, RECORDER_LEVELS_DB),
        ):
            if not lowest <= value <= highest:
                raise CalibrationError(
                    f"reference meter, pair {number}: {what} must be {lowest:g} to {highest:g} dB, "
                    f"got {value:g}.",
                    remedy="Give the meter's level first, then the recording's without any calibration.",
                )
    return (
        np.array([pair.reference_db for pair in pairs]),
        np.array([pair.recorder_db for pair in pairs]),
    )


def _check_slope(reference_db: FloatArray, recorder_db: FloatArray) -> tuple[str, ...]:
    """Refuse a recorder that does not follow the meter; return what cannot be told."""
    slope, margin = _slope(reference_db, recorder_db)
    if abs(slope - 1.0) <= max(SLOPE_TOLERANCE, margin):
        if margin <= SLOPE_TOLERANCE:
            return ()
        return (
            "The compared levels span too little or scatter too much to tell an automatic gain; "
            f"{SLOPE_NEEDS_DB:g} dB from the quietest to the loudest are needed, 30 dB are better.",
        )
    loud = reference_db >= np.median(reference_db)
    upper, unsure = _slope(reference_db[loud], recorder_db[loud])
    floor = slope < 1.0 and abs(upper - 1.0) <= SLOPE_TOLERANCE and math.isfinite(unsure)
    raise CalibrationError(
        f"reference meter: 10 dB more at the meter must be 9 to 11 dB more in the recording, "
        f"got {10 * slope:.1f} dB" + (", but the louder half is right." if floor else "."),
        remedy="The quiet levels lie in the recorder's own noise: leave them out, or record with more gain."
        if floor
        else "Switch off automatic gain, limiter and noise reduction and compare again.",
    )


def _slope(reference_db: FloatArray, recorder_db: FloatArray) -> tuple[float, float]:
    """Return the slope of a straight line through levels, and twice its standard uncertainty.

    The latter is infinite if the levels are too few or span too little.
    """
    around_db = reference_db - reference_db.mean()
    squares = float(around_db @ around_db)
    if np.ptp(reference_db) < SLOPE_NEEDS_DB or reference_db.size < 3:
        return 1.0, math.inf
    slope = float(around_db @ recorder_db) / squares
    off_db = recorder_db - recorder_db.mean() - slope * around_db
    return slope, 2.0 * math.sqrt(float(off_db @ off_db) / (reference_db.size - 2) / squares)
