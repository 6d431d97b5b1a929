"""The level history as a Parquet table of whole hundredths of a decibel.

Whole numbers that change little from one tick to the next pack to a fifth of what floats
need, and no meter is good to a hundredth of a decibel. Two values are kept back for what is
no level; both are written into the file's own metadata.
"""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.levels.history import TICKS_PER_SECOND, TICKS_TOGETHER, LevelHistory
from sleepnoise.levels.hundredths import NOT_KNOWN, SCALE, SILENCE, hundredths, part_of

QUANTITIES = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
"""Single-number columns, in the order of the file."""


def write_level_table(history: LevelHistory, path: Path) -> None:
    """Write the history as Parquet: one row a tick, one column a quantity or band."""
    schema = _schema(history)
    # An open file, because the library takes no name that is not UTF-8.
    with (
        path.open("wb") as file,
        pq.ParquetWriter(
            file,
            schema,
            compression="zstd",
            use_dictionary=False,
            column_encoding={
                name: "PLAIN" if name == "left_out" else "DELTA_BINARY_PACKED" for name in schema.names
            },
        ) as writer,
    ):
        for first in range(0, max(history.ticks, 1), TICKS_TOGETHER):
            last = min(first + TICKS_TOGETHER, history.ticks)
            writer.write_table(_rows(history, first, last, schema))


def _schema(history: LevelHistory) -> pa.Schema:
    scaled = {"unit": "dB", "scale": str(1 / SCALE)}
    names = [f"{SYMBOLS[name].column}_x{SCALE}" for name in QUANTITIES]
    names += [f"LZeq_{band_label(nominal)}Hz_dB_x{SCALE}" for nominal in history.nominal_hz]
    return pa.schema(
        [
            pa.field("tick", pa.int32()),
            *(pa.field(name, pa.int16(), metadata=scaled) for name in names),
            pa.field("left_out", pa.bool_()),
        ],
        metadata={
            "schema": "sleepnoise/levels",
            "schema_version": "1",
            "start_utc": history.start.isoformat(timespec="microseconds"),
            "ticks_per_second": str(TICKS_PER_SECOND),
            "time": "tick n starts at start_utc + n / ticks_per_second seconds",
            "level": f"dB = stored / {SCALE}",
            "silence": str(SILENCE),
            "not_known": str(NOT_KNOWN),
            "left_out": "true: in no statistic",
        },
    )


def _rows(history: LevelHistory, first: int, last: int, schema: pa.Schema) -> pa.Table:
    columns = [
        pa.array(np.arange(first, last, dtype=np.int32)),
        *(pa.array(hundredths(getattr(history, name)[first:last])) for name in QUANTITIES),
        *(pa.array(hundredths(band)) for band in part_of(history.bands, first, last)),
        pa.array(history.left_out[first:last]),
    ]
    return pa.Table.from_arrays(columns, schema=schema)
