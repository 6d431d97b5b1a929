"""The numbers of a night for the page's script: compact, and the same as in its tables.

Levels are whole hundredths of a decibel; neighbours differ little, so differences are stored,
low bytes first and high bytes after them, which halves what zlib makes of it. ``null`` is *not
known* and the string ``"-Infinity"`` is silence, as in the documents.
"""

import base64
import json
import zlib
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.decibels import energy
from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.plain import local_text, plain_value
from sleepnoise.hearing.audibility import EAR_NOISE_DB, LIMIT_DB, MODEL_BANDS_HZ, on_model_bands
from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.hundredths import hundredths
from sleepnoise.masking.limits import HARD_CAP_DBA, LOWEST_LEVEL_DBA
from sleepnoise.masking.masker import SHAPED, masker_shapes
from sleepnoise.night.events import Event
from sleepnoise.planning.first_plan import FirstPlan, heard_events
from sleepnoise.recording.quality import QualityFlag
from sleepnoise.report.band_map import band_map, palette
from sleepnoise.report.clips import Clips
from sleepnoise.report.naming_data import naming_data, said_of_event
from sleepnoise.report.night_trace import drawn_levels, published_values
from sleepnoise.wording.masking_words import shape_text
from sleepnoise.wording.rounding import clock_text, duration_text, level_text, signed_text, unit_text

PAGE_EVENTS = 1000
"""Events that the page can show one by one. Chosen: their spectra take 0.3 MB; events.csv has them all."""

MAP_COLUMNS = 15_000
"""Columns of the map that can be zoomed. Chosen: 2 s each in a night of 8 h, 0.2 MB."""

MAP_STEPS = 2
"""Steps of the map in a decibel. Chosen: finer than an eye can tell apart by colour."""


def page_data(record: NightRecord, clips: Clips | None = None) -> str:
    """Return what the page's script needs, as JSON that may stand in a page."""
    history, night = record.history, record.assessment
    events = night.events[:PAGE_EVENTS]
    shown = drawn_levels(record)
    parts = {
        "start_ms": 1000 * history.start.timestamp(),
        "ticks": history.ticks,
        "offsets": _offsets(record),
        "unit": unit_text(night),
        "absolute": night.absolute,
        "scale_db": list(shown.range_db),
        "night": [history.tick_of(night.start), history.tick_of(night.end)],
        "highest": packed(hundredths(shown.highest)),
        "lowest": packed(hundredths(shown.lowest)),
        "left_out": _runs(history.left_out),
        "values": [list(value) for value in published_values(record)],
        "quarter_hours": [
            [history.tick_of(each.start), each.statistics.seconds, each.statistics.laeq, each.statistics.la90]
            for each in night.quarter_hours
        ],
        "map": _map(history),
        "band_names": [band_label(nominal) for nominal in history.nominal_hz],
        "events": [_event(event, record) for event in events],
        **naming_data(record, events),
        "clips": {} if clips is None else clips.addresses,
        "clips_blurred": [] if clips is None else clips.blurred,
        "clips_note": "" if clips is None else clips.note,
        "events_found": len(night.events),
        "faults": [_fault(history, flag) for flag in record.quality],
        "night_energy": _energies(record, events),
        "model": _model(record.plan, events),
    }  # fmt: skip
    # Not even a text in quotes may end the element that holds it.
    return json.dumps(plain_value(parts), ensure_ascii=False, allow_nan=False, separators=(",", ":")).replace(
        "<", "\\u003c"
    )


def packed(values: NDArray[np.int16]) -> str:
    """Return 16-bit values as text: their differences, low bytes then high bytes, deflated, in base 64."""
    differences = np.diff(values, prepend=np.int16(0)).astype("<i2")
    planes = differences.view(np.uint8).reshape(-1, 2).T
    return _deflated(planes.tobytes())


def _deflated(content: bytes) -> str:
    return base64.b64encode(zlib.compress(content)).decode()


def _float32(values: ArrayLike) -> str:
    return _deflated(np.asarray(values, dtype="<f4").tobytes())


def _offsets(record: NightRecord) -> list[list[float]]:
    """Return from when on local time is how far from UTC: ms since 1970, and ms."""
    history, zone = record.history, record.assessment.window.zone
    found: list[list[float]] = []
    instant = history.start.replace(second=0, microsecond=0)
    while instant <= history.end:
        offset = instant.astimezone(zone).utcoffset() or timedelta(0)
        if not found or found[-1][1] != 1000 * offset.total_seconds():
            found.append([1000 * instant.timestamp(), 1000 * offset.total_seconds()])
        instant += timedelta(minutes=1)
    return found


