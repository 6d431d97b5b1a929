"""Two microphones, one night: what a real sound loses on its way to the pillow.

Each event on the outer side is measured over the same stretch of time in both recordings, its
reverberation with it, less the background that the quiet seconds around it show on each side.
Whether it is the same sound that both heard is judged in ``in_situ``.

Rows: the first is the A-weighted level, the others are third octaves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.fieldwork.background import FIELD_RULE, CorrectedLevels, without_background
from sleepnoise.fieldwork.ratings import ENLARGED_HZ
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory
from sleepnoise.pairing.alignment import COMPARED_HZ, Alignment
from sleepnoise.pairing.sound_lag import Look

Mask = NDArray[np.bool_]

BEFORE_TICKS = 1
"""Ticks before an event that are measured with it. Chosen: aligned to half a tick, none is missed."""

TAIL_TICKS = 4
"""Ticks after it. Chosen: 0.5 s, in which a furnished bedroom's reverberation falls by 60 dB."""

QUIET_CELLS = (5, 30)
"""Least and wanted number of quiet seconds that tell the background. Chosen: the median of thirty is known
to a few tenths of a decibel in every band, and half of them may hold a sleeper's sounds."""

QUIET_WITHIN_S = 300
"""How far away quiet seconds may lie, s. Chosen: backgrounds of nights change over tens of minutes."""

COURSE_MARGIN_TICKS = 8
"""Ticks to either side in which courses are compared too. Chosen: a second shows that both were quiet."""

MOST_LOOKS = 6
"""Loudest seconds of an event in which its sound is looked for. Chosen: more seconds make it hardly
sharper, only slower."""

