"""Bedrooms for a survey: what assess-many left in its ledger, and dossiers, as lines of the same tables."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.casework.dossier import Dossier, kept_content, read_dossier
from sleepnoise.casework.journal import JOURNAL
from sleepnoise.casework.night_results import is_assessed, result_folder
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.portfolio.ledger import Entry, Outcome, Row, entries
from sleepnoise.portfolio.ranking import PlannedBedroom, planned_bedroom
from sleepnoise.portfolio.tables import LEVELS


@dataclass(frozen=True, slots=True, kw_only=True)
class Bedrooms:
    """What there is to survey.

    Attributes
    ----------
    entries : tuple of Entry
        One for each night: finished, with its lines, or failed, with its complaint.
    plans : tuple of PlannedBedroom
        The latest plan of each dossier that keeps one.
    """

    entries: tuple[Entry, ...]
    plans: tuple[PlannedBedroom, ...]


def bedrooms_in(folders: Iterable[Path]) -> Bedrooms:
    """Return what there is to survey in folders of results, dossiers, and folders of dossiers.

    Raises
    ------
    SleepNoiseError
        If a folder is none of them, two bedrooms have one name, or something kept cannot be read.
    """
    found: dict[str, Path] = {}
    lines: list[Entry] = []
    plans: list[PlannedBedroom] = []
    for folder in folders:
        if (folder / "ledger").is_dir():
            own = list(entries(folder))
            _claim(found, {entry.outcome.bedroom: folder for entry in own})
            lines += own
            continue
        for root in _dossiers(folder):
            dossier = read_dossier(root)
            _claim(found, {dossier.about.title: root})
            lines += _entries(dossier)
            plans += _plans(dossier)
    return Bedrooms(entries=tuple(lines), plans=tuple(plans))


def _claim(found: dict[str, Path], names: Mapping[str, Path]) -> None:
    for name, place in names.items():
        if name in found:
            raise SettingsError(
                f"{place}: its bedroom is called {name!r:.80}, and so is that of {found[name]}.",
                remedy="Survey one of them, or give a dossier another title in dossier.toml.",
            )
        found[name] = place


def _dossiers(folder: Path) -> list[Path]:
    try:
        inside = sorted(folder.iterdir())
    except OSError as error:
        raise RecordingError(
            f"{folder}: cannot be read as a folder ({error.strerror}).", remedy="Check the path."
        ) from None
    roots = (
        [folder] if (folder / JOURNAL).is_file() else [each for each in inside if (each / JOURNAL).is_file()]
    )
    if not roots:
        raise RecordingError(
            f"{folder}: holds neither results of assess-many nor a dossier.",
            remedy="Name the folder that assess-many wrote, a dossier, or a folder of dossiers.",
        )
    return roots


def _entries(dossier: Dossier) -> Iterator[Entry]:
    for night in dossier.nights:
        name: dict[str, Any] = {"bedroom": dossier.about.title, "night": night.name}
        if is_assessed(dossier, night):
            folder = result_folder(dossier, night)
            yield Entry(
                outcome=Outcome(**name, state="finished"),
                fingerprint=folder.name,
                rows=_rows(dossier, folder / "assessment.json"),
            )
        else:
            complaint = f"{night.folder}: is not assessed as things stand."
            remedy = "Run 'dossier assess'."
            yield Entry(outcome=Outcome(**name, state="failed", complaint=complaint, remedy=remedy))


def _rows(dossier: Dossier, path: Path) -> dict[str, list[Row]]:
    content = kept_content(dossier, path)
    try:
        return rows_of_document(json.loads(content))
    except (ValueError, LookupError, TypeError) as error:
        raise RecordingError(
            f"{path}: is no assessment that can be read ({type(error).__name__}: {error!s:.80}).",
            remedy="Assess the night again.",
        ) from None


def _plans(dossier: Dossier) -> Iterator[PlannedBedroom]:
    kept = dossier.papers("plan")
    if kept:
        kept_content(dossier, kept[-1])
        yield planned_bedroom(dossier.about.title, kept[-1])


def rows_of_document(document: Mapping[str, Any]) -> dict[str, list[Row]]:
    """Return the lines of each table for a night, from the document of its assessment."""
    return {
        "nights": [_night(document)],
        "events": [_picked(event, EVENT) for event in document["events"]],
        "verdicts": [_verdict(verdict) for verdict in document["verdicts"]],
    }


EVENT = (
    "event", "start_utc", "duration_s", "LAFmax_dB", "LAE_dB", "background_LA90_dB", "group", "label",
)  # fmt: skip
"""What a table tells of an event, by the same names as the document."""


def _picked(part: Mapping[str, Any], names: Sequence[str]) -> Row:
    return {name: part[name] for name in names}


def _night(document: Mapping[str, Any]) -> Row:
    night, quality = document["night"], document["quality"]
    return {
        **_picked(night, ("start_utc", "end_utc", "window_s", "events", "event_time_s")),
        **_picked(quality, ("recorded_s", "left_out_s")),
        **_picked(night["statistics"], [SYMBOLS[name].column for name in LEVELS]),
        "zone": document["recording"]["zone"],
        "absolute": document["calibration"]["absolute"],
        "uncertainty_dB": document["uncertainty"]["expanded_db"],
    }


def _verdict(verdict: Mapping[str, Any]) -> Row:
    criterion = verdict["criterion"]
    return {
        "criterion": criterion["id"],
        **_picked(criterion, ("guideline", "title", "quantity")),
        **_picked(verdict, ("word", "verified", "count")),
        "measured_dB": verdict["measured_db"],
        "margin_dB": verdict["margin_db"],
        "uncertainty_dB": verdict["uncertainty_db"],
    }
