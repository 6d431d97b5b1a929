"""Sounds that several bedrooms hear at once: events that coincide more often than chance lets them.

Two events coincide if each is the other's nearest and they begin within a tolerance. How many would do
so by chance is counted, not assumed: one bedroom's clock is shifted by some minutes, many times over,
and the mean of the counts is what is expected. Shifts of minutes keep that both rooms are busier at
some hours than at others; no two are multiples of each other, so a timetable does not pass for
chance. Two events that somebody labelled differently never coincide.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray

TOLERANCE_S = 5.0
"""How far apart beginnings may lie, s. Chosen: recorders set by hand differ by some seconds, and
a sound rises above another background at another time."""

SHIFTS, LONGEST_SHIFT_S = 100, 1200.0
"""Shifts of each sign and the longest, s. Chosen: within 20 min a night's habits hardly change;
a hundred give the expected number to a tenth."""

SHORTEST_SHIFT_TOLERANCES = 6.0
"""Shortest shift, in tolerances. Chosen: no true coincidence may reach into it."""

GOLDEN = (5**0.5 - 1) / 2
"""Ratio that spreads points evenly without a period. Source: mathematics, the golden section."""

LEAST_EVENTS = 3
"""Coincidences below which no source is called shared. Chosen: two may be chance, whatever is reckoned."""

SURE = 0.01
"""Chance, over all pairs compared, below which a source is called shared. Chosen: one false report
in a hundred portfolios."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedSource:
    """Two bedrooms that hear the same sounds.

    Attributes
    ----------
    bedrooms : tuple of str
        Two.
    together : int
        Events that coincide.
    expected : float
        How many would by chance.
    chance : float
        Probability of so many or more by chance, in any pair of those compared (Bonferroni).
    lag_s : float, s
        Median of how much later the second begins.
    sound : str
        Label or group that most of them have in the first bedroom; empty if there is none.
    times : tuple of datetime
        Beginnings in the first bedroom, UTC.
    shared : bool
        Whether chance is too small an explanation.
    """

    bedrooms: tuple[str, str]
    together: int
    expected: float
    chance: float
    lag_s: float
    sound: str
    times: tuple[datetime, ...]
    shared: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Heard:
    """Events of one bedroom, in order of time."""

    starts_s: FloatArray
    lines: list[Mapping[str, Any]]

    def within(self, first_s: float, last_s: float) -> "_Heard":
        low, high = np.searchsorted(self.starts_s, [first_s, last_s])
        return _Heard(starts_s=self.starts_s[low:high], lines=self.lines[low:high])


def find_shared(
    nights: Iterable[Mapping[str, Any]],
    events: Iterable[Mapping[str, Any]],
    *,
    neighbours: Iterable[tuple[str, str]] | None = None,
    tolerance_s: float = TOLERANCE_S,
) -> tuple[SharedSource, ...]:
    """Return every pair of bedrooms that could be compared, the least likely by chance first.

    Parameters
    ----------
    nights, events : iterable of mapping
        Lines of the tables; see :mod:`sleepnoise.portfolio.tables`.
    neighbours : iterable of tuple of two str, optional
        Which bedrooms lie beside each other; every pair when left out.
    tolerance_s : float, s
        How far apart beginnings may lie.
    """
    recorded: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    for line in nights:
        recorded[line["bedroom"]].append((line["start_utc"].timestamp(), line["end_utc"].timestamp()))
    heard = _by_bedroom(events)
    pairs = combinations(sorted(recorded), 2) if neighbours is None else sorted(map(_ordered, neighbours))
    compared = []
    for first, second in pairs:
        spans = _both(recorded.get(first, []), recorded.get(second, []), tolerance_s)
        if spans and first in heard and second in heard:
            compared.append(_compared((first, second), heard[first], heard[second], spans, tolerance_s))
    found = [_corrected(each, len(compared)) for each in compared]
    return tuple(sorted(found, key=lambda each: (each.chance, -each.together, each.bedrooms)))


def _ordered(pair: tuple[str, str]) -> tuple[str, str]:
    first, second = sorted(pair)
    return first, second


def _by_bedroom(events: Iterable[Mapping[str, Any]]) -> dict[str, _Heard]:
    rooms: defaultdict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for line in events:
        rooms[line["bedroom"]].append(line)
    for lines in rooms.values():
        lines.sort(key=lambda line: line["start_utc"])
    return {
        room: _Heard(starts_s=np.array([line["start_utc"].timestamp() for line in lines]), lines=lines)
        for room, lines in rooms.items()
    }


