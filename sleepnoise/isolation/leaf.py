"""Sound reduction index of solid leaves, single and double, where no measurement is at hand.

Everything takes frequencies in any shape and returns the same shape in dB. Tabulated data of a
real element are always better than these models.

Symbols: ``m`` mass per area, ``fc`` critical frequency, ``eta`` loss factor, ``d`` cavity depth,
``f0`` mass-air-mass resonance.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray, level
from sleepnoise.acoustics.source import Source

MASS_LAW = Source(
    document="Handbooks of noise control", place="field incidence mass law, -47 dB", how_known="memory"
)
SHARP = Source(
    document="Sharp, Noise Control Engineering 1978",
    place="single and double panels, as given in handbooks",
    how_known="memory",
)
HOPKINS = Source(document="Hopkins, Sound Insulation, 2007", place="Table A2", how_known="library")
AIR = Source(document="Properties of air", place="20 °C, 101 kPa", how_known="memory")

SOUND_SPEED_M_PER_S = 343.0
"""c0. Source: AIR."""
AIR_DENSITY_KG_PER_M3 = 1.2
"""rho. Source: AIR."""
FIELD_INCIDENCE_DB = -47.0
"""R = 20 lg(f m) - 47; older handbooks print -48. Source: MASS_LAW."""
MASS_AIR_MASS = 60.0
"""f0 = 60 sqrt((1/m1 + 1/m2)/d); 59.8 from the stiffness of air. Source: SHARP."""
CAVITY_LIMIT = 55.0
"""fl = 55/d, above which the cavity no longer is a spring. Source: SHARP."""
CRITICAL_FREQUENCY_TIMES_THICKNESS_M_HZ = {
    "glass": 12.5,
    "gypsum board, natural gypsum": 43.5,
    "gypsum board, flue-gas gypsum": 35.8,
    "gypsum board with glass fibre": 32.3,
    "chipboard": 29.5,
    "MDF": 25.3,
    "OSB": 25.2,
    "birch plywood": 16.8,
    "softwood": 13.0,
    "solid brick": 24.0,
    "dense aggregate block": 20.3,
    "lightweight aggregate block": 29.5,
    "aerated concrete block": 34.1,
    "concrete": 17.1,
    "gypsum plaster": 40.3,
    "steel": 12.3,
}
"""fc h of homogeneous plates. Source: HOPKINS."""


def mass_law(
    frequency_hz: ArrayLike, mass_kg_per_m2: float, constant_db: float = FIELD_INCIDENCE_DB
) -> FloatArray:
    """Return the field incidence mass law ``20 lg(f m) - 47``, dB, never below 0.

    Examples
    --------
    >>> round(float(mass_law(500.0, 10.0)), 2)
    26.98
    """
    return np.maximum(0.0, 2.0 * level(_hz(frequency_hz) * mass_kg_per_m2) + constant_db)


def normal_incidence(
    frequency_hz: ArrayLike, mass_kg_per_m2: float, impedance_pa_s_per_m: float | None = None
) -> FloatArray:
    """Return the mass law for sound that falls in at right angles, dB.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    mass_kg_per_m2 : float
    impedance_pa_s_per_m : float, optional
        Characteristic impedance of air; that of 20 °C when left out.
    """
    impedance = impedance_pa_s_per_m or AIR_DENSITY_KG_PER_M3 * SOUND_SPEED_M_PER_S
    return level(1.0 + (np.pi * _hz(frequency_hz) * mass_kg_per_m2 / impedance) ** 2)


def critical_frequency_hz(thickness_m: float, material: str) -> float:
    """Return the frequency at which bending waves are as fast as sound in air, Hz.

    Parameters
    ----------
    thickness_m : float, m
    material : str
        A key of ``CRITICAL_FREQUENCY_TIMES_THICKNESS_M_HZ``.

    Examples
    --------
    >>> round(critical_frequency_hz(0.006, "glass"))
    2083
    """
    return CRITICAL_FREQUENCY_TIMES_THICKNESS_M_HZ[material] / thickness_m


def critical_frequency_from_speed_hz(thickness_m: float, longitudinal_speed_m_per_s: float) -> float:
    """Return ``c0²/(1.8 cL h)`` for a plate of known quasi-longitudinal wave speed, Hz."""
    return SOUND_SPEED_M_PER_S**2 / (1.8 * longitudinal_speed_m_per_s * thickness_m)


def above_coincidence(
    frequency_hz: ArrayLike, mass_kg_per_m2: float, critical_hz: float, loss_factor: float
) -> FloatArray:
    """Return Cremer's reduction index at and above the critical frequency, dB."""
    impedance = AIR_DENSITY_KG_PER_M3 * SOUND_SPEED_M_PER_S
    frequency = _hz(frequency_hz)
    inert_db = 2.0 * level(np.pi * frequency * mass_kg_per_m2 / impedance)
    return inert_db + level(2.0 * loss_factor * frequency / (np.pi * critical_hz))


