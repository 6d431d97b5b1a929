"""A resident's noise diary: times and words, read from a CSV file.

The heads of the columns are ``time`` and ``words``, with ``date`` if the day stands in a column
of its own; others can be named. Spreadsheets' exports are understood: byte order mark,
semicolons, dates in figures, times with am and pm. A date that can be read two ways is asked.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sleepnoise.errors import RecordingError, SettingsError, SleepNoiseError
from sleepnoise.recognition.word_table import Mistakes, Row, read_rows
from sleepnoise.recognition.written_times import RecordedNight

HEADS = {"date": "date", "time": "time", "words": "words"}
"""Heads of the columns of a diary, unless others are named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DiaryEntry:
    """One line of a diary.

    Attributes
    ----------
    line : int
        Of the file.
    time : datetime
        UTC.
    words : str
    """

    line: int
    time: datetime
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Diary:
    """What a diary says.

    Attributes
    ----------
    file : str
        Its name.
    entries : tuple of DiaryEntry
        In order of time, of whatever nights.
    remarks : tuple of str
        How it was read, in sentences.
    """

    file: str
    entries: tuple[DiaryEntry, ...]
    remarks: tuple[str, ...]


def read_diary(path: Path, night: RecordedNight, named: Mapping[str, str] | None = None) -> Diary:
    """Read a noise diary.

    Parameters
    ----------
    path : Path
        CSV; see the module.
    night : RecordedNight
        Places a time without a date: it must lie within the recording.
    named : mapping of str to str, optional
        Heads of the columns ``date``, ``time`` and ``words`` where they are others.

    Raises
    ------
    SettingsError
        If a column is named that a diary does not have.
    RecordingError
        If the file cannot be read, or has mistakes: each is named with its line.
    """
    unknown = set(named or {}) - set(HEADS)
    if unknown:
        raise SettingsError(
            f"diary columns: {', '.join(HEADS)} can be named, got {', '.join(sorted(unknown))}.",
            remedy="Name a column like time=Start.",
        )
    heads = {**HEADS, **(named or {})}
    rows = read_rows(path, heads, sorted({"time", "words", *(named or {})}, key=list(HEADS).index))
    night = night.reading_dates(map(_written, rows))
    entries, mistakes = [], Mistakes(path)
    for row in rows:
        try:
            entries.append(_entry(row, night))
        except SleepNoiseError as error:
            mistakes.note(row.line, error)
    mistakes.complain()
    if not entries:
        raise RecordingError(
            f"{path}: has no entry.", remedy="Give a diary with a line for each disturbance."
        )
    order = night.date_order
    return Diary(
        file=path.name,
        entries=tuple(sorted(entries, key=lambda entry: (entry.time, entry.line))),
        remarks=(f"{path.name}: dates in figures were read {order}.",) if order else (),
    )


def _written(row: Row) -> str:
    return f"{row.cells.get('date', '')} {row.cells['time']}".strip()


def _entry(row: Row, night: RecordedNight) -> DiaryEntry:
    if not row.cells["words"]:
        raise RecordingError("has no words.", remedy="Say what was heard.")
    return DiaryEntry(line=row.line, time=night.instant(_written(row)), words=row.cells["words"])