def _runs(mask: NDArray[np.bool_]) -> list[list[int]]:
    changes = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    return [[int(first), int(last)] for first, last in changes.reshape(-1, 2)]


def _map(history: LevelHistory) -> dict[str, Any]:
    drawn = band_map(history, MAP_COLUMNS)
    # 0 is not known; 1 is silence or whatever lies below the scale.
    steps = np.rint((drawn.levels_db - drawn.low_db) * MAP_STEPS) + 1
    steps = np.where(np.isnan(drawn.levels_db), 0, np.clip(np.nan_to_num(steps, neginf=1), 1, 255))
    return {
        "ticks_each": drawn.ticks_each,
        "low_db": drawn.low_db,
        "high_db": drawn.high_db,
        "steps": MAP_STEPS,
        "columns": drawn.levels_db.shape[1],
        "levels": _deflated(steps.astype(np.uint8).tobytes()),
        "colours": palette().tolist(),
    }


def _event(event: Event, record: NightRecord) -> dict[str, Any]:
    zone = record.assessment.window.zone
    end = event.start + timedelta(seconds=event.duration_s)
    levels = [
        [symbol, level_text(value)]
        for symbol, value in (
            ("LAFmax", event.lafmax), ("LASmax", event.lasmax), ("LAE", event.lae),
            ("LCpeak", event.lcpeak), ("LA90 before", event.background_la90),
        )
    ]  # fmt: skip
    return {
        "number": event.number,
        "first": event.first_tick,
        "last": event.last_tick,
        "start": local_text(event.start, zone),
        "end": local_text(end, zone),
        "clock": clock_text(event.start, zone, seconds=True),
        "facts": [
            ["Lasts", duration_text(event.duration_s)],
            *levels,
            ["LAFmax over LA90", signed_text(event.emergence_db)],
        ],
        "lafmax": event.lafmax,
        "flags": list(event.flags),
        "group": event.group,
        **said_of_event(event, record),
        "highest": event.max_spectrum.levels_db.tolist(),
        "ground": event.background_spectrum.levels_db.tolist(),
    }


def _fault(history: LevelHistory, flag: QualityFlag) -> list[Any]:
    first = history.tick_of(flag.start)
    return [first, max(history.tick_of(flag.end), first + 1), f"{flag.kind}, {flag.effect}"]


def _energies(record: NightRecord, events: tuple[Event, ...]) -> dict[str, Any]:
    """Return usable ticks and their energy, of the night and of each event's part of it."""
    history, night = record.history, record.assessment
    first, last = history.tick_of(night.start), history.tick_of(night.end)
    used = ~history.left_out & ~np.isnan(history.laeq)
    heard = np.where(used, energy(history.laeq), 0.0)
    spans = [(event.first_tick, min(event.last_tick, last)) for event in events]
    return {
        "ticks": int(used[first:last].sum()),
        "energy": float(heard[first:last].sum()),
        "event_ticks": [int(used[begin:end].sum()) for begin, end in spans],
        "event_energy": [float(heard[begin:end].sum()) for begin, end in spans],
    }


def _model(plan: FirstPlan, events: tuple[Event, ...]) -> dict[str, Any]:
    """Return what hides and what is heard, on the bands of the audibility model."""
    signal_db, background_db = heard_events(events)
    shapes = [[shape_text(shape.name), shape.spectrum.levels_db.tolist()] for shape in masker_shapes()]
    fitted = [choice for choice in plan.choices if choice.shape == SHAPED and np.isfinite(choice.level_dba)]
    if fitted:
        best = min(fitted, key=lambda choice: (choice.audible_events, choice.level_dba))
        levels_db = best.spectrum.levels_db - best.level_dba
        shapes.append([f"{SHAPED}, behind “{best.step.title}”", levels_db.tolist()])
    # Even losses have a slider of their own.
    steps = {
        choice.step.key: choice.step for choice in plan.choices if not choice.step.key.startswith("even-")
    }
    return {
        "bands": len(MODEL_BANDS_HZ),
        "limit_db": LIMIT_DB.tolist(),
        "ear_noise_db": EAR_NOISE_DB.tolist(),
        "signal_db": _float32(signal_db),
        "background_db": _float32(background_db),
        "shapes": shapes,
        "steps": [[step.title, on_model_bands(step.loss).tolist()] for step in steps.values()],
        "margin_db": plan.settings.margin_db,
        "lowest_dba": LOWEST_LEVEL_DBA,
        "cap_dba": plan.settings.cap_dba,
        "hard_cap_dba": HARD_CAP_DBA,
    }
