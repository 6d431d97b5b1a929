"""The isolation that a night shows: which of its events count, and what they say of each band.

An event counts if it is demonstrably the same sound in both recordings: its samples are found at
the pillow where the clocks say, and band by band its course in time is the same there. A sleeper's
cough fails one or the other; a snore that the outer microphone hears goes the wrong way.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.pairing.alignment import LAG_TOLERANCE_S, SHARP, Alignment, SoundLag
from sleepnoise.pairing.paired import Outcome, PairedEvent

LEAST_LIKENESS = 0.8
"""Least correlation of two courses. Chosen: a foreign sound that moves an event by 3 dB falls below 0.7, the
same sound through a wall and a reverberant room stays above 0.85 (tested)."""

FEWEST_EVENTS = 3
"""Fewest events for a band's result. Chosen: the least that has a middle and a spread."""

OTHER_SIDE_DB, OTHER_SIDE_S = 10.0, 0.002
"""By how much less, and earlier, the sounds of a second group arrive that was made in the bedroom. Chosen:
a closed window or door takes 5 dB and more each way; 0.7 m of way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandDifference:
    """What one band loses, over all events that count.

    Attributes
    ----------
    nominal_hz : float or None
        None for the A-weighted level.
    median_db : float, dB
        Of the events. If ``at_least``, what can be said at least; ``nan`` if nothing.
    lower_quartile_db, upper_quartile_db : float, dB
        The middle half of the events lies between them.
    energy_weighted_db : float, dB
        Of all events taken as one long one: the loudest decide.
    events : int
        Measured in this band.
    limits : int
        Further ones that only gave a limit.
    at_least : bool
    """

    nominal_hz: float | None
    median_db: float
    lower_quartile_db: float
    upper_quartile_db: float
    energy_weighted_db: float
    events: int
    limits: int
    at_least: bool


def judged_events(
    events: Sequence[PairedEvent], lags: Sequence[SoundLag], alignment: Alignment, *, same_scale: bool
) -> tuple[PairedEvent, ...]:
    """Tell which events count.

    Parameters
    ----------
    events : sequence of PairedEvent
    lags : sequence of SoundLag
        One for each event.
    alignment : Alignment
    same_scale : bool
        Whether levels of both recordings can be compared: the side of the louder one is then known.

    Returns
    -------
    tuple of PairedEvent
        With their outcome; bands in which another sound was louder are not known.
    """
    judged = [_judged(event, lag, alignment) for event, lag in zip(events, lags, strict=True)]
    inside = _louder_at_pillow(judged) if same_scale else _second_group(judged)
    return tuple(
        replace(event, outcome="made in the bedroom") if wrong else event
        for event, wrong in zip(judged, inside, strict=True)
    )


def _judged(event: PairedEvent, lag: SoundLag, alignment: Alignment) -> PairedEvent:
    off_line_s = lag.pillow_s - alignment.pillow_s(lag.outer_s)
    foreign = event.heard & (event.likeness < LEAST_LIKENESS)
    outcome: Outcome = "used"
    if event.outcome == "not measurable":
        outcome = "not measurable"
    elif not event.heard[1:].any():
        outcome = "not heard"
    elif not (lag.sharpness >= SHARP and abs(off_line_s) <= LAG_TOLERANCE_S):
        outcome = "not the same sound"
    elif 2 * foreign[1:].sum() > event.heard[1:].sum():
        outcome = "covered by another sound"
    return replace(
        event,
        pillow_db=np.where(foreign, np.nan, event.pillow_db),
        sharpness=lag.sharpness,
        off_line_s=off_line_s,
        outcome=outcome,
    )


def _louder_at_pillow(events: Sequence[PairedEvent]) -> list[bool]:
    return [event.outcome == "used" and _typical_db(event) < 0.0 for event in events]


def _typical_db(event: PairedEvent) -> float:
    """Return the A-weighted difference, a limit if need be; of the bands that were heard if there is none."""
    weighted_db, *bands_db = event.difference_db
    return float(weighted_db if np.isfinite(weighted_db) else np.median(np.array(bands_db)[event.heard[1:]]))


def _second_group(events: Sequence[PairedEvent]) -> list[bool]:
    """Return which events lost far less than the others and arrived earlier, where no scale tells sides."""
    used = [place for place, event in enumerate(events) if event.outcome == "used"]
    wrong = np.zeros(len(events), dtype=np.bool_)
    unusual_db = _unusual_db([events[place] for place in used])
    ranked = np.sort(unusual_db)
    gaps = np.diff(ranked)
    if gaps.size and gaps.max() >= OTHER_SIDE_DB:
        lower = unusual_db <= ranked[np.argmax(gaps)]
        off_line_s = np.array([events[place].off_line_s for place in used])
        earlier = np.median(off_line_s[~lower]) - np.median(off_line_s[lower]) > OTHER_SIDE_S
        wrong[used] = lower & earlier
    return wrong.tolist()


def _unusual_db(events: Sequence[PairedEvent]) -> FloatArray:
    """Return how far each event's differences lie from those of all, median over its bands, dB."""
    if not events:
        return np.zeros(0)
    heard = np.array([event.heard[1:] for event in events])
    difference_db = np.array([event.difference_db[1:] for event in events])
    usual_db = [
        np.median(column[known]) if known.any() else np.nan
        for column, known in zip(difference_db.T, heard.T, strict=True)
    ]
    return np.array(
        [np.median(row[known]) for row, known in zip(difference_db - usual_db, heard, strict=True)]
    )


