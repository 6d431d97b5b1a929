"""The cells of an instrument's table: from text or Parquet to numbers and time stamps.

Files may come from strangers: lines, rows and columns are bounded, and every complaint names
row and column.
"""

import re
from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.errors import RecordingError, StartTimeError
from sleepnoise.logs.log_mapping import LogMapping, place_of
from sleepnoise.recording.clock import YEARS

MOST_ROWS = 1_000_000
"""Rows of a log. Chosen: a day of ten rows a second and some; a night is all that is assessed at a time."""

ROWS_TOGETHER = 4096
"""Rows that are turned into numbers at a time. Chosen: a megabyte or so of text."""

LEVEL_RANGE_DB = (-50.0, 200.0)
"""Levels believed, dB. Chosen: beyond lie misread decimal signs and codes for no value, not sound."""

NO_VALUE = frozenset({"", "-", "--", "---", "-.-", "--.-", "nan", "na", "n/a", "#n/a", "null", "none"})
"""What instruments write for no value, in small letters. Common practice, no source."""

STAMPS = ("time", "date")
"""Keys of a mapping that name no levels."""

_SIGNED = re.compile(r"\d([.,])\d")
_EPOCH = datetime(1970, 1, 1)
"""Where time stamps are counted from. Chosen: as instants are, so that an offset is all between them."""
_MICROSECOND = timedelta(microseconds=1)

