"""What single entries of a profile file may be: printable and bounded texts, names, bands, numbers.

Files may come from strangers: what is printed to a terminal or a page must not be able to steer it.
"""

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label

FURNISHING_WORDS = (
    "furnishing (furnished; up to 35 m³ also kitchen or bathroom; empty, by the letters of ISO 10052: "
    "a to h, a+e, b+f, c+g or d+h)"
)
"""The key for how a room is furnished, and what it may be, for complaints."""

HZ_BY_NAME = {band_label(hz): hz for hz in NOMINAL_HZ}


def _printable(text: str) -> str:
    # What is printed to a terminal or a page must not be able to steer it.
    if not text.replace("\n", "").isprintable():
        raise ValueError("must not hold control characters")
    return text


def matching(pattern: str, complaint: str) -> AfterValidator:
    """Return a check that a text matches a pattern as a whole."""

    def check(text: str) -> str:
        if not re.fullmatch(pattern, text, re.ASCII | re.DOTALL):
            raise ValueError(complaint)
        return text

    return AfterValidator(check)


def _band(name: str) -> str:
    if name not in HZ_BY_NAME:
        raise ValueError('must be a nominal third-octave frequency from "20" to "20000"')
    return name


Note = Annotated[str, Field(max_length=2000), AfterValidator(_printable)]
Text = Annotated[Note, matching(r".*\S.*", "must not be empty")]
Url = Annotated[
    str, Field(max_length=500), matching(r"(https?://[!#-;=?-~]+)?", "must be a web address, http(s)://...")
]
Id = Annotated[str, matching(r"[a-z0-9_-]{1,60}", "must be 1 to 60 small letters, digits, - and _")]
Clock = Annotated[str, matching(r"([01]\d|2[0-3]):[0-5]\d", "must be a clock time such as 23:00")]
Band = Annotated[str, AfterValidator(_band)]
Level = Annotated[float, Field(ge=-50, le=150)]
Loss = Annotated[float, Field(ge=-20, le=100)]
Count = Annotated[int, Field(ge=0, le=1000)]


class Entry(BaseModel):
    """A table of a file: every key known, strict types, nothing infinite."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def by_hz(levels: dict[str, float]) -> dict[float, float]:
    """Return band values by nominal frequency, Hz, rising."""
    return {HZ_BY_NAME[name]: levels[name] for name in sorted(levels, key=HZ_BY_NAME.__getitem__)}
