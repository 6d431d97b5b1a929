"""The assessment as one JSON document: every number unrounded, with what it was made from."""

from datetime import tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from sleepnoise.assessing.cautions import cautions_of
from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.plain import CONVENTIONS, local_text, named_fields, plain_value, utc_text
from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.night.events import Event
from sleepnoise.night.intervals import Interval
from sleepnoise.planning.first_plan import FirstPlan, MaskerChoice
from sleepnoise.recording.quality import QualityFlag

SCHEMA_NAME = "sleepnoise/assessment"
SCHEMA_VERSION = 1
"""Version of the document's layout. Chosen: rises whenever a reader would have to change."""


def assessment_document(record: NightRecord) -> dict[str, Any]:
    """Return the document as plain values, ready for JSON."""
    parts = {
        "schema": {"name": SCHEMA_NAME, "version": SCHEMA_VERSION},
        "conventions": CONVENTIONS,
        "recording": _recording(record),
        "calibration": record.calibration,
        "settings": _settings(record),
        "night": _night(record),
        "quality": _quality(record),
        "uncertainty": _uncertainty(record),
        "verdicts": [_verdict(verdict) for verdict in record.assessment.verdicts],
        "events": [_event(event, record.assessment.window.zone) for event in record.assessment.events],
        "sounds": _sounds(record),
        "plan": _plan(record.plan),
        "cautions": cautions_of(record),
        "inputs": record.provenance.inputs,
        "versions": record.provenance.versions,
    }
    document = plain_value(parts)
    assert isinstance(document, dict)
    return document


def _recording(record: NightRecord) -> dict[str, Any]:
    sound, start = record.sound, record.start
    return {
        "files": [
            {
                "name": mark.name,
                "sha256": mark.sha256,
                "container": part.audio.container,
                "encoding": part.audio.encoding,
                "frames": part.audio.frames,
            }
            for part, mark in zip(sound.parts, record.provenance.inputs, strict=False)
        ],
        "sample_rate_hz": sound.sample_rate_hz,
        "channels": sound.channels,
        "channel": record.settings.channel,
        "duration_s": sound.seconds,
        "remarks": record.remarks,
        "start_utc": utc_text(start.utc),
        "start_local": local_text(start.utc, ZoneInfo(start.zone)),
        "start_origin": start.origin,
        "start_uncertainty_s": start.uncertainty_s,
        "zone": start.zone,
        "zone_origin": start.zone_origin,
    }


def _settings(record: NightRecord) -> dict[str, Any]:
    return {
        "window": record.settings.window,
        "guidelines": record.guidelines,
        "events": record.settings.events,
        "plan": record.settings.plan,
    }


def _night(record: NightRecord) -> dict[str, Any]:
    night = record.assessment
    zone = night.window.zone
    return {
        "start_utc": utc_text(night.start),
        "start_local": local_text(night.start, zone),
        "end_utc": utc_text(night.end),
        "end_local": local_text(night.end, zone),
        "window_s": night.window_s,
        "statistics": night.statistics,
        "events": len(night.events),
        "event_time_s": night.event_time_s,
        "background_spectrum": night.background_spectrum,
        "quarter_hours": [_interval(interval, zone) for interval in night.quarter_hours],
        "hours": [_interval(interval, zone) for interval in night.hours],
    }


def _quality(record: NightRecord) -> dict[str, Any]:
    night = record.assessment
    return {
        "recorded_s": night.statistics.seconds,
        "missing_s": night.window_s - night.statistics.seconds,
        "left_out_s": night.statistics.left_out_s,
        "shorter_than_a_tick_s": record.history.left_over_s,
        "flags": [_flag(flag, night.window.zone) for flag in record.quality],
    }


def _flag(flag: QualityFlag, zone: tzinfo) -> dict[str, Any]:
    return {
        "kind": flag.kind,
        "start_utc": utc_text(flag.start),
        "start_local": local_text(flag.start, zone),
        "duration_s": flag.seconds,
        "effect": flag.effect,
        "what": flag.what,
    }


def _uncertainty(record: NightRecord) -> dict[str, Any]:
    return {
        "coverage_factor": 2,
        "expanded_db": record.assessment.expanded_uncertainty_db,
        "budgets": [
            {"combined_db": budget.combined_db, "expanded_db": budget.expanded_db, **named_fields(budget)}
            for budget in record.budgets
        ],
    }


def _interval(interval: Interval, zone: tzinfo) -> dict[str, Any]:
    times = {"start_utc": utc_text(interval.start), "start_local": local_text(interval.start, zone)}
    return {**times, "complete": interval.complete, **named_fields(interval.statistics)}


def _event(event: Event, zone: tzinfo) -> dict[str, Any]:
    times = {"start_utc": utc_text(event.start), "start_local": local_text(event.start, zone)}
    others = named_fields(event)
    number = others.pop("number")
    del others["start"]
    return {"event": number, **times, **others}


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {**named_fields(verdict), "verified": verdict.criterion.source.verified}


def _sounds(record: NightRecord) -> dict[str, Any]:
    sounds = record.sounds
    recognised = sounds.recognised
    return {
        "groups": [
            {**named_fields(group), "sound": {"name": group.sound.name, "label": group.sound.label}}
            for group in recognised.grouped.groups
        ],
        "singles": recognised.grouped.singles,
        "listened": recognised.grouped.listened,
        "labelled": recognised.said,
        "suggestions": recognised.suggestions,
        "speech": [
            {"event": number, **named_fields(found), "speech_like": found.speech_like}
            for number, found in recognised.speech.items()
        ],
        "own": sounds.own,
        "verdicts_without_own": [_verdict(verdict) for verdict in sounds.verdicts_without_own],
        "diary": sounds.diary,
        "background": sounds.background,
        "quiet_stretch": sounds.quiet,
        "busy_stretch": sounds.busy,
        "disturbance": sounds.disturbance,
    }


def _plan(plan: FirstPlan) -> dict[str, Any]:
    steps = {choice.step.key: choice.step for choice in plan.choices}
    return {
        "settings": plan.settings,
        "events": plan.events,
        "audible_now": plan.audible_now,
        "isolation_steps": [_step(step) for step in steps.values()],
        "choices": [_choice(choice) for choice in plan.choices],
        "best": [_choice(choice) for choice in plan.best],
    }


def _step(step: IsolationStep) -> dict[str, Any]:
    return {**named_fields(step), "verified": step.source.verified}


def _choice(choice: MaskerChoice) -> dict[str, Any]:
    others = named_fields(choice)
    others["step"] = choice.step.key
    return others
