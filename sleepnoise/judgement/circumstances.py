"""Circumstances: what one recording cannot tell about a night, and what somebody said of it.

Nothing here is ever guessed. What is not said stays unknown, and a verdict that needs it says so.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from sleepnoise.errors import SettingsError
from sleepnoise.night.window import NightWindow
from sleepnoise.profiles.guideline import Adjustment, Heard, SourceKind, Windows

Span = tuple[datetime, datetime]
"""A stretch of time between two instants, UTC."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLevel:
    """A level that was measured by other means.

    Attributes
    ----------
    level_db : float, dB
    uncertainty_db : float, dB
        Expanded (k = 2).
    """

    level_db: float
    uncertainty_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What somebody said of a night.

    Attributes
    ----------
    source_kind : SourceKind or None
        What made the sound that the night is judged for.
    windows : {"open", "closed"} or None
    heard : tuple of Heard or None
        What a listener heard in that sound; empty if neither a tone nor music. None if nobody listened.
    adjustments_db : mapping of Adjustment to float, dB
        What has to be added for the sound's character; zero is an answer too.
    source_on, source_off : tuple of Span
        When the source was heard at work, and when it was silent and all else as usual.
    residual : StatedLevel or None
        LAeq with the source off, in place of ``source_off``.
    underlying : StatedLevel or None
        Underlying level, measured as the document has it.

    Raises
    ------
    SettingsError
        If statements contradict each other.
    """

    source_kind: SourceKind | None = None
    windows: Windows | None = None
    heard: tuple[Heard, ...] | None = None
    adjustments_db: Mapping[Adjustment, float] = field(default_factory=dict)
    source_on: tuple[Span, ...] = ()
    source_off: tuple[Span, ...] = ()
    residual: StatedLevel | None = None
    underlying: StatedLevel | None = None

    def __post_init__(self) -> None:
        if self.residual is not None and self.source_off:
            raise SettingsError(
                "circumstances: a residual level and times with the source off must not both be given.",
                remedy="Give the one that describes the residual sound of this night.",
            )
        spans = sorted((*self.source_on, *self.source_off))
        if any(end <= start for start, end in spans) or any(a[1] > b[0] for a, b in pairwise(spans)):
            raise SettingsError(
                "circumstances: times with the source on and off must each end after they start and not "
                "overlap.",
                remedy="Correct the times; a stretch counts as on or as off, and once.",
            )


NOTHING_SAID = Circumstances()
"""The circumstances of a night of which nobody said anything."""


def clock_spans(texts: Iterable[str], zone: ZoneInfo, recorded: Span) -> tuple[Span, ...]:
    """Return the stretches that clock times such as ``"23:10-23:45"`` stand for within a recording.

    Parameters
    ----------
    texts : iterable of str
        Two clock times each; the second may lie after midnight.
    zone : ZoneInfo
    recorded : Span
        Start and end of the recording, UTC.

    Raises
    ------
    SettingsError
        If a text is no pair of clock times, or one of them comes twice because clocks go back.
    StartTimeError
        If a stretch lies outside the recording.

    Examples
    --------
    >>> from datetime import UTC
    >>> night = (datetime(2026, 1, 14, 22, tzinfo=UTC), datetime(2026, 1, 15, 6, tzinfo=UTC))
    >>> [(on, off)] = clock_spans(["23:50-00:10"], ZoneInfo("Europe/Vienna"), night)
    >>> on.isoformat(), off.isoformat()
    ('2026-01-14T22:50:00+00:00', '2026-01-14T23:10:00+00:00')
    """
    spans = []
    for text in texts:
        span = NightWindow.parse(text, zone.key).overlapping(*recorded)
        for instant in span:
            _refuse_twice(instant, zone, text)
        spans.append(span)
    return tuple(spans)


def _refuse_twice(instant: datetime, zone: ZoneInfo, text: str) -> None:
    local = instant.astimezone(zone)
    if local.replace(fold=0).utcoffset() > local.replace(fold=1).utcoffset():  # type: ignore[operator]
        raise SettingsError(
            f"circumstances: {text!r} holds {local:%H:%M}, which comes twice in the night on which clocks go "
            "back.",
            remedy="Choose clock times outside the hour that comes twice.",
        )
