"""The survey method for tones: a third octave that stands out from both of its neighbours.

The method looks at time-averaged spectra. Each minute is averaged by itself: a hum that runs for
a part of the night is then not hidden in the rest of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory

ISO_1996_2_K = Source(document="ISO 1996-2:2017", place="Annex K, survey method", how_known="library")

STANDS_OUT_DB = ((25.0, 125.0, 15.0), (160.0, 400.0, 8.0), (500.0, 10_000.0, 5.0))
"""First and last band, Hz, and how far one of them must lie above both neighbours, dB.
Source: ISO_1996_2_K."""

STRETCH_S = 60
"""Averaging time, s. Chosen: noise in the 25 Hz band then scatters by 0.2 dB, and a hum that goes on
and off within minutes keeps its level."""

LEAST_SHARE = 0.5
"""Part of a minute that must be usable. Chosen: less is an average of what lay between events."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTone:
    """A third octave that stood out.

    Attributes
    ----------
    nominal_hz : float, Hz
    above_neighbours_db : float, dB
        Above the louder of the two, in the minute in which it stood out most.
    needed_db : float, dB
        What the method asks for.
    share : float
        Of the minutes examined, those in which it stood out.
    """

    nominal_hz: float
    above_neighbours_db: float
    needed_db: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneSurvey:
    """What the survey method says of a stretch.

    Attributes
    ----------
    minutes : int
        Minutes examined.
    tones : tuple of BandTone
        Most frequent first.
    not_examined_hz : tuple of float, Hz
        Bands of the method that, or a neighbour of which, the recording does not have.
    """

    minutes: int
    tones: tuple[BandTone, ...]
    not_examined_hz: tuple[float, ...]


def needed_by_band() -> dict[float, float]:
    """Return the bands of the method and how far each must stand out, dB."""
    return {
        nominal: needed_db
        for first, last, needed_db in STANDS_OUT_DB
        for nominal in NOMINAL_HZ
        if first <= nominal <= last
    }


def above_neighbours_db(levels_db: ArrayLike) -> FloatArray:
    """Return how far each band lies above the louder of its neighbours.

    Parameters
    ----------
    levels_db : array_like, shape (bands, ...), dB

    Returns
    -------
    ndarray, same shape, dB
        ``nan`` for the outer bands, and where a band or a neighbour is silent or unknown: what a
        coder or filter has removed tells nothing about tones.
    """
    levels = np.where(np.isfinite(levels_db), levels_db, np.nan)
    excess = np.full(levels.shape, np.nan)
    excess[1:-1] = levels[1:-1] - np.maximum(levels[:-2], levels[2:])
    return excess


def survey_tones(history: LevelHistory) -> ToneSurvey:
    """Look for tones in a history by the survey method.

    Parameters
    ----------
    history : LevelHistory
        What its ``left_out`` marks is not looked at.

    Returns
    -------
    ToneSurvey
    """
    excess = above_neighbours_db(minute_levels(history))
    examined = int(np.isfinite(excess).any(axis=0).sum())
    tones, missing = [], []
    for nominal, needed_db in needed_by_band().items():
        place = history.nominal_hz.index(nominal) if nominal in history.nominal_hz else None
        if place in (None, 0, len(history.nominal_hz) - 1):
            missing.append(nominal)
            continue
        found = excess[place][excess[place] >= needed_db]
        if found.size:
            tones.append(
                BandTone(
                    nominal_hz=nominal,
                    above_neighbours_db=float(found.max()),
                    needed_db=needed_db,
                    share=found.size / examined,
                )
            )
    return ToneSurvey(
        minutes=examined,
        tones=tuple(sorted(tones, key=lambda tone: -tone.share)),
        not_examined_hz=tuple(missing),
    )


def minute_levels(history: LevelHistory) -> FloatArray:
    """Return equivalent band levels of each minute, shape (bands, minutes), dB.

    ``nan`` where more than half of a minute is left out; the rest of a last minute is a minute.
    """
    length = STRETCH_S * TICKS_PER_SECOND
    firsts = np.arange(0, history.ticks, length)
    kept = ~history.left_out
    counts = np.add.reduceat(kept.astype(np.int64), firsts) if firsts.size else np.empty(0, dtype=np.int64)
    enough = counts >= LEAST_SHARE * length
    minutes = np.full((len(history.nominal_hz), firsts.size), np.nan)
    if not firsts.size:
        return minutes
    for row, band in zip(minutes, history.bands, strict=True):
        sums = np.add.reduceat(np.where(kept, energy(band), 0.0), firsts)
        row[enough] = level(sums[enough] / counts[enough])
    return minutes
