"""The night as a map of third octaves: time across, frequency up, level as colour."""

import base64
import struct
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.levels.history import LevelHistory

COLOURS = ("#04121c", "#0b3954", "#0072b2", "#56b4e9", "#f0e442", "#fffbe0")
"""Quiet to loud; lighter is louder, also in grey."""

SHADES = 64
"""Shades between the first and the last colour. Chosen: one for each decibel of a wide scale."""

LOWEST_SHARE = 0.02
"""Share of readings that may lie below the scale. Chosen: rare silence must not take half of the colours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandMap:
    """Equivalent third-octave levels of even stretches of time.

    Attributes
    ----------
    levels_db : ndarray, shape (bands, columns), dB
    ticks_each : int
        Ticks in a column; the last one may hold fewer.
    low_db, high_db : float, dB
        Ends of the scale of colours.
    """

    levels_db: FloatArray
    ticks_each: int
    low_db: float
    high_db: float


def band_map(history: LevelHistory, most_columns: int) -> BandMap:
    """Return the map of a recording in at most so many columns.

    ``nan`` is a column without any usable tick; ``-inf`` is silence.
    """
    ticks_each = max(-(-history.ticks // most_columns), 1)
    firsts = np.arange(0, history.ticks, ticks_each)
    kept = ~history.left_out
    counts = np.add.reduceat(kept.astype(np.int64), firsts)
    rows = []
    for band in history.bands:
        known = kept & ~np.isnan(band)
        sums = np.add.reduceat(np.where(known, energy(band), 0.0), firsts)
        with np.errstate(invalid="ignore"):
            rows.append(level(sums / counts))
    levels_db = np.stack(rows)
    low_db, high_db = _scale(levels_db)
    return BandMap(levels_db=levels_db, ticks_each=ticks_each, low_db=low_db, high_db=high_db)


def _scale(levels_db: FloatArray) -> tuple[float, float]:
    known = levels_db[np.isfinite(levels_db)]
    if known.size == 0:
        return 0.0, 10.0
    low_db = 10 * float(np.floor(np.quantile(known, LOWEST_SHARE) / 10))
    return low_db, max(10 * float(np.ceil(known.max() / 10)), low_db + 10)


def map_picture(drawn: BandMap) -> str:
    """Return the map as the address of a PNG picture, one pixel a band and column, high bands on top."""
    share = (drawn.levels_db - drawn.low_db) / (drawn.high_db - drawn.low_db)
    shades = np.rint(np.clip(np.nan_to_num(share, nan=0.0, neginf=0.0), 0, 1) * (SHADES - 1)).astype(np.uint8)
    # The last entry of the palette is clear: nothing is known there.
    shades[np.isnan(drawn.levels_db)] = SHADES
    return f"data:image/png;base64,{base64.b64encode(_png(shades[::-1])).decode()}"


def palette() -> NDArray[np.uint8]:
    """Return the scale of colours, shape (shades, 3)."""
    stops = np.array([[int(colour[at : at + 2], 16) for at in (1, 3, 5)] for colour in COLOURS])
    place = np.linspace(0, len(COLOURS) - 1, SHADES)
    channels = [np.interp(place, np.arange(len(COLOURS)), stops[:, channel]) for channel in range(3)]
    return np.asarray(np.rint(np.stack(channels, axis=1)), dtype=np.uint8)


def _png(shades: NDArray[np.uint8]) -> bytes:
    """Return a picture with a palette (PNG specification, W3C; from memory), shape (rows, columns)."""
    rows, columns = shades.shape
    clear = bytes([255] * SHADES + [0])
    lines = np.pad(shades, ((0, 0), (1, 0))).tobytes()
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        _chunk(kind, content)
        for kind, content in (
            (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)),
            (b"PLTE", palette().tobytes() + bytes(3)),
            (b"tRNS", clear),
            (b"IDAT", zlib.compress(lines, 9)),
            (b"IEND", b""),
        )
    )


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
