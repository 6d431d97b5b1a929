"""Start times: when a recording began, in which zone, and where both came from."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class StartTime:
    """When a recording began.

    Attributes
    ----------
    utc : datetime
        Instant of the first sample, in UTC.
    zone : str
        IANA name of the zone that people at the place live in.
    origin, zone_origin : str
        Where each came from, for people.
    """

    utc: datetime
    zone: str
    origin: str
    zone_origin: str
