"""A diary beside the events of a recording: which entries match, and how many would by chance.

An entry matches if an event is under way within a tolerance of its time. Where events are many,
any time matches one; so the whole diary is moved round the recording, and what matches
at all those places is what chance does. A share says something only if it is above that.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from sleepnoise.errors import SettingsError
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.night.events import Event
from sleepnoise.recognition.diary import Diary, DiaryEntry

TOLERANCE_S = 300.0
"""How far an entry may be from its event, s. Chosen: people round to five minutes, and write after they
have looked for the light."""

LONGEST_TOLERANCE_S = 1800.0
"""Longest tolerance, s. Chosen: with half an hour, hardly a night has a time that matches nothing."""

MOVES = 1000
"""Places to which the diary is moved. Chosen: half a minute of a night apart, so tenths of a percent."""

RARE = 0.05
"""Share of places below which a match is not put down to chance. Chosen: the common level of significance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryMatch:
    """One entry and the event nearest to it.

    Attributes
    ----------
    entry : DiaryEntry
    event : int or None
        Number of the nearest event within the tolerance; of equals the loudest.
    apart_s : float, s
        From the entry to that event: negative if the event was over before, 0 if it was under
        way; ``nan`` without one.
    """

    entry: DiaryEntry
    event: int | None
    apart_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DiaryMatch:
    """A diary beside a recording.

    Attributes
    ----------
    file : str
    tolerance_s : float, s
    matches : tuple of EntryMatch
        Entries made while it was recorded, in order of time.
    not_recorded : tuple of DiaryEntry
        Entries of other times, or of times that are left out of every figure.
    matched : int
        Entries with an event.
    share : float
        Of the entries made while it was recorded; ``nan`` if there is none.
    share_by_chance : float
        Mean share at all places to which the diary was moved.
    as_many_by_chance : float
        Share of those places at which at least as many entries match.
    """

    file: str
    tolerance_s: float
    matches: tuple[EntryMatch, ...]
    not_recorded: tuple[DiaryEntry, ...]
    matched: int
    share: float
    share_by_chance: float
    as_many_by_chance: float

    @property
    def more_than_chance(self) -> bool:
        """Whether so many entries match that it is not put down to chance."""
        return self.as_many_by_chance <= RARE


def match_diary(
    diary: Diary, events: Sequence[Event], history: LevelHistory, tolerance_s: float = TOLERANCE_S
) -> DiaryMatch:
    """Return which entries of a diary match events, and how many would by chance.

    Parameters
    ----------
    diary : Diary
    events : sequence of Event
        All of the recording, or those that are to be compared with the diary.
    history : LevelHistory
        The recording.
    tolerance_s : float, s

    Raises
    ------
    SettingsError
        If the tolerance is negative or longer than half an hour.
    """
    if not 0 <= tolerance_s <= LONGEST_TOLERANCE_S:
        raise SettingsError(
            f"diary: the tolerance must lie between 0 and {LONGEST_TOLERANCE_S / 60:g} min, "
            f"got {tolerance_s / 60:g} min.",
            remedy=f"The default is {TOLERANCE_S / 60:g} min.",
        )
    kept = ~history.left_out
    ticks = {entry.line: _tick(entry, history) for entry in diary.entries}
    recorded = [entry for entry in diary.entries if _is_kept(ticks[entry.line], kept)]
    reach = round(tolerance_s * TICKS_PER_SECOND)
    matches = tuple(_match(entry, ticks[entry.line], events, reach) for entry in recorded)
    matched = sum(match.event is not None for match in matches)
    by_chance = _matched_elsewhere([ticks[entry.line] for entry in recorded], events, kept, reach)
    return DiaryMatch(
        file=diary.file,
        tolerance_s=tolerance_s,
        matches=matches,
        not_recorded=tuple(entry for entry in diary.entries if entry not in recorded),
        matched=matched,
        share=matched / len(matches) if matches else float("nan"),
        share_by_chance=float(by_chance.mean()) / len(matches) if matches else float("nan"),
        as_many_by_chance=float(np.mean(by_chance >= matched)) if matches else float("nan"),
    )


def _tick(entry: DiaryEntry, history: LevelHistory) -> int:
    """Return the tick of an entry; below 0 or too high if it was not made while it was recorded."""
    return (entry.time - history.start) // timedelta(seconds=TICK_S)


def _is_kept(tick: int, kept: MaskArray) -> bool:
    return 0 <= tick < kept.size and bool(kept[tick])


def _match(entry: DiaryEntry, tick: int, events: Sequence[Event], reach: int) -> EntryMatch:
    near = [event for event in events if abs(_apart(event, tick)) <= reach]
    if not near:
        return EntryMatch(entry=entry, event=None, apart_s=float("nan"))
    best = min(near, key=lambda event: (abs(_apart(event, tick)), -event.lafmax))
    return EntryMatch(entry=entry, event=best.number, apart_s=_apart(best, tick) * TICK_S)


def _apart(event: Event, tick: int) -> int:
    """Return how many ticks an event begins after a tick, or, negative, ended before it."""
    return max(event.first_tick - tick, 0) + min(event.last_tick - 1 - tick, 0)


def _matched_elsewhere(
    ticks: Sequence[int], events: Sequence[Event], kept: MaskArray, reach: int
) -> NDArray[np.int64]:
    """Return how many entries match at each place that the diary is moved to; the first is its own.

    The diary goes round the time that counts as if it were a circle, so that its entries keep
    their distances and none falls into time without sound.
    """
    near = np.zeros(kept.size, dtype=np.bool_)
    for event in events:
        near[max(event.first_tick - reach, 0) : event.last_tick + reach] = True
    circle, places = near[kept], np.cumsum(kept)[list(ticks)] - 1
    moves = np.arange(MOVES) * circle.size // MOVES
    return np.asarray(circle[(places + moves[:, np.newaxis]) % max(circle.size, 1)].sum(axis=1))
