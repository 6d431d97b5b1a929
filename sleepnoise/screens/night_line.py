"""The night as one line of blocks: how loud it was, from left to right."""

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.assessing.record import NightRecord
from sleepnoise.levels.history import LevelHistory
from sleepnoise.wording.rounding import clock_text, duration_text, level_text

BLOCKS = "▁▂▃▄▅▆▇█"
"""From the quietest column to the loudest."""

UNKNOWN = "·"
"""A column of which nothing is known."""

COLUMNS = 78
"""Width. Chosen: 80 columns less a margin."""

LEAST_RANGE_DB = 10.0
"""Blocks span at least this, dB. Chosen: so that a steady night does not look like a lively one."""


def night_line(record: NightRecord) -> tuple[str, str]:
    """Return a line of blocks for the recorded part of the window, and what it shows.

    Each column is the highest LAF within an equal stretch of time.
    """
    night = record.assessment
    history = record.history
    part = history.between(history.tick_of(night.start), history.tick_of(night.end))
    levels = _highest(part)
    finite = levels[np.isfinite(levels)]
    if not finite.size:
        return "", ""
    low, high = float(finite.min()), float(finite.max())
    zone = night.window.zone
    each = duration_text(part.seconds / min(COLUMNS, max(part.ticks, 1)))
    said = (
        f"Each block: the highest LAF within {each}, {level_text(low, 0)} to {level_text(high, 0)} dB, "
        f"{clock_text(night.start, zone)} to {clock_text(night.end, zone)}"
    )
    return blocks(levels), said


def blocks(levels_db: FloatArray) -> str:
    """Return levels as blocks, one each.

    Examples
    --------
    >>> blocks(np.array([20.0, 30.0, np.nan, 40.0, -np.inf]))
    '▁▄·█▁'
    """
    finite = levels_db[np.isfinite(levels_db)]
    low = float(finite.min()) if finite.size else 0.0
    span = max(float(finite.max()) - low, LEAST_RANGE_DB) if finite.size else LEAST_RANGE_DB
    places = np.nan_to_num((levels_db - low) / span * (len(BLOCKS) - 1), nan=-1.0, neginf=0.0)
    return "".join(UNKNOWN if place < 0 else BLOCKS[int(place)] for place in places)


def _highest(part: LevelHistory) -> FloatArray:
    usable = np.where(part.left_out, np.nan, part.lafmax.astype(np.float64))
    pieces = np.array_split(usable, min(COLUMNS, max(part.ticks, 1)))
    known = [piece[~np.isnan(piece)] for piece in pieces]
    return np.array([piece.max() if piece.size else np.nan for piece in known])
