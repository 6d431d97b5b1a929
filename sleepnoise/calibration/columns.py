"""Small text files that people write: rows of two numbers, with remarks between them.

Numbers are separated by semicolons, tabs, commas or spaces, one kind in a row; beside
semicolons and tabs a comma may stand for the decimal point.
"""

import math
import re
from dataclasses import dataclass
from pathlib import Path
from stat import S_ISREG

from sleepnoise.errors import CalibrationError

LARGEST_BYTES = 1_000_000
"""Largest file taken. Chosen: a response in steps of 1 Hz to 20 kHz has a third of it."""

REMARK_SIGNS = ("#", ";", "*", "/", "%", "!")
"""A line that begins with one of these is a remark, anywhere in a file."""

_BEGINS_LIKE_A_NUMBER = re.compile(r"[-+]?\.?\d", re.ASCII)
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file, counted from 1, and its numbers."""

    line: int
    numbers: tuple[float, ...]


def read_text(path: Path, what: str) -> str:
    """Return the text of a small regular file.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, for the complaint.

    Raises
    ------
    CalibrationError
        If there is no such file, or it is too large or no text.
    """
    try:
        if not S_ISREG(path.stat().st_mode):
            raise CalibrationError(f"{path}: is no file, so no {what}.", remedy="Check the path.")
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, CalibrationError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise CalibrationError(
            f"{path}: cannot be read as {what} ({reason}).", remedy="Check the path."
        ) from None
    if len(raw) > LARGEST_BYTES:
        raise CalibrationError(
            f"{path}: is larger than {LARGEST_BYTES / 1e6:g} MB, so no {what}.", remedy="Give the right file."
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CalibrationError(f"{path}: is not UTF-8 text.", remedy="Save it as UTF-8.") from None


def read_columns(path: Path, what: str) -> tuple[str, list[Row]]:
    """Return the heading, and the rows of numbers, of a small text file.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, for complaints.

    Returns
    -------
    heading : str
        The last line before the numbers that is no remark; empty if there is none.
    rows : list of Row

    Raises
    ------
    CalibrationError
        If it cannot be read, or a line after the first row is neither numbers nor a remark.
    """
    heading = ""
    rows: list[Row] = []
    for line, text in enumerate(read_text(path, what).splitlines(), start=1):
        text = text.strip()
        if not text or text.startswith(REMARK_SIGNS):
            continue
        if rows or _BEGINS_LIKE_A_NUMBER.match(text):
            rows.append(Row(line, _numbers(path, line, text)))
        else:
            heading = text
    return heading, rows


def _numbers(path: Path, line: int, text: str) -> tuple[float, ...]:
    separator = next((sign for sign in (";", "\t", ",") if sign in text), None)
    parts = [part.strip() for part in text.split(separator)]
    if separator in (";", "\t"):
        parts = [part.replace(",", ".") for part in parts]
    if not all(_NUMBER.fullmatch(part) and math.isfinite(float(part)) for part in parts):
        raise CalibrationError(
            f"{path}, line {line}: numbers are needed, got {text!r:.60}.",
            remedy="Write one pair of numbers a line, and # before a remark.",
        )
    if separator == "," and len(parts) != 2:
        raise CalibrationError(
            f"{path}, line {line}: commas must separate two numbers, got {text!r:.60}.",
            remedy="If commas are decimal points, separate the numbers by semicolons or tabs.",
        )
    return tuple(float(part) for part in parts)