def band_differences(
    events: Sequence[PairedEvent], nominal_hz: tuple[float, ...], *, same_scale: bool
) -> tuple[BandDifference, ...]:
    """Return what each band loses, the A-weighted level first.

    Parameters
    ----------
    events : sequence of PairedEvent
        Those that do not count are passed over.
    nominal_hz : tuple of float
        Of the rows after the first.
    same_scale : bool
        If not, only the shape is known: the mean of all bands measured is then 0 dB, and there is no
        A-weighted difference.
    """
    used = [event for event in events if event.outcome == "used"]
    rows = tuple(_band(used, row, hz) for row, hz in enumerate((None, *nominal_hz)))
    if same_scale:
        return rows
    known = [row.median_db for row in rows[1:] if row.events >= FEWEST_EVENTS and not row.at_least]
    shift_db = float(np.mean(known)) if known else np.nan
    return tuple(_shifted(row, shift_db) for row in rows[1:])


def _shifted(row: BandDifference, shift_db: float) -> BandDifference:
    return replace(
        row,
        median_db=row.median_db - shift_db,
        lower_quartile_db=row.lower_quartile_db - shift_db,
        upper_quartile_db=row.upper_quartile_db - shift_db,
        energy_weighted_db=row.energy_weighted_db - shift_db,
    )


def _band(used: Sequence[PairedEvent], row: int, nominal_hz: float | None) -> BandDifference:
    measured = [event for event in used if event.heard[row]]
    difference_db = np.array([event.difference_db[row] for event in measured])
    limit_db = np.array([event.difference_db[row] for event in used if event.at_least[row]])
    limit_db = limit_db[np.isfinite(limit_db)]
    median_db, lower_db, upper_db, weighted_db = np.full(4, np.nan)
    at_least = difference_db.size < FEWEST_EVENTS
    if not at_least:
        lower_db, median_db, upper_db = np.percentile(difference_db, [25, 50, 75])
        weighted_db = _energy_weighted_db(measured, row)
        # As many events lost more than this, by an unknown amount, as were measured at all.
        at_least = bool((limit_db > median_db).sum() >= difference_db.size)
    elif limit_db.size + difference_db.size >= FEWEST_EVENTS:
        median_db = np.sort(np.concatenate([limit_db, difference_db]))[-FEWEST_EVENTS]
    return BandDifference(
        nominal_hz=nominal_hz,
        median_db=float(median_db),
        lower_quartile_db=float(lower_db),
        upper_quartile_db=float(upper_db),
        energy_weighted_db=float(weighted_db),
        events=difference_db.size,
        limits=limit_db.size,
        at_least=at_least,
    )


def _energy_weighted_db(events: Sequence[PairedEvent], row: int) -> FloatArray:
    ticks = np.array([event.last_tick - event.first_tick for event in events], dtype=np.float64)
    sides = [[getattr(event, name)[row] for event in events] for name in ("outer_db", "pillow_db")]
    outer, pillow = ((energy(levels_db) * ticks).sum() for levels_db in sides)
    return level(outer / pillow)
