"""What is wrong with a file that people write, key by key, without the validator's own jargon."""

from pydantic import ValidationError
from pydantic_core import ErrorDetails

MISTAKES_SHOWN = 10
"""Mistakes of a file that are told at once. Chosen: as many as one reads before mending the first."""

_IN_OUR_WORDS = {
    "missing": "is missing",
    "string_pattern_mismatch": "holds characters that are not allowed",
}


def explained(error: ValidationError, what: str) -> str:
    """Return every mistake as *place: what is wrong*, with a full stop.

    Parameters
    ----------
    error : ValidationError
    what : str
        What the file should be, such as ``"a calibration"``; said of keys that it does not have.

    Examples
    --------
    >>> from pydantic import BaseModel
    >>> class File(BaseModel, extra="forbid"):
    ...     level_db: float
    >>> try:
    ...     File.model_validate({"level": 3})
    ... except ValidationError as error:
    ...     explained(error, "a calibration")
    'level_db: is missing; level: is not a key of a calibration.'
    """
    mistakes = error.errors(include_url=False)
    told = [_told(mistake, what) for mistake in mistakes[:MISTAKES_SHOWN]]
    if len(mistakes) > MISTAKES_SHOWN:
        told.append(f"and {len(mistakes) - MISTAKES_SHOWN} more")
    return "; ".join(told) + "."


def _told(mistake: ErrorDetails, what: str) -> str:
    keys = [str(part + 1) if isinstance(part, int) else part for part in mistake["loc"] if part != "[key]"]
    place = " ".join(key if key.isprintable() else repr(key) for key in keys) or "file"
    message = mistake["msg"].removeprefix("Value error, ").replace("Input should", "should")
    message = _IN_OUR_WORDS.get(mistake["type"], message)
    if mistake["type"] == "extra_forbidden":
        message = f"is not a key of {what}"
    elif mistake["type"] != "missing" and isinstance(mistake["input"], str | int | float | bool):
        message = f"{message}, got {mistake['input']!r:.60}"
    return f"{place:.100}: {message:.300}"
