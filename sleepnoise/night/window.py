"""The night window: which clock hours count as night, and which instants those are."""

from dataclasses import dataclass
from datetime import time
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class NightWindow:
    """Clock hours that count as night, in the local time of the place.

    Attributes
    ----------
    start, end : time
        Local clock times; an end at or before the start means the next morning.
    zone : ZoneInfo
    """

    start: time
    end: time
    zone: ZoneInfo
