"""From a level history to the spans of its events: which ticks belong to one sound.

Runs above the background become spans in three steps: runs close together are joined, a span
that holds two different sounds, one after the other, is split, and spans of brief sounds that
are alike and follow each other are joined to one series.
"""

import numpy as np
from numpy.typing import NDArray

from sleepnoise.levels.history import TICK_S, LevelHistory, MaskArray
from sleepnoise.night.background import MovingBackground
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.single_sounds import (
    ALIKE_BANDS,
    SingleSounds,
    bands_apart,
    energy_places,
    single_sounds,
)

Spans = NDArray[np.int64]

SINGLE_DB = 6.0
"""Fall of the level between single sounds, dB. Chosen: half of what F weighting falls between two beats a
second; ripples of a steady sound are smaller."""

COMES_BACK = 10
"""Neighbouring sounds on both sides of a split that must differ. Chosen: holds a few bars of a rhythm, and
the turns of a conversation."""

SERIES_LEAST = 3
"""Fewest single sounds of a series. Chosen: two bangs are a door that was opened and shut."""

SERIES_SPREAD_DB = 10.0
"""Largest step from one part of a series to the next. Chosen: someone who walks by gets louder by less."""


def event_spans(
    history: LevelHistory, usable: MaskArray, background: MovingBackground, settings: EventSettings
) -> Spans:
    """Return the half-open tick ranges of all events, shape (events, 2), in order and apart."""
    over_db = np.where(usable, history.lafmax - background.upper_db, -np.inf)
    onset_db = np.maximum(settings.onset_db, settings.scatter_onset * background.scatter_db)
    release_db = np.maximum(settings.release_db, settings.scatter_release * background.scatter_db)
    runs = runs_where(over_db > release_db)
    spans = _heard(runs, usable, over_db >= onset_db, 2 * over_db >= onset_db + release_db, settings)
    parts = [part for span in spans.tolist() for part in _split(history, background, settings, *span)]
    spans = np.array(parts, dtype=np.int64).reshape(-1, 2)
    spans = spans[(spans[:, 1] - spans[:, 0]) * TICK_S >= settings.min_length_s]
    return _with_series(history, usable, background, settings, spans)


def _heard(
    runs: Spans, usable: MaskArray, loud: MaskArray, middling: MaskArray, settings: EventSettings
) -> Spans:
    """Return runs that reach the onset threshold, joined where only short gaps lie between.

    A run that gets halfway from the release to the onset threshold is no event, but it shows that
    the sound before it goes on: the weaker words of a conversation.
    """
    runs = runs[_any_within(middling, runs)]
    linked = _close(runs, usable, settings.merge_gap_s)
    heard = np.flatnonzero(_any_within(loud, runs))
    broken = np.append(0, np.cumsum(~linked))
    return _joined(runs[heard], broken[heard[1:]] == broken[heard[:-1]])


def _any_within(mask: MaskArray, spans: Spans) -> MaskArray:
    """Return which spans hold a tick in which the mask is true."""
    so_far = np.append(0, np.cumsum(mask))
    return np.asarray(so_far[spans[:, 1]] > so_far[spans[:, 0]])


def runs_where(mask: MaskArray) -> Spans:
    """Return the half-open ranges in which a mask is true, shape (runs, 2)."""
    changes = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    return changes.astype(np.int64).reshape(-1, 2)


def sounds_within(
    history: LevelHistory, background: MovingBackground, settings: EventSettings, first: int, last: int
) -> SingleSounds:
    """Return the single sounds of a span; what scatters like the background is none."""
    least_db = max(SINGLE_DB, settings.scatter_release * float(background.scatter_db[first]))
    floor_db = float(background.upper_db[first])
    return single_sounds(history, first, last, floor_db=floor_db, least_db=least_db)


def _close(spans: Spans, usable: MaskArray, gap_s: float) -> MaskArray:
    """Return which spans are followed closely by another, with usable sound all the way between."""
    unusable = np.append(0, np.cumsum(~usable))
    ends, starts = spans[:-1, 1], spans[1:, 0]
    return np.asarray(((starts - ends) * TICK_S <= gap_s) & (unusable[starts] == unusable[ends]))


def _joined(spans: Spans, linked: MaskArray) -> Spans:
    """Return spans with those made one that are linked with the next; *linked* has one entry less."""
    if len(spans) == 0:
        return spans
    return np.stack([spans[np.append(True, ~linked), 0], spans[np.append(~linked, True), 1]], axis=1)


def _split(
    history: LevelHistory, background: MovingBackground, settings: EventSettings, first: int, last: int
) -> list[tuple[int, int]]:
    """Return a span cut where one sound gives way to a different one that stays.

    The level must fall by ``split_db`` below both, and the energy of none of the sounds shortly
    before may lie in the bands of one shortly after: else it is the same sound that goes on, with
    something else in between.
    """
    least_db = max(settings.split_db, settings.scatter_onset * float(background.scatter_db[first]))
    sounds = single_sounds(
        history, first, last, floor_db=float(background.upper_db[first]), least_db=least_db
    )
    if sounds.ticks.size < 2:
        return [(first, last)]
    places = energy_places(history, sounds.ticks)
    alike_across = np.zeros(sounds.ticks.size)
    for lag in range(1, min(COMES_BACK, sounds.ticks.size - 1) + 1):
        alike = bands_apart(places[lag:], places[:-lag]) < ALIKE_BANDS
        # Each pair forbids the cuts between its two sounds: counted up at one, down at the other.
        alike_across[:-lag] += alike
        alike_across[lag:] -= alike
    cuts = sounds.between[np.cumsum(alike_across)[:-1] == 0].tolist()
    return list(zip([first, *cuts], [*cuts, last], strict=True))


def _with_series(
    history: LevelHistory,
    usable: MaskArray,
    background: MovingBackground,
    settings: EventSettings,
    spans: Spans,
) -> Spans:
    """Return spans with those joined that make up a series of brief sounds."""
    close = _close(spans, usable, settings.series_gap_s)
    if not close.any():
        return spans
    beside = np.append(close, False) | np.append(False, close)
    sounds = {
        place: sounds_within(history, background, settings, *spans[place].tolist())
        for place in np.flatnonzero(beside).tolist()
    }
    linked = close.copy()
    for place in np.flatnonzero(close).tolist():
        linked[place] = _go_on(history, sounds[place], sounds[place + 1])
    for begin, end in runs_where(linked).tolist():
        if sum(sounds[place].count for place in range(begin, end + 1)) < SERIES_LEAST:
            linked[begin:end] = False
    return _joined(spans, linked)


def _go_on(history: LevelHistory, sounds: SingleSounds, following: SingleSounds) -> bool:
    """Return whether the brief sounds of one span go on in the next."""
    if not (sounds.brief and following.brief):
        return False
    loudest = [int(each.lafmax.argmax()) for each in (sounds, following)]
    step_db = abs(sounds.lafmax[loudest[0]] - following.lafmax[loudest[1]])
    places = energy_places(history, np.array([sounds.ticks[loudest[0]], following.ticks[loudest[1]]]))
    return bool(step_db <= SERIES_SPREAD_DB and bands_apart(places[0], places[1]) < ALIKE_BANDS)
