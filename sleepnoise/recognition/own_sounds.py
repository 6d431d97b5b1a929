"""Sounds of the sleeper and of the room itself: left out of a second set of figures, reasons kept.

Nothing is left out of the first set. What somebody says comes from outside is never left out
of the second, even within a stretch that is the sleeper's own.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from sleepnoise.levels.history import TICK_S, LevelHistory, MaskArray
from sleepnoise.levels.statistics import LevelStatistics, level_statistics
from sleepnoise.night.events import Event
from sleepnoise.recognition.groups import GroupedEvents, Whose
from sleepnoise.recognition.labels import Labels

BELONGS = 0.5
"""Share of an event within a labelled stretch from which all of it belongs to the label. Chosen: the greater
part; people note seconds, and the recording knows an event's ends to an eighth of one."""

NOT_COUNTED = ": not counted"
"""How the flag of an own event ends."""

OWN: tuple[Whose, ...] = ("room", "sleeper")
"""Whose sounds do not count against anybody."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidSpan:
    """A stretch of the recording that somebody gave a label.

    Attributes
    ----------
    start, end : datetime
        UTC, within the recording.
    label : str
    whose : Whose
    said_by : str
        Where it is written: file and line, or the name of the group.
    events : tuple of int
        Numbers of the events that the label holds for.
    by_group : bool
        Whether the label was given to a group of alike sounds.
    """

    start: datetime
    end: datetime
    label: str
    whose: Whose
    said_by: str
    events: tuple[int, ...]
    by_group: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WithAndWithout:
    """Figures of one stretch of time, with the sleeper's and the room's own sounds and without.

    Attributes
    ----------
    everything, others_only : LevelStatistics
    own_s : float, s
        Time that only the second leaves out.
    reasons : tuple of SaidSpan
        Why, in order of time.
    """

    everything: LevelStatistics
    others_only: LevelStatistics
    own_s: float
    reasons: tuple[SaidSpan, ...]


def said_spans(
    labels: Labels | None, grouped: GroupedEvents, events: Sequence[Event], history: LevelHistory
) -> tuple[SaidSpan, ...]:
    """Return every stretch that a label holds for, by time and by group, in order of time.

    Parameters
    ----------
    labels : Labels, optional
    grouped : GroupedEvents
        With the labels of its groups, see :func:`~sleepnoise.recognition.groups.labelled`.
    events : sequence of Event
        All of the recording.
    history : LevelHistory
        The recording.
    """
    by_time = _by_time(labels, events, history) if labels else []
    by_group = [
        SaidSpan(
            start=event.start,
            end=history.time_of(event.last_tick),
            label=group.sound.label,
            whose=group.sound.whose,
            said_by=group.sound.name,
            events=(event.number,),
            by_group=True,
        )
        for event in events
        if (group := grouped.group_of(event.number)) is not None and group.sound.label
    ]
    return tuple(sorted([*by_time, *by_group], key=lambda span: (span.start, span.end, span.said_by)))


def _by_time(labels: Labels, events: Sequence[Event], history: LevelHistory) -> list[SaidSpan]:
    return [
        SaidSpan(
            start=max(span.start, history.start),
            end=min(span.end, history.end),
            label=span.label,
            whose=span.whose,
            said_by=f"{labels.file}, line {span.line}",
            events=tuple(event.number for event in events if _belongs(event, span.start, span.end, history)),
        )
        for span in labels.spans
        if span.start < history.end and span.end > history.start
    ]


def _belongs(event: Event, start: datetime, end: datetime, history: LevelHistory) -> bool:
    overlap = min(event.last_tick, history.tick_of(end)) - max(event.first_tick, history.tick_of(start))
    return overlap >= BELONGS * (event.last_tick - event.first_tick)


def own_ticks(said: Iterable[SaidSpan], events: Sequence[Event], history: LevelHistory) -> MaskArray:
    """Return which ticks hold the sleeper's or the room's own sound, shape (ticks,)."""
    said = tuple(said)
    own = _ticks([span for span in said if span.whose in OWN], events, history)
    return own & ~_ticks([span for span in said if span.whose == "outside"], events, history)


def _ticks(said: Iterable[SaidSpan], events: Sequence[Event], history: LevelHistory) -> MaskArray:
    mask = np.zeros(history.ticks, dtype=np.bool_)
    ranges = {event.number: slice(event.first_tick, event.last_tick) for event in events}
    for span in said:
        mask[history.tick_of(span.start) : history.tick_of(span.end)] = True
        for number in span.events:
            mask[ranges[number]] = True
    return mask


def with_and_without(history: LevelHistory, own: MaskArray, said: Iterable[SaidSpan]) -> WithAndWithout:
    """Return the figures of a stretch of history with own sounds and without.

    Parameters
    ----------
    history : LevelHistory
        The stretch; cut it with ``between`` first, and *own* alike.
    own : ndarray, shape (ticks,), bool
        See :func:`own_ticks`.
    said : iterable of SaidSpan
    """
    reasons = (
        span for span in said if span.whose in OWN and span.start < history.end and span.end > history.start
    )
    return WithAndWithout(
        everything=level_statistics(history),
        others_only=level_statistics(history.without(own)),
        own_s=float(np.count_nonzero(own & ~history.left_out)) * TICK_S,
        reasons=tuple(reasons),
    )


def with_labels(events: Iterable[Event], said: Iterable[SaidSpan], own: MaskArray) -> tuple[Event, ...]:
    """Return events with their labels, and a flag on those that are the sleeper's or the room's own.

    A label given to a stretch of time replaces one that an event has from its group; of several
    stretches the shortest holds.
    """
    last_holds = sorted(said, key=lambda span: (not span.by_group, span.start - span.end))
    by_number = {number: span for span in last_holds for number in span.events}
    return tuple(_told(event, by_number.get(event.number), own) for event in events)


def is_own(event: Event) -> bool:
    """Return whether an event is the sleeper's or the room's own, as its flags say."""
    return any(flag.endswith(NOT_COUNTED) for flag in event.flags)


def _told(event: Event, span: SaidSpan | None, own: MaskArray) -> Event:
    if span is None:
        return event
    flags = event.flags
    if own[event.first_tick : event.last_tick].all():
        flags = (*flags, f"{span.whose or 'own'}{NOT_COUNTED}")
    return replace(event, label=span.label, flags=flags)
