"""Labels that people give: what a stretch of the night, or a group of alike sounds, is, and whose.

A CSV file with the heads ``start,end,label`` and, if wanted, ``whose`` and ``group``. A row
names either a stretch of time or a group; one label given to a group holds for all its events.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import get_args

from sleepnoise.errors import RecordingError, SleepNoiseError
from sleepnoise.recognition.groups import Whose
from sleepnoise.recognition.word_table import Mistakes, Row, read_rows
from sleepnoise.recognition.written_times import RecordedNight

HEADS = {"start": "start", "end": "end", "label": "label", "whose": "whose", "group": "group"}
"""Heads of the columns of a labels file."""

OWN_WORDS: dict[Whose, re.Pattern[str]] = {
    "sleeper": re.compile(
        r"(?:own |my )?(?:turn(?:s|ed|ing)?(?: over)?|cough(?:s|ed|ing)?|sneez(?:e|es|ed|ing)"
        r"|snor(?:e|es|ed|ing)|breath(?:e|es|ing)?)",
        re.IGNORECASE,
    ),
    "room": re.compile(
        r"(?:own |my |the )?(?:alarm )?clock(?: ticks| ticking)?|clock tick|ticking", re.IGNORECASE
    ),
}
"""Labels that tell by themselves whose a sound is: the whole label, so that a neighbour's cough is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanLabel:
    """What somebody says a stretch of time was.

    Attributes
    ----------
    start, end : datetime
        UTC.
    label : str
    whose : Whose
    line : int
        Of the file.
    """

    start: datetime
    end: datetime
    label: str
    whose: Whose
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupLabel:
    """What somebody says a group of alike sounds is; attributes as for :class:`SpanLabel`."""

    group: str
    label: str
    whose: Whose
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """What a labels file says.

    Attributes
    ----------
    file : str
        Its name.
    spans : tuple of SpanLabel
        Those that touch the recording, in order of time.
    groups : tuple of GroupLabel
    other_nights : int
        Spans of other nights, left aside.
    remarks : tuple of str
        What to know of how it was read, in sentences.
    """

    file: str
    spans: tuple[SpanLabel, ...]
    groups: tuple[GroupLabel, ...]
    other_nights: int
    remarks: tuple[str, ...]


def read_labels(path: Path, night: RecordedNight) -> Labels:
    """Read a labels file.

    Parameters
    ----------
    path : Path
        CSV; see the module.
    night : RecordedNight

    Raises
    ------
    RecordingError
        If it cannot be read, or has mistakes: each is named with its line.
    """
    spans: list[SpanLabel] = []
    groups: list[GroupLabel] = []
    mistakes = Mistakes(path)
    rows = read_rows(path, HEADS, ("start", "end", "label"))
    night = night.reading_dates([row.cells[key] for row in rows for key in ("start", "end")])
    for row in rows:
        try:
            if row.cells.get("group"):
                groups.append(_group_label(row))
            else:
                spans.append(_span_label(row, night))
        except SleepNoiseError as error:
            mistakes.note(row.line, error)
    mistakes.complain()
    touching = sorted(
        (span for span in spans if span.start < night.end and span.end > night.start),
        key=lambda span: (span.start, span.end, span.line),
    )
    return Labels(
        file=path.name,
        spans=tuple(touching),
        groups=tuple(groups),
        other_nights=len(spans) - len(touching),
        remarks=_remarks(path, night, [*spans, *groups], rows),
    )


def whose_by_label(label: str) -> Whose:
    """Return whose a sound is if its label alone tells; nothing otherwise.

    Examples
    --------
    >>> whose_by_label("Snoring"), whose_by_label("neighbour snoring")
    ('sleeper', '')
    """
    return next((whose for whose, words in OWN_WORDS.items() if words.fullmatch(label)), "")


def _label_and_whose(row: Row) -> tuple[str, Whose]:
    label, said = row.cells["label"], row.cells.get("whose", "").casefold()
    if not label:
        raise RecordingError("has no label.", remedy="Say what the sound is.")
    for whose in get_args(Whose):
        if said and said == whose:
            return label, whose
    if said:
        raise RecordingError(
            f"whose must be outside, room or sleeper, or stay empty, got {said!r:.60}.",
            remedy="Write sleeper or room for what must not count.",
        )
    return label, whose_by_label(label)


def _group_label(row: Row) -> GroupLabel:
    if row.cells["start"] or row.cells["end"]:
        raise RecordingError(
            "names a group and a time; one of them is allowed.",
            remedy="Leave start and end empty to label a group, or group to label a stretch of time.",
        )
    label, whose = _label_and_whose(row)
    return GroupLabel(group=row.cells["group"], label=label, whose=whose, line=row.line)


def _span_label(row: Row, night: RecordedNight) -> SpanLabel:
    start, end = night.span(row.cells["start"], row.cells["end"])
    label, whose = _label_and_whose(row)
    return SpanLabel(start=start, end=end, label=label, whose=whose, line=row.line)


def _remarks(
    path: Path, night: RecordedNight, labels: list[SpanLabel | GroupLabel], rows: tuple[Row, ...]
) -> tuple[str, ...]:
    said_by_line = {row.line: row.cells.get("whose", "") for row in rows}
    taken = sorted({each.label for each in labels if each.whose and not said_by_line[each.line]})
    open_ = sorted({each.label for each in labels if not each.whose})
    remarks = []
    if night.date_order:
        remarks.append(f"{path.name}: dates in figures were read {night.date_order}.")
    if taken:
        remarks.append(
            f"{path.name}: taken for the sleeper's or the room's own by their label: {', '.join(taken)}."
        )
    if open_:
        remarks.append(f"{path.name}: does not say whose, so counted as before: {', '.join(open_)}.")
    return tuple(remarks)