Cells = dict[str, list[Any]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogTable:
    """What a table holds.

    Attributes
    ----------
    rows : ndarray, shape (n,)
        Where each row stands in the file, from 1: line of a CSV, row of a Parquet file.
    local_us : ndarray, shape (n,), int64, or None
        Time stamps as written, µs after 1970-01-01 on the clock that wrote them.
    offset_us : ndarray, shape (n,), int64, or None
        Offset of that clock from UTC where the stamps tell it.
    levels : dict of str to ndarray, shape (n,), float32, dB
        By level or band label; ``nan`` for no value.
    remarks : tuple of str
        How the file was read, for people.
    """

    rows: NDArray[np.int64]
    local_us: NDArray[np.int64] | None
    offset_us: NDArray[np.int64] | None
    levels: dict[str, NDArray[np.float32]]
    remarks: tuple[str, ...]


@dataclass(kw_only=True)
class TableReading:
    """What has been read of a file so far."""

    path: Path
    mapping: LogMapping
    encoding: str = ""
    decimal: str = ""
    keys: tuple[str, ...] = ()
    rows: "array[int]" = field(default_factory=lambda: array("q"))
    local_us: "array[int]" = field(default_factory=lambda: array("q"))
    offset_us: "array[int]" = field(default_factory=lambda: array("q"))
    levels: "dict[str, array[float]]" = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    def begin(self, heads: dict[str, str]) -> None:
        """Start with the columns that were found: their heads by key."""
        self.keys = tuple(key for key in heads if key not in STAMPS)
        self.levels = {key: array("f") for key in self.keys}
        self.decimal = self.mapping.decimal
        self.remarks.append("columns: " + ", ".join(f"{key} from {head!r}" for key, head in heads.items()))

    def take(self, numbers: list[int], cells: Cells) -> None:
        """Take a block of rows in."""
        self.rows.extend(numbers)
        if len(self.rows) > MOST_ROWS:
            raise _too_long(self.path)
        if self.mapping.time:
            self._take_stamps(numbers, cells)
        for key in self.keys:
            values = np.array(self._numbers(key, numbers, cells[key]), dtype=np.float32)
            self._check_range(key, numbers, values)
            self.levels[key].frombytes(values.tobytes())

    def table(self) -> LogTable:
        """Return all that was read."""
        if not self.rows:
            raise RecordingError(f"{self.path}: has no rows with levels.", remedy="Export the log again.")
        stamped = bool(self.mapping.time)
        if self.decimal == ",":
            self.remarks.append("decimal sign: comma")
        return LogTable(
            rows=np.array(self.rows),
            local_us=np.array(self.local_us) if stamped else None,
            offset_us=np.array(self.offset_us) if self.offset_us else None,
            levels={key: np.array(values) for key, values in self.levels.items()},
            remarks=tuple(self.remarks),
        )

    def stamp(self, cells: tuple[Any, ...]) -> datetime:
        """Return the time stamp in the cells of date, if it stands apart, and time."""
        if len(cells) == 1 and isinstance(cells[0], datetime):
            return cells[0]
        text = " ".join(str(cell).strip() for cell in cells)
        if self.mapping.time_format:
            return datetime.strptime(text, self.mapping.time_format)
        return datetime.fromisoformat(text)

    def _take_stamps(self, numbers: list[int], cells: Cells) -> None:
        columns = [cells[key] for key in ("date", "time") if key in cells]
        for number, parts in zip(numbers, zip(*columns, strict=True), strict=True):
            try:
                moment = self.stamp(parts)
            except ValueError:
                raise _no_time(self.path, number, parts, self.mapping) from None
            if not YEARS[0] <= moment.year <= YEARS[1]:
                raise _no_time(self.path, number, parts, self.mapping)
            offset = moment.utcoffset()
            if offset is not None:
                self.offset_us.append(offset // _MICROSECOND)
            self.local_us.append((moment.replace(tzinfo=None) - _EPOCH) // _MICROSECOND)
        if len(self.offset_us) not in (0, len(self.local_us)):
            raise StartTimeError(
                f"{self.path}: some times up to row {numbers[-1]} have an offset from UTC, others have none.",
                remedy="Export all of them alike.",
            )

    def _numbers(self, key: str, numbers: list[int], cells: list[Any]) -> list[float]:
        """Return the numbers in the cells of a column; quickly, unless something is special."""
        if not isinstance(next((cell for cell in cells if cell is not None), 0.0), str):
            return [float("nan") if cell is None else float(cell) for cell in cells]
        texts = ["" if cell is None else cell for cell in cells]
        joined = "".join(texts)
        # The first number with a sign decides; what does not agree with it is refused.
        self.decimal = self.decimal or next((found[1] for found in map(_SIGNED.search, texts) if found), "")
        other = "." if self.decimal == "," else ","
        if "_" not in joined and other not in joined:
            try:
                return list(map(float, [text.replace(",", ".") for text in texts] if other == "." else texts))
            except ValueError:
                pass
        return [self._number(key, number, text) for number, text in zip(numbers, texts, strict=True)]

    def _number(self, key: str, number: int, text: str) -> float:
        plain = text.strip()
        if plain.casefold() in NO_VALUE or plain in self.mapping.missing:
            return float("nan")
        comma = self.decimal == ","
        try:
            if "_" in plain or ("." if comma else ",") in plain:
                raise ValueError
            return float(plain.replace(",", "."))
        except ValueError:
            raise _no_level(self.path, number, key, text, self.decimal or ".") from None

    def _check_range(self, key: str, numbers: list[int], values: NDArray[np.float32]) -> None:
        lowest_db, highest_db = LEVEL_RANGE_DB
        believed = np.isnan(values) | np.isneginf(values) | ((values >= lowest_db) & (values <= highest_db))
        if not believed.all():
            place = int(np.argmin(believed))
            raise _no_level(self.path, numbers[place], key, f"{values[place]:g}", self.decimal or ".")


def _no_level(path: Path, row: int, key: str, text: str, decimal: str) -> RecordingError:
    return RecordingError(
        f"{path}, row {row}, column of {key}: must be a level from {LEVEL_RANGE_DB[0]:g} to "
        f"{LEVEL_RANGE_DB[1]:g} dB with the decimal sign {decimal!r}, got {text!r:.40}.",
        remedy="Say what stands for no value with missing=... and the decimal sign with decimal=..., "
        "or mend the row.",
    )


def _no_time(path: Path, row: int, cells: Iterable[Any], mapping: LogMapping) -> StartTimeError:
    got = " ".join(map(str, cells))
    wanted = f"like {mapping.time_format!r}" if mapping.time_format else "in ISO 8601 (2026-01-14 23:00:00)"
    return StartTimeError(
        f"{path}, row {row}: the time must be a date and time {wanted} "
        f"in the years {YEARS[0]} to {YEARS[1]}, got {got!r:.60}.",
        remedy="Say how it is written, such as time_format='%d.%m.%Y %H:%M:%S'; "
        "name the date's column, if it stands apart, with date=...",
    )


def _too_long(path: Path) -> RecordingError:
    return RecordingError(
        f"{path}: has more than {MOST_ROWS} rows.", remedy="Cut out one night, or export a longer step."
    )


def columns_among(heads: list[str], mapping: LogMapping) -> tuple[dict[str, int], list[str]]:
    """Return the places of the columns that are among some heads, and the names of those that are not."""
    places: dict[str, int] = {}
    lacking: list[str] = []
    for key, column in mapping.named.items():
        place = place_of(column)
        if place is not None:
            places[key] = place
        elif column in heads:
            places[key] = heads.index(column)
        else:
            lacking.append(column)
    bands = {key: place for key, place in _pattern_places(heads, mapping) if key not in places}
    if mapping.band_pattern and not bands:
        lacking.append(mapping.band_pattern)
    return places | bands, lacking


def _pattern_places(heads: list[str], mapping: LogMapping) -> Iterator[tuple[str, int]]:
    if mapping.band_pattern:
        for label in map(band_label, NOMINAL_HZ):
            for written in (label, label.replace(".", ",")):
                head = mapping.band_pattern.replace("{hz}", written)
                if head in heads:
                    yield label, heads.index(head)


def check_once(path: Path, heads: list[str], mapping: LogMapping, places: dict[str, int]) -> None:
    """Refuse heads that several columns have."""
    plain = [head.strip() for head in heads]
    for key, place in places.items():
        by_place = place_of(mapping.named.get(key, "")) is not None
        if not by_place and plain.count(plain[place]) > 1:
            raise RecordingError(
                f"{path}: more than one column is called {plain[place]!r:.60}.",
                remedy=f"Give its place instead, such as {key}=#{place + 1}.",
            )


def columns_lacking(path: Path, heads: Iterable[str], lacking: Iterable[str]) -> RecordingError:
    """Return the error for columns that are not there."""
    return RecordingError(
        f"{path}: has no column {', '.join(map(repr, lacking))!s:.400}; the nearest line has "
        f"{', '.join(repr(head.strip()) for head in heads)!s:.400}.",
        remedy="Copy the heads as they stand in the file; check the separator if they hang together.",
    )


def parquet_blocks(reading: TableReading) -> Iterator[tuple[list[int], Cells]]:
    """Yield blocks of rows of a Parquet file."""
    path = reading.path
    try:
        # An open file, because the library takes no name that is not UTF-8.
        with path.open("rb") as opened, pq.ParquetFile(opened) as file:
            heads = list(file.schema_arrow.names)
            places, lacking = columns_among(heads, reading.mapping)
            if lacking or max(places.values()) >= len(heads):
                raise columns_lacking(path, heads, lacking or [f"#{max(places.values()) + 1}"])
            check_once(path, heads, reading.mapping, places)
            if file.metadata.num_rows > MOST_ROWS:
                raise _too_long(path)
            names = {key: heads[place] for key, place in places.items()}
            reading.begin(names)
            first = 1
            for batch in file.iter_batches(ROWS_TOGETHER, columns=sorted(set(names.values()))):
                cells = {key: _values(path, key, batch.column(name)) for key, name in names.items()}
                yield list(range(first, first + batch.num_rows)), cells
                first += batch.num_rows
    except pa.ArrowException as error:
        raise RecordingError(
            f"{path}: cannot be read as Parquet ({error!s:.200}).", remedy="Check the file, or give CSV."
        ) from None


def _values(path: Path, key: str, column: Any) -> list[Any]:
    kind = column.type
    plain: tuple[Callable[[Any], bool], ...] = (
        pa.types.is_floating, pa.types.is_integer, pa.types.is_decimal, pa.types.is_string,
        pa.types.is_large_string, pa.types.is_dictionary, pa.types.is_null,
    )  # fmt: skip
    if key in STAMPS:
        if pa.types.is_timestamp(kind):
            column = column.cast(pa.timestamp("us", kind.tz), safe=False)
    elif not any(fits(kind) for fits in plain):
        raise RecordingError(
            f"{path}, column of {key}: must hold numbers, got {kind}.", remedy="Name the right column."
        )
    try:
        return list(column.to_pylist())
    except (OverflowError, ValueError, LookupError) as error:
        # Instants beyond any calendar, zones that there are not, text that is none.
        raise RecordingError(
            f"{path}, column of {key}: holds what cannot be understood ({error!s:.80}).",
            remedy="Export the log again, with times as text in ISO 8601.",
        ) from None
