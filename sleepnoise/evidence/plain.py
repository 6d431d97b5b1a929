"""Values as plain data for JSON: every number unrounded, under its name in files.

JSON knows neither of the two special levels. *Not known* (nan) is written as ``null``;
silence, or no masker (-inf), as the string ``"-Infinity"``, which number parsers of common
languages turn back into the very value. Documents say so themselves under ``conventions``.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.levels.statistics import PERCENTILE_CONVENTION

CONVENTIONS = {
    "levels": "dB re 20 µPa; dB re full scale where calibration.absolute is false",
    "null": "not known",
    "-Infinity": "digital silence; for a masker: none",
    "levels exceeded N % of the time": PERCENTILE_CONVENTION,
    "third octaves": "unweighted, by nominal mid-band frequency",
    "uncertainty": "expanded, k = 2",
}


def utc_text(instant: datetime) -> str:
    """Return an instant in UTC, ISO 8601 with offset, to the millisecond."""
    return instant.astimezone(UTC).isoformat(timespec="milliseconds")


def local_text(instant: datetime, zone: tzinfo) -> str:
    """Return an instant in local time, ISO 8601 with offset, to the millisecond."""
    return instant.astimezone(zone).isoformat(timespec="milliseconds")


def document_text(document: Mapping[str, Any]) -> str:
    """Return a document as JSON text; the same document gives the same bytes."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


RENAMED = {"background_la90": "background_LA90_dB", "seconds": "duration_s"}
"""Fields whose name in files is neither their own nor a symbol's."""


def named_fields(thing: Any) -> dict[str, Any]:
    """Return the fields of a dataclass by their names in files: ``laeq`` is ``LAeq_dB`` there."""
    named = {}
    for field in fields(thing):
        name = SYMBOLS[field.name].column if field.name in SYMBOLS else field.name
        named[RENAMED.get(name, name)] = getattr(thing, field.name)
    return named


def plain_value(value: Any) -> Any:
    """Return a value as JSON knows it."""
    if isinstance(value, Mapping):
        return {str(key): plain_value(part) for key, part in value.items()}
    if isinstance(value, Spectrum):
        return {"nominal_hz": list(value.nominal_hz), "levels_db": plain_value(value.levels_db.tolist())}
    if is_dataclass(value):
        return plain_value(named_fields(value))
    if isinstance(value, np.ndarray):
        return plain_value(value.tolist())
    if isinstance(value, list | tuple):
        return [plain_value(part) for part in value]
    if isinstance(value, float | np.floating):
        return _number(float(value))
    if isinstance(value, np.integer):
        return int(value)
    return _text(value)


def _number(value: float) -> float | str | None:
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "Infinity" if value > 0 else "-Infinity"
    return value


def _text(value: Any) -> Any:
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, datetime):
        return utc_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, ZoneInfo):
        return value.key
    text = value.name if isinstance(value, Path) else value
    # A file's name need not be text; whatever is written has to be.
    return text.encode("utf-8", "backslashreplace").decode() if isinstance(text, str) else text
