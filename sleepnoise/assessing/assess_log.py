"""From an instrument's own log to its record: the main job without the sound."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import timedelta, tzinfo
from pathlib import Path
from typing import Any, Literal

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.cautions import MEMORY, PRACTICE
from sleepnoise.assessing.chosen_guidelines import (
    criteria_of_guidelines,
    file_names,
    guideline_marks,
    guideline_names,
)
from sleepnoise.assessing.record import DEFAULT_WINDOW
from sleepnoise.evidence.plain import local_text, plain_value, utc_text
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.judgement.log_assessment import LogAssessment, LogStretch, assess_log
from sleepnoise.judgement.uncertainty import UncertaintyBudget, budget_for, of_meter
from sleepnoise.logs.level_log import LevelLog, read_level_log
from sleepnoise.logs.log_mapping import read_log_mapping
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

UNKNOWN_METER_CLASS: Literal[2] = 2
"""Class of a meter whose class is not said. Chosen: the lesser of the two."""

CLASS_NOT_SAID = (
    "The class of the instrument was not given; it was taken for class 2. Levels of one without a class, "
    "such as a phone, may be further off than the uncertainty says."
)
"""Said when the class was not given."""

ONE_NIGHT = (
    "The log is longer than a day. Only the night that it covers most of, the first of equals, was assessed: "
    "cut out another one to assess that."
)
"""Said of logs of several nights."""


SCHEMA = {"name": "sleepnoise/log-assessment", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""

CONVENTIONS = {
    "levels": "dB re 20 µPa, as the instrument states them",
    "null": "not known",
    "low_dB, high_dB": "between what the level lies; the same number if it is known",
    "uncertainty": "expanded, k = 2",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSettings:
    """What a user may decide about the assessment of a log.

    Attributes
    ----------
    columns : tuple of str
        Such as ``"laeq=LAeq [dB]"``; see :mod:`sleepnoise.logs.log_mapping`.
    mapping : Path or None
        TOML file of the same; *columns* win.
    zone : str or None
        IANA name of the local time zone; None is refused, for logs do not tell it.
    meter_class : {1, 2} or None
        None if it is not known.
    window : str
        Local clock hours that count as night.
    guidelines : tuple of str
        Names or files of guideline profiles; empty for all that are shipped.
    events : EventSettings
    """

    columns: tuple[str, ...] = ()
    mapping: Path | None = None
    zone: str | None = None
    meter_class: Literal[1, 2] | None = None
    window: str = DEFAULT_WINDOW
    guidelines: tuple[str, ...] = ()
    events: EventSettings = field(default_factory=EventSettings)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRecord:
    """One night from a log, assessed.

    Attributes
    ----------
    log : LevelLog
    settings : LogSettings
    guidelines : tuple of str
        Names of the guideline profiles that were used.
    budgets : tuple of UncertaintyBudget
        Of weighted levels and of low third octaves.
    assessment : LogAssessment
    cautions : tuple of str
        What a reader must be told, weightiest first.
    provenance : Provenance
    """

    log: LevelLog
    settings: LogSettings
    guidelines: tuple[str, ...]
    budgets: tuple[UncertaintyBudget, ...]
    assessment: LogAssessment
    cautions: tuple[str, ...]
    provenance: Provenance

    @property
    def meter_class(self) -> Literal[1, 2]:
        """Class that the instrument was taken for."""
        return self.settings.meter_class or UNKNOWN_METER_CLASS


def assess_log_file(path: Path, settings: LogSettings) -> LogRecord:
    """Assess one night from an instrument's log: figures, verdicts, and what cannot be known.

    Raises
    ------
    SleepNoiseError
        With a complaint and a remedy, for everything that a user can cause.
    """
    names = guideline_names(settings.guidelines)
    criteria = criteria_of_guidelines(names)
    mapping = read_log_mapping(settings.columns, settings.mapping)
    log = read_level_log(path, mapping, zone=settings.zone)
    meter = of_meter(settings.meter_class or UNKNOWN_METER_CLASS)
    budgets = budget_for(meter), budget_for(meter, "low bands")
    assessment = assess_log(
        log,
        window=NightWindow.parse(settings.window, log.zone),
        criteria=criteria,
        event_settings=settings.events,
        expanded_uncertainty_db=budgets[0].expanded_db,
        band_uncertainty_db=budgets[1].expanded_db,
    )
    return LogRecord(
        log=log,
        settings=settings,
        guidelines=file_names(names),
        budgets=budgets,
        assessment=assessment,
        cautions=_cautions(log, settings, assessment.verdicts),
        provenance=Provenance(inputs=_inputs(path, settings, names), versions=library_versions()),
    )


def _inputs(path: Path, settings: LogSettings, names: tuple[str, ...]) -> tuple[FileMark, ...]:
    mapping = () if settings.mapping is None else (file_mark(settings.mapping, "column mapping"),)
    return (file_mark(path, "level log"), *mapping, *guideline_marks(names))


def _cautions(log: LevelLog, settings: LogSettings, verdicts: Iterable[Verdict]) -> tuple[str, ...]:
    unverified = any(verdict.criterion.source.how_known == "memory" for verdict in verdicts)
    # The last of them speaks of recorded voices, of which a log has none.
    return (
        *([ONE_NIGHT] if log.end - log.start > timedelta(days=1) else []),
        *([] if settings.meter_class else [CLASS_NOT_SAID]),
        *([MEMORY] if unverified else []),
        *PRACTICE[:-1],
    )


# The document.


def log_document(record: LogRecord) -> dict[str, Any]:
    """Return the document of an assessed log as plain values, ready for JSON."""
    night = record.assessment
    zone = night.window.zone
    document = plain_value(
        {
            "schema": SCHEMA,
            "conventions": CONVENTIONS,
            "log": _log(record),
            "settings": {
                "window": record.settings.window,
                "meter_class": record.settings.meter_class,
                "guidelines": record.guidelines,
                "events": record.settings.events,
            },
            "night": {
                "end_utc": utc_text(night.end),
                "end_local": local_text(night.end, zone),
                "window_s": night.window_s,
                **_stretch(night.night, zone),
                "quarter_hours": [_stretch(stretch, zone) for stretch in night.quarter_hours],
                "hours": [_stretch(stretch, zone) for stretch in night.hours],
            },
            "uncertainty": [
                {"combined_db": budget.combined_db, "expanded_db": budget.expanded_db, **plain_value(budget)}
                for budget in record.budgets
            ],
            "verdicts": [
                {**plain_value(verdict), "verified": verdict.criterion.source.verified}
                for verdict in night.verdicts
            ],
            "events": None if night.events is None else [_event(event, zone) for event in night.events],
            "events_made_of": night.events_made_of,
            "not_known": night.not_known,
            "cautions": record.cautions,
            "inputs": record.provenance.inputs,
            "versions": record.provenance.versions,
        }
    )
    assert isinstance(document, dict)
    return document


def _log(record: LogRecord) -> dict[str, Any]:
    log = record.log
    return {
        "name": record.provenance.inputs[0].name,
        "start_utc": utc_text(log.start),
        "start_local": local_text(log.start, record.assessment.window.zone),
        "zone": log.zone,
        "step_s": log.step_s,
        "steps": log.steps,
        "columns": [SYMBOLS[name].column for name in log.columns],
        "third_octaves_hz": log.nominal_hz,
        "remarks": log.remarks,
    }


def _stretch(stretch: LogStretch, zone: tzinfo) -> dict[str, Any]:
    return {
        "start_utc": utc_text(stretch.start),
        "start_local": local_text(stretch.start, zone),
        "duration_s": stretch.seconds,
        "complete": stretch.complete,
        "figures": {
            SYMBOLS[figure.quantity].text: {
                "low_dB": figure.low_db,
                "high_dB": figure.high_db,
                "made_of": figure.made_of,
                "known_s": figure.known_s,
            }
            for figure in stretch.figures
        },
    }


def _event(event: Event, zone: tzinfo) -> dict[str, Any]:
    """Return an event under names that hold for a log, whose maximum may be that of LAeq."""
    others = plain_value(event)
    for name in ("number", "start", "first_tick", "last_tick"):
        del others[name]
    return {
        "event": event.number,
        "start_utc": utc_text(event.start),
        "start_local": local_text(event.start, zone),
        "highest_dB": others.pop(SYMBOLS["lafmax"].column),
        **others,
    }