def single_leaf(
    frequency_hz: ArrayLike, mass_kg_per_m2: float, critical_hz: float, loss_factor: float
) -> FloatArray:
    """Return the reduction index of one homogeneous leaf, dB.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    mass_kg_per_m2 : float
    critical_hz : float, Hz
    loss_factor : float
        Total loss factor of the leaf as mounted, greater than that of its material.

    Notes
    -----
    Field mass law up to fc/2, from there to fc a straight line over lg f, then Cremer's formula,
    as Sharp draws it. Within about 3 dB of published glass and board; the size of the leaf and
    the stiffness of its edges (below about 100 Hz) are left out.
    """
    frequency = _hz(frequency_hz)
    below_db = mass_law(frequency, mass_kg_per_m2)
    above_db = above_coincidence(np.maximum(frequency, critical_hz), mass_kg_per_m2, critical_hz, loss_factor)
    start_db = mass_law(critical_hz / 2.0, mass_kg_per_m2)
    dip_db = above_coincidence(critical_hz, mass_kg_per_m2, critical_hz, loss_factor)
    slope = np.clip(np.log2(np.maximum(frequency, 1e-9) / critical_hz) + 1.0, 0.0, 1.0)
    line_db = start_db + slope * (dip_db - start_db)
    return np.select([frequency < critical_hz / 2.0, frequency < critical_hz], [below_db, line_db], above_db)


def mass_air_mass_hz(m1_kg_per_m2: float, m2_kg_per_m2: float, cavity_m: float) -> float:
    """Return the resonance of two leaves on the air between them, Hz.

    Examples
    --------
    >>> round(mass_air_mass_hz(10.0, 10.0, 0.012))
    245
    """
    return MASS_AIR_MASS * float(np.sqrt((1.0 / m1_kg_per_m2 + 1.0 / m2_kg_per_m2) / cavity_m))


def double_leaf(
    frequency_hz: ArrayLike,
    r1_db: ArrayLike,
    r2_db: ArrayLike,
    m1_kg_per_m2: float,
    m2_kg_per_m2: float,
    cavity_m: float,
) -> FloatArray:
    """Return the reduction index of two leaves without bridges, dB.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    r1_db, r2_db : array_like, dB
        Of each leaf alone at these frequencies.
    m1_kg_per_m2, m2_kg_per_m2 : float
    cavity_m : float, m

    Notes
    -----
    Sharp's three ranges, for a cavity with absorption. Common studs, frames and edges bring real
    walls far lower above about 500 Hz, see ``bridged_limit``; and near the resonance a real pair
    can be worse than its mass alone.
    """
    frequency = _hz(frequency_hz)
    together_db = mass_law(frequency, m1_kg_per_m2 + m2_kg_per_m2)
    apart_db = np.asarray(r1_db, dtype=np.float64) + np.asarray(r2_db, dtype=np.float64)
    spring_db = apart_db + 2.0 * level(frequency * cavity_m) - 29.0
    resonance_hz = mass_air_mass_hz(m1_kg_per_m2, m2_kg_per_m2, cavity_m)
    ranges = [frequency < resonance_hz, frequency < CAVITY_LIMIT / cavity_m]
    return np.select(ranges, [together_db, spring_db], apart_db + 6.0)


def bridged_limit(
    frequency_hz: ArrayLike,
    m1_kg_per_m2: float,
    m2_kg_per_m2: float,
    stud_spacing_m: float,
    critical_hz: float,
) -> FloatArray:
    """Return the most that two leaves on common line studs can reach, dB.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    m1_kg_per_m2, m2_kg_per_m2 : float
    stud_spacing_m : float, m
    critical_hz : float, Hz
        The higher one of the two leaves' critical frequencies.

    References
    ----------
    Sharp 1973, as given in handbooks (memory).
    """
    both = m1_kg_per_m2 + m2_kg_per_m2
    gain_db = level(stud_spacing_m * critical_hz) + 2.0 * level(m1_kg_per_m2 / both) - 18.0
    return mass_law(frequency_hz, both) + gain_db


def _hz(frequency_hz: ArrayLike) -> FloatArray:
    return np.asarray(frequency_hz, dtype=np.float64)