def _both(
    first: list[tuple[float, float]], second: list[tuple[float, float]], tolerance_s: float
) -> list[tuple[float, float]]:
    """Return the spans that both bedrooms recorded, if long enough for clocks to be shifted within."""
    shortest_s = 4 * SHORTEST_SHIFT_TOLERANCES * tolerance_s
    common = [(max(a[0], b[0]), min(a[1], b[1])) for a in first for b in second]
    return sorted(span for span in common if span[1] - span[0] >= shortest_s)


def _compared(
    names: tuple[str, str],
    first: _Heard,
    second: _Heard,
    spans: list[tuple[float, float]],
    tolerance_s: float,
) -> SharedSource:
    # Imported late: it takes longer to load than all else here.
    from scipy.stats import poisson

    by_chance = np.zeros(2 * SHIFTS)
    times, lags_s, sounds = [], [], Counter[str]()
    for span in spans:
        one, other = first.within(*span), second.within(*span)
        for a, b in zip(*coincident(one.starts_s, other.starts_s, tolerance_s), strict=True):
            if _may_be_one(one.lines[a], other.lines[b]):
                times.append(one.lines[a]["start_utc"])
                lags_s.append(other.starts_s[b] - one.starts_s[a])
                sounds[one.lines[a]["label"] or one.lines[a]["group"] or ""] += 1
        by_chance += _by_shifts(one, other, span, tolerance_s)
    # Never quite nought: that no shift gave one does not make it impossible.
    expected = max(float(by_chance.mean()), 1 / by_chance.size)
    return SharedSource(
        bedrooms=names,
        together=len(times),
        expected=expected,
        chance=float(poisson.sf(len(times) - 1, expected)),
        lag_s=float(np.median(lags_s)) if lags_s else float("nan"),
        sound=sounds.most_common(1)[0][0] if sounds else "",
        times=tuple(times),
        shared=False,
    )


def _corrected(pair: SharedSource, compared: int) -> SharedSource:
    chance = min(1.0, pair.chance * compared)
    return replace(pair, chance=chance, shared=chance < SURE and pair.together >= LEAST_EVENTS)


def _may_be_one(first: Mapping[str, Any], second: Mapping[str, Any]) -> bool:
    return not (first["label"] and second["label"]) or first["label"] == second["label"]


def shifts(tolerance_s: float, length_s: float) -> FloatArray:
    """Return shifts of a clock, shape (2 x SHIFTS,), s: of both signs, spread evenly, without a period."""
    shortest_s = SHORTEST_SHIFT_TOLERANCES * tolerance_s
    longest_s = min(LONGEST_SHIFT_S, length_s / 2)
    each = shortest_s + np.mod(np.arange(1, SHIFTS + 1) * GOLDEN, 1.0) * (longest_s - shortest_s)
    return np.concatenate([-each, each])


def _by_shifts(one: _Heard, other: _Heard, span: tuple[float, float], tolerance_s: float) -> FloatArray:
    """Return how many coincide at each shift; what leaves the span at one end comes in at the other."""
    length_s = span[1] - span[0]
    counts = np.zeros(2 * SHIFTS)
    if one.lines and other.lines:
        for place, shift in enumerate(shifts(tolerance_s, length_s)):
            shifted = np.sort(np.mod(other.starts_s - span[0] + shift, length_s)) + span[0]
            counts[place] = coincident(one.starts_s, shifted, tolerance_s)[0].size
    return counts


def coincident(
    first_s: FloatArray, second_s: FloatArray, tolerance_s: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the places of pairs that are each other's nearest and within a tolerance.

    Parameters
    ----------
    first_s, second_s : ndarray, shape (n,) and (m,), s
        Rising.
    tolerance_s : float, s

    Examples
    --------
    >>> coincident(np.array([10.0, 50.0]), np.array([12.0, 13.0]), 5.0)
    (array([0]), array([0]))
    """
    if not first_s.size or not second_s.size:
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
    there, back = _nearest(first_s, second_s), _nearest(second_s, first_s)
    mutual = back[there] == np.arange(first_s.size)
    near = np.abs(second_s[there] - first_s) <= tolerance_s
    places = np.flatnonzero(mutual & near)
    return places, there[places]


def _nearest(of_s: FloatArray, among_s: FloatArray) -> NDArray[np.intp]:
    after = np.clip(np.searchsorted(among_s, of_s), 0, among_s.size - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(among_s[before] - of_s) <= np.abs(among_s[after] - of_s)
    return np.where(nearer, before, after)