Outcome = Literal[
    "not compared",
    "used",
    "not measurable",
    "not heard",
    "not the same sound",
    "covered by another sound",
    "made in the bedroom",
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairedEvent:
    """One event of the outer side, and what arrived at the pillow.

    Attributes
    ----------
    first_tick, last_tick : int
        In the outer history, half-open.
    outer_db, pillow_db : ndarray, shape (rows,), dB
        Levels over the event without the background; ``nan`` where they cannot be told.
    at_least : ndarray of bool, shape (rows,)
        The pillow's background allowed only an upper limit: the difference is at least this.
    likeness : ndarray, shape (rows,)
        Correlation of the two courses.
    sharpness : float
        Of the sound found at the pillow; ``nan`` before anybody has looked.
    off_line_s : float, s
        How much later it came than the clocks say.
    outcome : Outcome
    """

    first_tick: int
    last_tick: int
    outer_db: FloatArray
    pillow_db: FloatArray
    at_least: Mask
    likeness: FloatArray
    sharpness: float = np.nan
    off_line_s: float = np.nan
    outcome: Outcome = "not compared"

    @property
    def difference_db(self) -> FloatArray:
        """Level differences, shape (rows,), dB."""
        return self.outer_db - self.pillow_db

    @property
    def heard(self) -> Mask:
        """Rows in which both levels are known, shape (rows,)."""
        return np.isfinite(self.difference_db) & ~self.at_least


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """Energies of one recording, shape (rows, ticks), and which of its seconds are quiet."""

    energies: FloatArray
    unusable: Mask
    cells: FloatArray
    quiet: NDArray[np.int64]

    def background(self, first: int, last: int) -> FloatArray:
        """Return the median energy of the quiet seconds nearest to a stretch; nan if they are too few."""
        fewest, wanted = QUIET_CELLS
        middle_s = (first + last) / 2 / TICKS_PER_SECOND
        reach_s = QUIET_WITHIN_S + (last - first) / 2 / TICKS_PER_SECOND
        low, high = np.searchsorted(self.quiet, (middle_s - reach_s, middle_s + reach_s))
        near = self.quiet[low:high]
        nearest = near[np.argsort(np.abs(near - middle_s), kind="stable")[:wanted]]
        if nearest.size < fewest:
            return np.full(len(self.cells), np.nan)
        return np.asarray(np.median(self.cells[:, nearest], axis=1))


def common_bands(outer: LevelHistory, pillow: LevelHistory) -> tuple[float, ...]:
    """Return the third octaves from 50 Hz to 5 kHz that both recordings have."""
    return tuple(hz for hz in ENLARGED_HZ if hz in outer.nominal_hz and hz in pillow.nominal_hz)


def paired_events(
    outer: LevelHistory, pillow: LevelHistory, spans: Sequence[tuple[int, int]], alignment: Alignment
) -> tuple[PairedEvent, ...]:
    """Measure every event of the outer side in both recordings.

    Parameters
    ----------
    outer, pillow : LevelHistory
    spans : sequence of (int, int)
        Half-open ranges of ticks of the outer history, in order of time.
    alignment : Alignment

    Returns
    -------
    tuple of PairedEvent
        One for each span. No samples have been compared yet.
    """
    nominal_hz = common_bands(outer, pillow)
    here = [(first - BEFORE_TICKS, last + TAIL_TICKS) for first, last in spans]
    there = [_moved(stretch, alignment) for stretch in here]
    sides = (_side(outer, nominal_hz, here), _side(pillow, nominal_hz, there))
    return tuple(_measured(*sides, *each, alignment) for each in zip(spans, here, there, strict=True))


def _moved(stretch: tuple[int, int], alignment: Alignment) -> tuple[int, int]:
    """Return as many ticks of the other recording, aligned to half a tick."""
    first = round(alignment.pillow_s(stretch[0] * TICK_S) / TICK_S)
    return first, first + stretch[1] - stretch[0]


def _side(history: LevelHistory, nominal_hz: tuple[float, ...], events: Sequence[tuple[int, int]]) -> _Side:
    bands = [history.bands[history.nominal_hz.index(hz)] for hz in nominal_hz]
    energies = energy(np.stack([history.laeq, *bands]))
    unusable = history.left_out | ~np.isfinite(energies).all(axis=0)
    unusable |= history.laeq == -np.inf
    seconds = history.ticks // TICKS_PER_SECOND
    whole = slice(seconds * TICKS_PER_SECOND)
    cells = energies[:, whole].reshape(len(energies), seconds, TICKS_PER_SECOND).mean(axis=2)
    loud = unusable.copy()
    for first, last in events:
        loud[max(first, 0) : max(last, 0)] = True
    quiet = np.flatnonzero(~loud[whole].reshape(seconds, TICKS_PER_SECOND).any(axis=1))
    return _Side(energies, unusable, cells, quiet)


def _measured(
    outer: _Side,
    pillow: _Side,
    span: tuple[int, int],
    here: tuple[int, int],
    there: tuple[int, int],
    alignment: Alignment,
) -> PairedEvent:
    outer_levels, pillow_levels = _levels(outer, *here), _levels(pillow, *there)
    measurable = not (np.isnan(outer_levels.levels_db).all() or np.isnan(pillow_levels.levels_db).all())
    return PairedEvent(
        first_tick=span[0],
        last_tick=span[1],
        # What hardly rose on the loud side tells nothing.
        outer_db=np.where(outer_levels.at_limit, np.nan, outer_levels.levels_db),
        pillow_db=pillow_levels.levels_db,
        at_least=pillow_levels.at_limit,
        likeness=_likeness(outer, pillow, here, alignment) if measurable else np.zeros(len(outer.energies)),
        outcome="not compared" if measurable else "not measurable",
    )


def _levels(side: _Side, first: int, last: int) -> CorrectedLevels:
    """Return the levels of a stretch without the background; not known where it cannot be measured."""
    measured = background = np.full(len(side.energies), np.nan)
    if first >= 0 and last <= side.unusable.size and not side.unusable[first:last].any():
        measured = side.energies[:, first:last].mean(axis=1)
        background = side.background(first, last)
    return without_background(level(measured), level(background), FIELD_RULE)


def _likeness(outer: _Side, pillow: _Side, here: tuple[int, int], alignment: Alignment) -> FloatArray:
    """Return the correlation of both courses, shape (rows,)."""
    low = max(here[0] - COURSE_MARGIN_TICKS, 0)
    edges = np.arange(low, min(here[1] + COURSE_MARGIN_TICKS, outer.unusable.size) + 1)
    places = np.array([alignment.pillow_s(edge * TICK_S) / TICK_S for edge in edges])
    inside = (places >= 0) & (places <= pillow.unusable.size)
    edges, places = edges[inside], places[inside]
    first, last = int(places[0]), int(np.ceil(places[-1]))
    sums = np.pad(np.cumsum(pillow.energies[:, first:last], axis=1), ((0, 0), (1, 0)))
    course = np.stack([np.diff(np.interp(places, np.arange(first, last + 1), row)) for row in sums])
    return _correlation(_softened(outer.energies[:, edges[0] : edges[-1]]), _softened(course))


def _softened(course: FloatArray) -> FloatArray:
    """Return a course smoothed over three ticks: where within a tick a bang falls must not matter."""
    padded = np.pad(course, ((0, 0), (1, 1)), mode="edge")
    return np.asarray(0.25 * padded[:, :-2] + 0.5 * course + 0.25 * padded[:, 2:])


def _correlation(one: FloatArray, other: FloatArray) -> FloatArray:
    one = one - one.mean(axis=1, keepdims=True)
    other = other - other.mean(axis=1, keepdims=True)
    size = np.sqrt((one**2).sum(axis=1) * (other**2).sum(axis=1))
    likeness = np.zeros(len(size))
    np.divide((one * other).sum(axis=1), size, out=likeness, where=size > 0)
    return likeness


def look_for(outer: LevelHistory, event: PairedEvent, nominal_hz: tuple[float, ...]) -> Look:
    """Return where to look for the sound of an event: its loudest seconds, in the bands that were heard."""
    first, last = max(event.first_tick - BEFORE_TICKS, 0), event.last_tick
    seconds = -(-(last - first) // TICKS_PER_SECOND)
    starts = first + TICKS_PER_SECOND * np.arange(seconds)
    loudness = np.add.reduceat(energy(outer.laeq[first:last]), starts - first)
    loudest = np.sort(starts[np.argsort(-loudness, kind="stable")[:MOST_LOOKS]])
    # Below 100 Hz a second holds too few independent phases to tell sounds apart.
    heard = tuple(
        hz for hz, known in zip(nominal_hz, event.heard[1:], strict=True) if known and hz in COMPARED_HZ
    )
    return Look(starts_s=tuple((loudest * TICK_S).tolist()), heard_hz=heard)
