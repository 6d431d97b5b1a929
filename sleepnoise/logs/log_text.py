"""An instrument's table as text: CSV, whatever separates its cells.

What the mapping leaves open is found out where it is certain and told: the line that holds the
heads (all that were asked for), the sign that separates them, the encoding.
"""

import codecs
import csv
import itertools
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

import numpy as np

from sleepnoise.errors import RecordingError
from sleepnoise.logs.log_mapping import SEPARATORS, LogMapping, place_of
from sleepnoise.logs.log_table import (
    NO_VALUE,
    ROWS_TOGETHER,
    STAMPS,
    Cells,
    TableReading,
    check_once,
    columns_among,
    columns_lacking,
)

LONGEST_LINE = 20_000
"""Characters of a line. Chosen: a thousand columns of twenty."""

HEAD_WITHIN = 200
"""Lines in which the heads are looked for. Chosen: instruments write up to about a hundred lines before."""

UNIT_ROWS = 3
"""Rows between heads and numbers. Chosen: a unit, a weighting and a serial number."""


def text_blocks(reading: TableReading) -> Iterator[tuple[list[int], Cells]]:
    """Yield blocks of rows: their lines, and their cells by key."""
    path, mapping = reading.path, reading.mapping
    reading.encoding = mapping.encoding or _encoding_of(path)
    with path.open(encoding=reading.encoding, newline="") as file:
        lines = _bounded(path, file)
        top = list(itertools.islice(lines, HEAD_WITHIN))
        line, separator, places = _head(path, top, mapping)
        heads = next(csv.reader([top[line]], delimiter=separator)) if line >= 0 else []
        named = {
            key: heads[place] if place < len(heads) else f"#{place + 1}" for key, place in places.items()
        }
        reading.remarks.append(
            f"text: {reading.encoding}, separated by {_spoken(separator)}, heads in line {line + 1}"
        )
        reading.begin(named)
        rows = _rows(path, itertools.chain(top[line + 1 :], lines), separator, line + 1)
        rows = _without_units(reading, rows, places, HEAD_WITHIN if line < 0 else UNIT_ROWS)
        rows = _whole(path, rows, max(places.values()), len(heads))
        while block := list(itertools.islice(rows, ROWS_TOGETHER)):
            yield (
                [number for number, _ in block],
                {key: [cells[place] for _, cells in block] for key, place in places.items()},
            )


def _encoding_of(path: Path) -> str:
    """Return how the text is encoded: by its byte order mark, else UTF-8, else the old Western one."""
    with path.open("rb") as file:
        first = file.read(1 << 16)
    if first.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(first)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _bounded(path: Path, file: TextIO) -> Iterator[str]:
    for number in itertools.count(1):
        line = file.readline(LONGEST_LINE + 1)
        if not line:
            return
        if len(line) > LONGEST_LINE:
            raise RecordingError(
                f"{path}, line {number}: is longer than {LONGEST_LINE} characters; that is no table.",
                remedy="Give a CSV file with a line for each step, or Parquet with a name in .parquet.",
            )
        yield line


def _head(path: Path, top: list[str], mapping: LogMapping) -> tuple[int, str, dict[str, int]]:
    """Return the line of the heads (-1 if columns go by place alone), the separator and the places."""
    by_place = all(place_of(column) is not None for column in mapping.named.values())
    if by_place and not mapping.band_pattern:
        if mapping.separator:
            return -1, mapping.separator, columns_among([], mapping)[0]
        raise RecordingError(
            f"{path}: without heads the separator must be given.",
            remedy="Give it, such as separator=semicolon.",
        )
    nearest: tuple[int, list[str], list[str]] = (-1, [], [])
    for number, line in enumerate(top):
        for separator in [mapping.separator] if mapping.separator else SEPARATORS.values():
            heads = next(csv.reader([line], delimiter=separator), [])
            places, lacking = columns_among([head.strip() for head in heads], mapping)
            if not lacking:
                check_once(path, heads, mapping, places)
                return number, separator, places
            if len(places) > nearest[0] or (len(places) == nearest[0] and len(heads) > len(nearest[1])):
                nearest = (len(places), heads, lacking)
    raise columns_lacking(path, nearest[1], nearest[2])


def _rows(
    path: Path, lines: Iterable[str], separator: str, first_line: int
) -> Iterator[tuple[int, list[str]]]:
    """Yield line and cells of every row that is not blank."""
    reader = csv.reader(lines, delimiter=separator)
    try:
        for cells in reader:
            if any(cells):
                yield first_line + reader.line_num, cells
    except csv.Error as error:
        raise RecordingError(
            f"{path}, row {first_line + reader.line_num}: is no row of a table ({error}).",
            remedy="Look for a quotation mark that is not closed.",
        ) from None


def _whole(
    path: Path, rows: Iterable[tuple[int, list[str]]], last_place: int, heads: int
) -> Iterator[tuple[int, list[str]]]:
    """Yield rows that have all their cells; only the very last may lack some, cut off, and is dropped.

    Cells beyond the heads mean that the decimal sign separates too, and numbers have come apart.
    """
    short = 0
    for number, cells in rows:
        if short:
            raise RecordingError(
                f"{path}, row {short}: has fewer cells than the {last_place + 1} that are needed.",
                remedy="Mend the row, or export the log again.",
            )
        if heads and any(cells[heads:]):
            raise RecordingError(
                f"{path}, row {number}: has more cells than there are heads ({heads}).",
                remedy="Export with another separator than the decimal sign.",
            )
        if len(cells) > last_place:
            yield number, cells
        else:
            short = number


def _without_units(
    reading: TableReading, rows: Iterator[tuple[int, list[str]]], places: dict[str, int], most: int
) -> Iterator[tuple[int, list[str]]]:
    """Leave rows aside that hold words, such as units, before the first with levels."""
    for _ in range(most):
        row = next(rows, None)
        if row is None:
            return
        if _holds_levels(reading, row[1], places):
            yield row
            break
        left = "; ".join(cell.strip() for cell in row[1] if cell.strip())
        reading.remarks.append(f"row {row[0]} holds no levels and was left aside: {left!r:.80}")
    yield from rows


def _holds_levels(reading: TableReading, cells: list[str], places: dict[str, int]) -> bool:
    by_key = {key: cells[place].strip() if place < len(cells) else "" for key, place in places.items()}
    words = [word for key, word in by_key.items() if key not in STAMPS]
    if any(_is_number(word) for word in words):
        return True
    if not reading.mapping.time:
        return all(word.casefold() in NO_VALUE or word in reading.mapping.missing for word in words)
    try:
        reading.stamp(tuple(by_key[key] for key in ("date", "time") if key in by_key))
    except ValueError:
        return False
    return True


def _is_number(text: str) -> bool:
    try:
        return not np.isnan(float(text.replace(",", ".")))
    except ValueError:
        return False


def _spoken(separator: str) -> str:
    return next(name for name, sign in SEPARATORS.items() if sign == separator)
