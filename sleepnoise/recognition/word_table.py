"""Small tables that people type or a spreadsheet exports: rows by the heads of their columns.

Commas, semicolons or tabs, whatever byte order mark, and the line ``sep=;`` that spreadsheets
write are understood. Cells stay text: what looks like a formula is a text that looks like one.
"""

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sleepnoise.errors import RecordingError, SleepNoiseError
from sleepnoise.evidence.reading import few_bytes

LARGEST_BYTES = 4_000_000
"""Largest file that is read. Chosen: a line a minute for a month, a hundred characters each."""

LONGEST_CELL = 300
"""Characters of a cell that are kept. Chosen: three lines of print."""

LONGEST_HEADS = 10_000
"""Characters of the first line that are looked at. Chosen: hundreds of columns."""

MISTAKES_SHOWN = 10
"""Mistakes that a complaint names. Chosen: what fits on a screen; the rest is counted."""

_SEPARATORS = (",", ";", "\t")
_SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row that is not blank.

    Attributes
    ----------
    line : int
        In the file, from 1; the last one if the row has several.
    cells : dict of str to str
        By key, without blanks around; empty where the file has no such column.
    """

    line: int
    cells: Mapping[str, str]


def read_rows(path: Path, heads: Mapping[str, str], needed: Sequence[str]) -> tuple[Row, ...]:
    """Return the rows of a table.

    Parameters
    ----------
    path : Path
    heads : mapping of str to str
        By key, what stands at the head of its column; capitals make no difference.
    needed : sequence of str
        Keys of the columns that must be there.

    Raises
    ------
    RecordingError
        If the file cannot be read, is too large or no such table.
    """
    text = _text(path)
    chosen = _SEPARATOR_LINE.match(text)
    if chosen and chosen[1] not in (*_SEPARATORS, "|"):
        raise RecordingError(
            f"{path}, line 1: cells must be separated by commas, semicolons, tabs or |, got {chosen[1]!r}.",
            remedy="Save it as CSV with commas.",
        )
    before = 1 if chosen else 0
    text = text[chosen.end() :] if chosen else text
    first = next(iter(text.splitlines()), "")
    separators = (chosen[1],) if chosen else _SEPARATORS
    places, separator = max(
        ((_places(first, separator, heads), separator) for separator in separators),
        key=lambda pair: len(pair[0]),
    )
    lacking = [heads[key] for key in needed if key not in places]
    if lacking:
        raise RecordingError(
            f"{path}, line {before + 1}: must have the heads {', '.join(heads[key] for key in needed)}; "
            f"lacking {', '.join(lacking)}, got {cleaned(first) or 'nothing'!r}.",
            remedy="Write them in the first line, separated by commas, semicolons or tabs.",
        )
    return tuple(_rows(path, text, separator, places, before))


def _text(path: Path) -> str:
    raw = few_bytes(path, LARGEST_BYTES, what="table", remedy="Give a CSV file with the rows of this night.")
    encodings = ("utf-16",) if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise RecordingError(f"{path}: is no text.", remedy="Save it as CSV, UTF-8.")


def _places(line: str, separator: str, heads: Mapping[str, str]) -> dict[str, int]:
    """Return the places of the columns that a line has heads for."""
    # Heads that matter are short: the rest of a line without end need not be split.
    cells = next(csv.reader([line[:LONGEST_HEADS]], delimiter=separator), [])
    found = [head.strip().casefold() for head in cells]
    return {key: found.index(head.casefold()) for key, head in heads.items() if head.casefold() in found}


def _rows(path: Path, text: str, separator: str, places: Mapping[str, int], before: int) -> Iterable[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for number, cells in enumerate(reader):
            if number and any(cell.strip() for cell in cells):
                by_key = {
                    key: cleaned(cells[place]) if place < len(cells) else "" for key, place in places.items()
                }
                yield Row(line=before + reader.line_num, cells=by_key)
    except csv.Error as error:
        raise RecordingError(
            f"{path}, line {before + reader.line_num}: is no row of a table ({error}).",
            remedy="Look for a quotation mark that is not closed.",
        ) from None


def cleaned(cell: str) -> str:
    """Return a cell on one line, without what a terminal could take for a command."""
    visible = (" " if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp") else sign for sign in cell)
    return " ".join("".join(visible).split())[:LONGEST_CELL]


class Mistakes:
    """Every mistake of a file, named with its line, complained about all at once."""

    def __init__(self, path: Path) -> None:
        self._path, self._found = path, list[tuple[str, str]]()

    def note(self, line: int, error: SleepNoiseError) -> None:
        """Remember what is wrong with a line."""
        self._found.append((f"line {line}: {error.complaint}", error.remedy))

    def complain(self) -> None:
        """Raise ``RecordingError`` if there was any mistake."""
        if not self._found:
            return
        told = [complaint for complaint, _ in self._found[:MISTAKES_SHOWN]]
        if len(self._found) > MISTAKES_SHOWN:
            told.append(f"and {len(self._found) - MISTAKES_SHOWN} more.")
        remedies = dict.fromkeys(remedy for _, remedy in self._found[:MISTAKES_SHOWN] if remedy)
        raise RecordingError(f"{self._path}, " + "\n".join(told), remedy=" ".join(remedies))
