"""Written files read back: the bytes of one, if they are few, and what is wrong with it, in a sentence."""

import json
import math
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError

from sleepnoise.errors import RecordingError, SettingsError

MOST_DB = 1000.0
"""Largest level or difference that is read back, either way, dB. Chosen: the energies of all that is louder
cannot be added up in double precision; no sound comes near."""

MOST_SECONDS = 1e9
"""Longest time that is read back, s. Chosen: thirty years."""


def _known_or_nan(value: Any) -> Any:
    """Return a level from its form in files: null is not known; "-Infinity" reads as the number it is."""
    return math.nan if value is None else value


def _possible(value: float) -> float:
    if math.isfinite(value) and abs(value) > MOST_DB:
        raise ValueError(f"must lie within ±{MOST_DB:g} dB, got {value:g}")
    return value


KeptNumber = Annotated[float, BeforeValidator(_known_or_nan)]
"""A number as results hold it; ``nan`` is not known, infinities are words."""

KeptDb = Annotated[float, BeforeValidator(_known_or_nan), AfterValidator(_possible)]
"""A level, or a difference of levels, as results hold it, dB; ``nan`` is not known, ``-inf`` silence."""

KeptSeconds = Annotated[float, Field(ge=0, le=MOST_SECONDS)]
"""A time as results hold it, s."""

KeptCount = Annotated[int, Field(ge=0, le=10**9)]
"""A number of things as results hold it."""


def few_bytes(path: Path, most_bytes: int, *, what: str, remedy: str) -> bytes:
    """Return what a plain file holds, unless that is too much to be what it is said to be.

    Parameters
    ----------
    path : Path
    most_bytes : int
    what, remedy : str
        What it should be, and what to do if it is not.

    Raises
    ------
    RecordingError
        If it cannot be read, is a pipe or a device, which may never end, or is larger.
    """
    try:
        if path.exists() and not path.is_file():
            raise OSError(None, "is no plain file")
        with path.open("rb") as file:
            raw = file.read(most_bytes + 1)
    except (OSError, ValueError) as error:  # ValueError: a path with a null in it.
        why = error.strerror if isinstance(error, OSError) else error
        raise RecordingError(f"{path}: cannot be read as {what} ({why}).", remedy=remedy) from None
    if len(raw) > most_bytes:
        raise RecordingError(
            f"{path}: is larger than {most_bytes / 1e6:g} MB, so this is no {what}.", remedy=remedy
        )
    return raw


def json_object(where: str, content: bytes, *, what: str, remedy: str) -> dict[str, Any]:
    """Return the object that a JSON document is.

    Parameters
    ----------
    where : str
        For complaints.
    content : bytes
    what, remedy : str
        What it should be, and what to do if it is not.

    Raises
    ------
    SettingsError
        If it is no JSON, or no object.
    """
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        raise SettingsError(f"{where}: is no JSON document.", remedy=remedy) from None
    if not isinstance(document, dict):
        raise SettingsError(f"{where}: is no {what}.", remedy=remedy)
    return document


def first_mistake(error: ValidationError) -> str:
    """Return the first mistake of a document as *place: what is wrong*.

    Examples
    --------
    >>> from pydantic import TypeAdapter
    >>> try:
    ...     TypeAdapter(dict[str, int]).validate_json('{"events": "many"}')
    ... except ValidationError as error:
    ...     first_mistake(error)
    'events: Input should be a valid integer, unable to parse string as an integer'
    """
    first = error.errors(include_url=False)[0]
    place = " ".join(str(part) for part in first["loc"]) or "file"
    return f"{place:.80}: {first['msg']:.200}"
