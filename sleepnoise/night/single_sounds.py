"""Single sounds within a stretch of time: barks, steps, beats, and where their energy lies.

A single sound is a maximum of the F-weighted level from which the level falls by some decibels
on both sides before it rises higher. Two sounds are alike if their energy lies in the same
bands; how far it would have to be moved is told in third octaves.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory

Ticks = NDArray[np.int64]

PROMINENCE_TICKS = 300 * TICKS_PER_SECOND
"""Stretch around a maximum in which the level must have fallen, ticks. Chosen: five minutes, the memory of
the background; without an end, a night of equal beats would cost the square of its length."""

_WINDOW: dict[str, Any] = {"wlen": 2 * PROMINENCE_TICKS, "plateau_size": (None, PROMINENCE_TICKS)}
"""The same for the course, which has two entries a tick. Chosen: see PROMINENCE_TICKS; a maximum that is flat
for longer than half of it has nothing beside it to stand out from."""

BRIEF_S = 1.5
"""Longest single sound of a series, near its maximum, s. Chosen: a bark, step, beat or cough is shorter, a
phrase of speech or a passage longer."""

SERIES_SHARE = 0.5
"""Part of all maxima of like height that are single sounds in a series. Chosen: of steps and beats nearly all
are, of talk and music that go on a third at most; the rest are ripples."""

RIPPLE_DB = 1.5
"""Fall on both sides of the least maximum that counts. Chosen: more than a steady sound scatters."""

RIPPLE_BELOW_DB = 3.0
"""How far below the single sounds such a maximum may lie. Chosen: quieter ones are of another sound."""

ALIKE_BANDS = 3.0
"""Third octaves by which the energies of sounds that are alike differ at most. Chosen: an octave; the same
bark or step scatters by one or two bands from one time to the next."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SingleSounds:
    """The single sounds of one stretch.

    Attributes
    ----------
    ticks : ndarray, shape (sounds,)
        Ticks in which they are loudest, rising.
    between : ndarray, shape (sounds - 1,)
        First tick after the lowest reading between one and the next.
    lafmax : ndarray, shape (sounds,), dB
    brief : bool
        Whether they are short enough for members of a series, and not mere loud words of a sound
        that goes on; False if there is none.
    """

    ticks: Ticks
    between: Ticks
    lafmax: FloatArray
    brief: bool

    @property
    def count(self) -> int:
        """How many there are; 1 where the stretch is no row of brief sounds."""
        return int(self.ticks.size) if self.brief else 1


def single_sounds(
    history: LevelHistory, first: int, last: int, *, floor_db: float, least_db: float
) -> SingleSounds:
    """Return the single sounds within a range of ticks.

    Parameters
    ----------
    history : LevelHistory
    first, last : int
        Half-open range of ticks, all of them usable.
    floor_db : float, dB
        Level before and after the range.
    least_db : float, dB
        How far the level must fall on both sides of a sound.
    """
    # Each tick's maximum, then the reading at its end: in the order in which they came about.
    levels = np.stack([history.lafmax[first:last], history.laf[first:last]], axis=1)
    course = np.concatenate([[floor_db], levels.astype(np.float64).reshape(-1), [floor_db]])
    peaks, found = signal.find_peaks(course, prominence=least_db, **_WINDOW)
    # Halfway down what a sound must fall at least: whole heights would reach over all equal sounds.
    bases = np.full(peaks.size, least_db), found["left_bases"], found["right_bases"]
    widths, halfway_db, *_ = signal.peak_widths(course, peaks, prominence_data=bases)
    lowest = [begin + int(course[begin:end].argmin()) for begin, end in pairwise(peaks)]
    return SingleSounds(
        ticks=first + (peaks - 1) // 2,
        between=first + (np.array(lowest, dtype=np.int64) + 1) // 2,
        lafmax=course[peaks],
        brief=_brief(course, np.asarray(halfway_db, dtype=np.float64), widths),
    )


def _brief(course: FloatArray, halfway_db: FloatArray, widths: FloatArray) -> bool:
    """Return whether single sounds of some widths halfway down, in steps of the course, can be a series."""
    if widths.size == 0 or np.median(widths) > BRIEF_S * 2 * TICKS_PER_SECOND:
        return False
    as_high_db = float(np.median(halfway_db)) - RIPPLE_BELOW_DB
    maxima, _ = signal.find_peaks(course, height=as_high_db, prominence=RIPPLE_DB, **_WINDOW)
    return bool(widths.size >= SERIES_SHARE * maxima.size)


def energy_places(history: LevelHistory, ticks: Ticks) -> FloatArray:
    """Return, for sounds that are loudest in given ticks, where in the spectrum their energy lies.

    Parameters
    ----------
    history : LevelHistory
    ticks : ndarray, shape (sounds,)

    Returns
    -------
    ndarray, shape (sounds, bands)
        Share of the A-weighted energy that lies in each band or below, 0 to 1; what is not known
        counts as silence.
    """
    weights_db = band_weighting_db(history.nominal_hz)[:, np.newaxis]
    # The maximum of an F-weighted level comes at the end of its sound, often in the tick after.
    near = np.stack([ticks, np.maximum(ticks - 1, 0)])
    heard = np.nan_to_num(energy(history.bands[:, near.reshape(-1)] + weights_db))
    heard = heard.reshape(-1, *near.shape).sum(axis=1)
    below = np.cumsum(heard, axis=0).T
    total = below[:, -1:] if below.shape[1] else np.zeros((ticks.size, 1))
    shares = np.zeros(below.shape)
    return np.asarray(np.divide(below, total, out=shares, where=total > 0))


def bands_apart(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return by how many third octaves energies lie apart, pair by pair, shape (sounds,).

    The least distance over which the energy of one has to be moved to give the other, on
    average; 0 if no bands are known.
    """
    return np.asarray(np.abs(one - other).sum(axis=-1))
