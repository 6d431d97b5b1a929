"""Quantities of field measurements: from levels in two rooms to insulation.

Every function takes one value or one a band and returns the same shape, in dB. ``nan`` (not
known) and ``-inf`` (silence) survive.

Symbols: ``L1`` level in the source room or outdoors, ``L2`` level in the receiving room, ``T``
reverberation time, ``A`` equivalent absorption area, ``S`` area of the element, ``V`` volume of
the receiving room.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source

ISO_10140_2 = Source(document="ISO 10140-2", place="definition of R, A = 0.16 V/T", how_known="library")
ISO_16283_1 = Source(
    document="ISO 16283-1:2014", place="definitions and clauses 8 and 10.4", how_known="library"
)
ISO_16283_3 = Source(document="ISO 16283-3:2016", place="3.12, 3.13 and D2m,nT", how_known="library")
EN_12354_3 = Source(document="EN 12354-3:2000", place="formula 13", how_known="library")
ISO_10052 = Source(document="ISO 10052:2021", place="S replaced by V/7.5 if larger", how_known="library")
ASTM_E336 = Source(
    document="ASTM E336-16", place="9.4.1.2, as quoted in a public report", how_known="looked-up"
)

SABINE_S_PER_M = 0.16
"""A = 0.16 V/T, s/m. Source: ISO_10140_2."""
REFERENCE_REVERBERATION_S = 0.5
"""T0 of dwellings. Source: ISO_16283_1."""
REFERENCE_ABSORPTION_M2 = 10.0
"""A0. Source: ISO_16283_1."""
LOUDSPEAKER_45_DEG_DB = -1.5
"""Correction for sound that falls in at 45 degrees, measured at the element. Source: ISO_16283_3."""
TRAFFIC_DB = -3.0
"""Correction for road traffic, measured at the element. Source: ISO_16283_3."""
SMALL_ROOM_BELOW_M3 = 25
"""Rounded volume below which the low-frequency procedure holds. Source: ISO_16283_1."""
LOW_FREQUENCY_BANDS_HZ = (50.0, 63.0, 80.0)
"""Bands of the low-frequency procedure. Source: ISO_16283_1."""
SURVEY_DEPTH_M = 7.5
"""Survey: the element counts at least V/7.5 m of area. Source: ISO_10052."""
NNIC_ROOM_M3 = (25.0, 150.0)
"""Volumes between which an NNIC may be stated. Source: ASTM_E336."""
NNIC_SMALLEST_DIMENSION_M = 2.3
"""Smallest room dimension for an NNIC. Source: ASTM_E336."""


def position_mean(levels_db: ArrayLike) -> FloatArray:
    """Energy-average levels over microphone positions (first axis), dB.

    A position whose level is not known leaves the mean unknown.

    Examples
    --------
    >>> position_mean([[60.0, 50.0], [60.0, 50.0]]).round(1).tolist()
    [60.0, 50.0]
    """
    return level(np.mean(energy(levels_db), axis=0))


def absorption_area_m2(volume_m3: float, reverberation_s: ArrayLike) -> FloatArray:
    """Return the equivalent absorption area ``0.16 V/T``, m²."""
    return np.asarray(SABINE_S_PER_M * volume_m3 / _real(reverberation_s))


def reverberation_for_s(volume_m3: float, absorption_m2: ArrayLike) -> FloatArray:
    """Return the reverberation time that a room with this absorption has, s."""
    return np.asarray(SABINE_S_PER_M * volume_m3 / _real(absorption_m2))


def level_difference(l1_db: ArrayLike, l2_db: ArrayLike) -> FloatArray:
    """Return ``D = L1 - L2``, dB."""
    return np.asarray(_real(l1_db) - _real(l2_db))


def normalized_level_difference(d_db: ArrayLike, absorption_m2: ArrayLike) -> FloatArray:
    """Return ``Dn = D - 10 lg(A/A0)``, dB, with A0 = 10 m².

    Of a small element measured alone this is its ``Dn,e`` (ISO 10140-2).
    """
    return np.asarray(_real(d_db) - level(_real(absorption_m2) / REFERENCE_ABSORPTION_M2))


def standardized_level_difference(d_db: ArrayLike, reverberation_s: ArrayLike) -> FloatArray:
    """Return ``DnT = D + 10 lg(T/T0)``, dB, with T0 = 0.5 s.

    With the sound outdoors at 2 m from the facade this is ``D2m,nT``; the same formula gives
    ASTM E336's normalized noise reduction.

    Examples
    --------
    >>> round(float(standardized_level_difference(40.0, 5.0)), 6)
    50.0
    """
    return np.asarray(_real(d_db) + level(_real(reverberation_s) / REFERENCE_REVERBERATION_S))


def apparent_reduction_index(
    d_db: ArrayLike, area_m2: float, absorption_m2: ArrayLike, incidence_db: float = 0.0
) -> FloatArray:
    """Return ``R' = D + 10 lg(S/A)`` plus a correction for the incidence, dB.

    Parameters
    ----------
    d_db : array_like, dB
    area_m2 : float, m²
    absorption_m2 : array_like, m²
    incidence_db : float, optional
        ``LOUDSPEAKER_45_DEG_DB`` for R'45 and ``TRAFFIC_DB`` for R'tr,s, both with the outdoor
        microphone on the element; 0 dB from room to room.
    """
    return np.asarray(_real(d_db) + level(area_m2 / _real(absorption_m2)) + incidence_db)


def facade_level_difference(
    r_prime_db: ArrayLike, volume_m3: float, area_m2: float, shape_db: float = 0.0
) -> FloatArray:
    """Predict ``D2m,nT = R' + dLfs + 10 lg(0.16 V/(T0 S))``, dB.

    Parameters
    ----------
    r_prime_db : array_like, dB
    volume_m3 : float, m³
    area_m2 : float, m²
        Area of the facade as seen from inside.
    shape_db : float, optional
        Influence of the facade's shape dLfs; 0 dB for a plane one.

    Notes
    -----
    The older form with V/(6 T0 S) comes out 0.18 dB higher.

    References
    ----------
    EN 12354-3:2000, formula 13 (ISO 12354-3:2017, formula 4).
    """
    room_db = level(SABINE_S_PER_M * volume_m3 / (REFERENCE_REVERBERATION_S * area_m2))
    return np.asarray(_real(r_prime_db) + room_db + shape_db)


def level_behind(l1_db: ArrayLike, r_db: ArrayLike, area_m2: float, absorption_m2: ArrayLike) -> FloatArray:
    """Predict the receiving level ``L2 = L1 - R + 10 lg(S/A)``, dB.

    Examples
    --------
    >>> round(float(level_behind(70.0, 20.0, 1.69, 11.06)), 2)
    41.84
    """
    return np.asarray(level_difference(l1_db, r_db) + level(area_m2 / _real(absorption_m2)))


def level_behind_facade(l1_2m_db: ArrayLike, d_2m_nt_db: ArrayLike, reverberation_s: ArrayLike) -> FloatArray:
    """Predict the level indoors from that 2 m before the facade: ``L1,2m - D2m,nT + 10 lg(T/T0)``, dB."""
    return level_difference(l1_2m_db, d_2m_nt_db) + level(_real(reverberation_s) / REFERENCE_REVERBERATION_S)


def door_insertion_loss(
    open_db: ArrayLike,
    closed_db: ArrayLike,
    source_open_db: ArrayLike = 0.0,
    source_closed_db: ArrayLike = 0.0,
) -> FloatArray:
    """Return what closing a door takes off on the receiving side, dB.

    Parameters
    ----------
    open_db, closed_db : array_like, dB
        Levels on the receiving side, sound source unchanged.
    source_open_db, source_closed_db : array_like, dB, optional
        Levels on the source side, if they were measured: the room behind a closed door may get
        louder or softer, and that is no merit of the door.

    References
    ----------
    In the manner of ASTM E2964-21, clause 5; its exact formula was not seen.
    """
    source_change_db = level_difference(source_open_db, source_closed_db)
    return level_difference(open_db, closed_db) - source_change_db


def needs_low_frequency_procedure(volume_m3: float) -> bool:
    """Whether 50, 63 and 80 Hz need the procedure for small rooms; volumes round half up to 1 m³."""
    return int(np.floor(volume_m3 + 0.5)) < SMALL_ROOM_BELOW_M3


def low_frequency_level(room_db: ArrayLike, corners_db: ArrayLike) -> FloatArray:
    """Return the low-frequency level of a small room, dB.

    Parameters
    ----------
    room_db : array_like, shape (bands,), dB
        Energy averages over the room at 50, 63 and 80 Hz.
    corners_db : array_like, shape (corners, bands), dB
        The standard asks for four corners; the loudest counts, band by band. In the receiving
        room all three bands take the reverberation time of the 63 Hz octave.

    References
    ----------
    ISO 16283-1:2014, clauses 8 and 10.4.
    """
    loudest = np.max(energy(corners_db), axis=0)
    return level((loudest + 2.0 * energy(room_db)) / 3.0)


def survey_area_m2(area_m2: float, volume_m3: float) -> float:
    """Return the area that counts in R' by the survey method, m²: small elements count as V/7.5 m.

    Examples
    --------
    >>> survey_area_m2(1.7, 30.0), survey_area_m2(9.6, 30.0)
    (4.0, 9.6)
    """
    return max(area_m2, volume_m3 / SURVEY_DEPTH_M)


def nnic_may_be_stated(volume_m3: float, smallest_dimension_m: float) -> bool:
    """Whether a receiving room allows a normalized noise isolation class."""
    smallest_m3, largest_m3 = NNIC_ROOM_M3
    roomy = smallest_dimension_m >= NNIC_SMALLEST_DIMENSION_M
    return smallest_m3 <= volume_m3 < largest_m3 and roomy


def _real(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
