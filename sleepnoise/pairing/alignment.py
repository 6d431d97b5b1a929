"""Two recordings of one night on one time line: lag and drift between two recorders' clocks.

First by their level histories, which costs little and searches hours; then by a straight line
through the lags at which the sound of single events was found again (``sound_lag``). Two nights
that were never one may fit somewhere by their levels; they have no sound in common.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from scipy import ndimage

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.fieldwork.ratings import ENLARGED_HZ
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory

COMPARED_HZ = ENLARGED_HZ[3:20]
"""Bands whose ups and downs are compared. Chosen: 100 Hz to 4 kHz, where walls let sound through that
small microphones still tell from their own noise."""

FLUCTUATION_DB = (-5.0, 20.0)
"""Lowest and highest departure from a band's median that counts, dB. Chosen: one bang must not outweigh
a night."""

SLOW_S = 60
"""Changes slower than this do not count, s. Chosen: the evening grows quiet in every room of a town."""

COARSE_S = 2.0
"""Smoothing in the first search, s. Chosen: as far as two clocks of 50 ppm drift apart within a night."""

LEAST_OVERLAP_S = 60.0
"""Shortest time that two recordings must have in common, s. Chosen: room for a few events."""

PART_S = 300
"""Parts in which drift is searched, s. Chosen: 200 ppm move the levels by half a tick within them."""

LARGEST_DRIFT_PPM = 200.0
"""Largest drift that is searched. Chosen: twice what two clocks of 50 ppm can do, in either direction."""

PART_SEARCH_S = 8.0
"""Lags searched in parts, s to either side. Chosen: the largest drift makes 5.8 s in eight hours."""

FEWEST_WITNESSES = 3
"""Fewest events whose sound lies on one line. Chosen: two points always do."""

LAG_TOLERANCE_S = 0.05
"""Largest distance of an event from the line, s. Chosen: microphones 8 m apart, sounds from both sides."""

SHARP = 10.0
"""Least sharpness with which a sound counts as found. Chosen: of 2400 pairs of unrelated noises, heard in
one band or in all, nine reached it, one in six of which by chance lies where the clocks say (measured)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """Where a moment of the outer recording lies in the one at the pillow.

    Attributes
    ----------
    lag_s : float, s
        Time in the recording at the pillow when the outer one begins.
    drift_ppm : float
        By how many millionths the recorder at the pillow counts more seconds than the outer one.
    witnesses : int
        Events whose sound agrees with it; 0 as long as only levels were compared.
    spread_s : float, s
        Standard deviation of their lags from the line: clocks, and ways of different length.
    """

    lag_s: float
    drift_ppm: float
    witnesses: int = 0
    spread_s: float = np.nan

    def pillow_s(self, outer_s: float) -> float:
        """Return the time in the recording at the pillow, s."""
        return outer_s * (1.0 + 1e-6 * self.drift_ppm) + self.lag_s


