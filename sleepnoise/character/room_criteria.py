"""Ratings of a room's steady background by families of curves: NC and NR.

Both are made for the steady sound of building services. NC comes in editions that differ by
1 dB in places; here it is that of 2019.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine
from sleepnoise.acoustics.source import Source

ANSI_S12_2 = Source(document="ANSI/ASA S12.2-2019", place="Table 1, NC curves", how_known="library")
ISO_R_1996 = Source(document="ISO/R 1996:1971", place="NR curves, L = a + b N", how_known="looked-up")

OCTAVES_HZ = (16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octave bands of the curves, Hz. Source: ANSI_S12_2."""

NC_INDEX = (15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70)
"""Names of the NC curves. Source: ANSI_S12_2."""

_NC_DB = (
    (78, 61, 47, 36, 28, 22, 18, 14, 12, 11),
    (79, 63, 50, 40, 33, 26, 22, 20, 17, 16),
    (80, 65, 54, 44, 37, 31, 27, 24, 22, 22),
    (81, 68, 57, 48, 41, 35, 32, 29, 28, 27),
    (82, 71, 60, 52, 45, 40, 36, 34, 33, 32),
    (84, 74, 64, 56, 50, 44, 41, 39, 38, 37),
    (85, 76, 67, 60, 54, 49, 46, 44, 43, 42),
    (87, 79, 71, 64, 58, 54, 51, 49, 48, 47),
    (89, 82, 74, 67, 62, 58, 56, 54, 53, 52),
    (90, 85, 77, 71, 66, 63, 60, 59, 58, 57),
    (90, 88, 80, 75, 71, 68, 65, 64, 63, 62),
    (90, 90, 84, 79, 75, 72, 71, 70, 68, 68),
)
"""Octave levels of each curve, dB. Source: ANSI_S12_2."""
NC_DB_BY_BAND = tuple(zip(*_NC_DB, strict=True))
"""Levels of all curves in each octave band, dB. Source: ANSI_S12_2."""

ON_CURVE = 0.01
"""Part of an index that is no excess. Chosen: levels are kept in hundredths of a decibel."""

SPEECH_HZ = (500.0, 1000.0, 2000.0, 4000.0)
"""Octaves of the speech interference level. Source: ANSI_S12_2."""

NR_A_DB = (55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0)
"""a of the NR curves, 31.5 Hz to 8 kHz, dB. Source: ISO_R_1996."""

NR_B = (0.681, 0.79, 0.87, 0.93, 0.974, 1.0, 1.015, 1.025, 1.03)
"""b of the NR curves. Source: ISO_R_1996."""


STEP = 5
"""Distance of printed curves. Source: ANSI_S12_2; NR curves are printed alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomRating:
    """A rating by one family of curves.

    Attributes
    ----------
    index : float
        Of the curve that the spectrum touches from below, between two printed ones in proportion.
        ``inf`` above all curves, ``-inf`` below all of them, ``nan`` if no band is known.
    governing_hz : float, Hz
        Octave band that touches; ``nan`` where there is no such curve.
    printed : int or None
        The lowest curve in steps of five that no band exceeds; None above all curves, or if no
        band is known.
    not_measured_hz : tuple of float, Hz
        Bands of the curves of which nothing is known.
    """

    index: float
    governing_hz: float
    printed: int | None
    not_measured_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomCriteria:
    """What room criteria say of a background.

    Attributes
    ----------
    nc_index : float
        The NC rating: the speech interference level if no band lies above its curve, otherwise
        the curve touched.
    nc_by_speech : bool
        Whether it is the former.
    speech_interference_db : float, dB
        Mean of the octaves 500 Hz to 4 kHz; ``nan`` if one of them is not known.
    nc, nr : RoomRating
        By the curves touched.
    """

    nc_index: float
    nc_by_speech: bool
    speech_interference_db: float
    nc: RoomRating
    nr: RoomRating


def octave_levels(nominal_hz: tuple[float, ...], levels_db: FloatArray) -> FloatArray:
    """Return octave levels from third octaves, shape (10,), dB; ``nan`` where one of three is not known."""
    known = dict(zip(nominal_hz, map(float, levels_db), strict=True))
    octaves = np.full(len(OCTAVES_HZ), np.nan)
    for place, octave in enumerate(OCTAVES_HZ):
        # Below the 31.5 Hz octave a recording has no whole octave.
        if octave in NOMINAL_HZ:
            middle = NOMINAL_HZ.index(octave)
            thirds = [known.get(hz, np.nan) for hz in NOMINAL_HZ[middle - 1 : middle + 2]]
            octaves[place] = combine(thirds)
    return octaves


def room_criteria(octaves_db: FloatArray) -> RoomCriteria:
    """Rate the octave levels of a steady background.

    Parameters
    ----------
    octaves_db : ndarray, shape (10,), dB re 20 µPa
        On ``OCTAVES_HZ``; ``nan`` is not known, ``-inf`` is silence.

    Returns
    -------
    RoomCriteria
    """
    speech_db = float(np.mean(octaves_db[[OCTAVES_HZ.index(hz) for hz in SPEECH_HZ]]))
    nc = nc_rating(octaves_db)
    by_speech = NC_INDEX[0] <= speech_db <= NC_INDEX[-1] and nc.index <= speech_db
    return RoomCriteria(
        nc_index=speech_db if by_speech else nc.index,
        nc_by_speech=by_speech,
        speech_interference_db=speech_db,
        nc=nc,
        nr=nr_rating(octaves_db),
    )


def nc_rating(octaves_db: FloatArray) -> RoomRating:
    """Rate octave levels by the NC curve that they touch; shape as for :func:`room_criteria`."""
    rating = _touching(np.array([_nc_index(*pair) for pair in zip(octaves_db, NC_DB_BY_BAND, strict=True)]))
    # Whatever lies below the lowest curve does not exceed it.
    return replace(rating, printed=NC_INDEX[0]) if np.isneginf(rating.index) else rating


def nr_rating(octaves_db: FloatArray) -> RoomRating:
    """Rate octave levels by the NR curve that they touch; shape as for :func:`room_criteria`."""
    return _touching(np.array([np.nan, *((octaves_db[1:] - NR_A_DB) / NR_B)]))


def _nc_index(level_db: float, curves_db: tuple[int, ...]) -> float:
    """Return the lowest index of a curve that reaches a level in one band."""
    if np.isnan(level_db):
        return float("nan")
    if level_db < curves_db[0]:
        return float("-inf")
    if level_db > curves_db[-1]:
        return float("inf")
    levels, places = np.unique(curves_db, return_index=True)
    return float(np.interp(level_db, levels, np.array(NC_INDEX)[places]))


def _touching(indices: FloatArray) -> RoomRating:
    known = ~np.isnan(indices)
    highest = float(np.max(indices[known], initial=-np.inf)) if known.any() else float("nan")
    finite = bool(np.isfinite(highest))
    return RoomRating(
        index=highest,
        governing_hz=OCTAVES_HZ[int(np.nanargmax(indices))] if finite else float("nan"),
        printed=STEP * math.ceil((highest - ON_CURVE) / STEP) if finite else None,
        not_measured_hz=tuple(np.array(OCTAVES_HZ)[~known].tolist()),
    )