SAME_CLOCK = Alignment(lag_s=0.0, drift_ppm=0.0)
"""Two channels of one recording. Chosen: they share a clock; what sound takes on its way is found later."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundLag:
    """Where the sound of an event was found at the pillow.

    Attributes
    ----------
    outer_s, pillow_s : float, s
        The same instant in both recordings.
    sharpness : float
        How far the peak of the correlation stands out, in standard deviations; ``nan`` if there was
        nothing to look for.
    """

    outer_s: float
    pillow_s: float
    sharpness: float


def align_histories(
    outer: LevelHistory, pillow: LevelHistory, lags_s: tuple[float, float] = (-np.inf, np.inf)
) -> Alignment | None:
    """Find the lag, and roughly the drift, at which the ups and downs of two histories agree best.

    Parameters
    ----------
    outer, pillow : LevelHistory
    lags_s : tuple of float, s, optional
        Lags that are possible, if more is known than the sound. All when left out.

    Returns
    -------
    Alignment or None
        The best one, however bad; None if there is nothing to compare.
    """
    outer_db, pillow_db = fluctuation_db(outer), fluctuation_db(pillow)
    lag = _whole_lag(outer_db, pillow_db, lags_s)
    if lag is None or not (outer_db.any() and pillow_db.any()):
        return None
    return _by_parts(outer_db, pillow_db, lag)


def fluctuation_db(history: LevelHistory) -> FloatArray:
    """Return how levels go up and down, mean of all compared bands, shape (ticks,), dB."""
    bands = [band for band, hz in zip(history.bands, history.nominal_hz, strict=True) if hz in COMPARED_HZ]
    total = np.zeros(history.ticks)
    for levels in bands:
        usable = np.isfinite(levels) & ~history.left_out
        if usable.any():
            departure_db = levels - np.median(levels[usable])
            total += np.where(usable, np.clip(departure_db, *FLUCTUATION_DB), 0.0)
    mean_db = total / max(len(bands), 1)
    return np.asarray(mean_db - ndimage.uniform_filter1d(mean_db, SLOW_S * TICKS_PER_SECOND))


def _whole_lag(outer_db: FloatArray, pillow_db: FloatArray, lags_s: tuple[float, float]) -> int | None:
    """Return the lag in ticks at which two smoothed histories agree best."""
    width = round(COARSE_S * TICKS_PER_SECOND)
    smooth = [ndimage.uniform_filter1d(each, width) for each in (outer_db, pillow_db)]
    size = scipy.fft.next_fast_len(outer_db.size + pillow_db.size, real=True)
    spectra = [scipy.fft.rfft(each, size) for each in smooth]
    likeness = scipy.fft.irfft(spectra[0].conj() * spectra[1], size)
    lags = np.arange(1 - outer_db.size, pillow_db.size)
    overlap = np.minimum(outer_db.size, pillow_db.size - lags) - np.maximum(0, -lags)
    low, high = np.asarray(lags_s) * TICKS_PER_SECOND
    possible = lags[(overlap >= LEAST_OVERLAP_S * TICKS_PER_SECOND) & (lags >= low) & (lags <= high)]
    return int(possible[np.argmax(likeness[possible])]) if possible.size else None


def _by_parts(outer_db: FloatArray, pillow_db: FloatArray, lag: int) -> Alignment:
    """Return the drift at which the correlations of all parts line up, and the lag that goes with it."""
    reach = round(PART_SEARCH_S * TICKS_PER_SECOND)
    likeness = _part_likeness(outer_db, pillow_db, np.arange(lag - reach, lag + reach + 1))
    middles = (np.arange(len(likeness)) + 0.5) * PART_S * TICKS_PER_SECOND
    reference = outer_db.size / 2
    # One tick over half the recording is the finest step that can be seen.
    steps = int(LARGEST_DRIFT_PPM * 1e-6 * reference)
    best = (-np.inf, 0.0, 0.0)
    for drift in np.arange(-steps, steps + 1) / max(reference, 1.0):
        shifts = np.rint(drift * (middles - reference)).astype(np.int64)
        places = np.arange(2 * reach + 1) + shifts[:, None]
        inside = (places >= 0) & (places <= 2 * reach)
        moved = np.take_along_axis(likeness, np.clip(places, 0, 2 * reach), axis=1)
        stacked = np.where(inside, moved, 0.0).sum(axis=0)
        peak = int(np.argmax(stacked))
        best = max(best, (float(stacked[peak]), float(drift), float(lag - reach + peak)))
    _, drift, at_reference = best
    return Alignment(lag_s=(at_reference - drift * reference) * TICK_S, drift_ppm=drift * 1e6)


def _part_likeness(outer_db: FloatArray, pillow_db: FloatArray, lags: np.ndarray) -> FloatArray:
    """Return the correlation of each part at each lag, shape (parts, lags)."""
    before, after = max(0, -int(lags[0])), max(0, int(lags[-1]) + outer_db.size - pillow_db.size)
    padded = np.pad(pillow_db, (before, after))
    cuts = np.arange(0, outer_db.size, PART_S * TICKS_PER_SECOND)
    columns = [
        np.add.reduceat(outer_db * padded[before + lag : before + lag + outer_db.size], cuts) for lag in lags
    ]
    return np.stack(columns, axis=1)


def line_through(lags: Sequence[SoundLag], *, one_clock: bool) -> Alignment | None:
    """Draw the line on which the sounds of most events were found.

    Parameters
    ----------
    lags : sequence of SoundLag
    one_clock : bool
        Both recordings are channels of one: there is no drift.

    Returns
    -------
    Alignment or None
        None if too few sounds were found, or fewer than half of those found agree.
    """
    found = [each for each in lags if each.sharpness >= SHARP]
    if len(found) < FEWEST_WITNESSES:
        return None
    outer_s = np.array([each.outer_s for each in found])
    lag_s = np.array([each.pillow_s for each in found]) - outer_s
    slope = 0.0 if one_clock else _median_slope(outer_s, lag_s)
    rest_s = lag_s - slope * outer_s
    agree = np.abs(rest_s - np.median(rest_s)) <= LAG_TOLERANCE_S
    witnesses = int(agree.sum())
    if witnesses < max(FEWEST_WITNESSES, len(found) / 2):
        return None
    rest_s = rest_s[agree]
    return Alignment(
        lag_s=float(rest_s.mean()),
        drift_ppm=1e6 * slope,
        witnesses=witnesses,
        spread_s=float(rest_s.std()),
    )


def _median_slope(outer_s: FloatArray, lag_s: FloatArray) -> float:
    """Return the median of the slopes of all pairs, which a quarter of strays hardly moves."""
    first, second = np.triu_indices(outer_s.size, 1)
    slope = np.median((lag_s[second] - lag_s[first]) / (outer_s[second] - outer_s[first]))
    # Events close together tell lags, but hardly a drift.
    return float(np.clip(slope, -1e-6 * LARGEST_DRIFT_PPM, 1e-6 * LARGEST_DRIFT_PPM))
