"""Paths side by side and layers behind each other: from parts to a whole.

Everything works on arrays of shape (parts, bands) or (bands,), in dB, without loops: a room is
evaluated thousands of times while a plan is sought.

Symbols: ``R`` sound reduction index, ``S`` area, ``tau`` transmission factor, ``Dn,e`` level
difference of a small element re 10 m², ``g`` open fraction.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.source import Source

EN_12354_3 = Source(document="EN 12354-3:2000", place="formula 10 and small elements", how_known="library")
EN_12354_1 = Source(
    document="EN 12354-1:2000", place="R' from direct and flanking paths", how_known="library"
)
ISO_10140_1 = Source(document="ISO 10140-1", place="Annex J, joints", how_known="memory")
SABINE_DUCT = Source(document="Handbooks of ventilation noise", place="lined ducts", how_known="memory")

SMALL_ELEMENT_AREA_M2 = 10.0
"""Reference area of Dn,e. Source: EN_12354_3."""
REFERENCE_LENGTH_M = 1.0
"""Reference length of joints. Source: ISO_10140_1."""


def open_area_m2(
    areas_m2: ArrayLike = (),
    r_db: ArrayLike = (),
    *,
    small_db: ArrayLike = (),
    leaks_m2: ArrayLike = (),
) -> FloatArray:
    """Return the open area that would let through as much as all parts together, band by band.

    Parameters
    ----------
    areas_m2 : array_like, shape (elements,), m²
    r_db : array_like, shape (elements,) or (elements, bands), dB
        Sound reduction index of each element.
    small_db : array_like, shape (small elements,) or (small elements, bands), dB
        Dn,e of vents and the like; their area does not matter.
    leaks_m2 : array_like, shape (gaps,) or (gaps, bands), m²
        Equivalent open areas of gaps: length times ``leak_width_m``.

    Returns
    -------
    ndarray, shape () or (bands,), m²
    """
    areas = np.asarray(areas_m2, dtype=np.float64)
    r = np.asarray(r_db, dtype=np.float64)
    by_elements = np.tensordot(areas, energy(-r), axes=(0, 0))
    by_small = SMALL_ELEMENT_AREA_M2 * np.sum(energy(-np.asarray(small_db, dtype=np.float64)), axis=0)
    return np.asarray(by_elements + by_small + np.sum(np.asarray(leaks_m2, dtype=np.float64), axis=0))


def composite(
    areas_m2: ArrayLike,
    r_db: ArrayLike,
    *,
    small_db: ArrayLike = (),
    leaks_m2: ArrayLike = (),
    total_m2: float | None = None,
) -> FloatArray:
    """Return the sound reduction index of several elements side by side, dB.

    Parameters
    ----------
    areas_m2, r_db, small_db, leaks_m2 : array_like
        See ``open_area_m2``.
    total_m2 : float, optional
        Area that the result refers to; the sum of the areas when left out.

    Examples
    --------
    >>> round(float(composite([8.5, 1.5], [50.0, 28.0])), 2)
    36.09
    """
    together_m2 = open_area_m2(areas_m2, r_db, small_db=small_db, leaks_m2=leaks_m2)
    total = float(np.sum(areas_m2)) if total_m2 is None else total_m2
    return -level(together_m2 / total)


def joint_leak_m2(length_m: float, r_s_db: ArrayLike) -> FloatArray:
    """Return the equivalent open area of a joint that was measured per metre, m²: ``l 10^(-Rs/10)`` x 1 m."""
    return np.asarray(length_m * REFERENCE_LENGTH_M * energy(-np.asarray(r_s_db, dtype=np.float64)))


def layer_insertion(r_db: ArrayLike, open_fraction: ArrayLike) -> FloatArray:
    """Return what a limp layer hung before an element takes off, dB.

    Parameters
    ----------
    r_db : array_like, dB
        Sound reduction index of the layer alone.
    open_fraction : array_like
        Part of the opening that stays open round it, 0 to 1.

    Notes
    -----
    Assumption: below about 1.4 times the mass-air-mass resonance of layer and element nothing is
    gained, and no bonus of a double leaf is counted; see ``gained_above``.

    Examples
    --------
    >>> round(float(layer_insertion(25.0, 0.2)), 2)
    6.94
    """
    g = np.asarray(open_fraction, dtype=np.float64)
    return -level((1.0 - g) * energy(-np.asarray(r_db, dtype=np.float64)) + g)


def gained_above(insertion_db: ArrayLike, frequency_hz: ArrayLike, resonance_hz: float) -> FloatArray:
    """Return an insertion loss without any gain below 1.4 times a resonance, dB (assumption)."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    return np.where(frequency < 1.4 * resonance_hz, 0.0, np.asarray(insertion_db, dtype=np.float64))


def lined_duct_loss_per_m(absorption: ArrayLike, perimeter_m: float, area_m2: float) -> FloatArray:
    """Return what a lined duct takes off, dB per metre: ``1.05 alpha^1.4 P/S``.

    Examples
    --------
    >>> round(float(lined_duct_loss_per_m(0.7, 0.6, 0.0225)), 1)
    17.0
    """
    return np.asarray(1.05 * np.asarray(absorption, dtype=np.float64) ** 1.4 * perimeter_m / area_m2)


def with_flanking(direct_db: ArrayLike, flanking_db: ArrayLike) -> FloatArray:
    """Return R' from the direct path and flanking paths, dB.

    Parameters
    ----------
    direct_db : array_like, shape () or (bands,), dB
    flanking_db : array_like, shape (paths,) or (paths, bands), dB
        All referred to the area of the separating element.
    """
    flanking = np.sum(energy(-np.asarray(flanking_db, dtype=np.float64)), axis=0)
    return -level(energy(-np.asarray(direct_db, dtype=np.float64)) + flanking)


def gain_without(levels_db: ArrayLike) -> FloatArray:
    """Return what taking each path away entirely would bring, dB, same shape.

    Parameters
    ----------
    levels_db : array_like, shape (paths,) or (paths, bands), dB
        Level that arrives along each path. A single path brings infinitely much.

    Examples
    --------
    >>> gain_without([34.0, 31.0]).round(2).tolist()
    [4.76, 1.76]
    """
    energies = energy(levels_db)
    # Summed without each one: subtracting from the total would lose weak paths behind strong ones.
    others = np.einsum("ij,j...->i...", 1.0 - np.eye(len(energies)), energies)
    return np.asarray(combine(levels_db, axis=0) - level(others))


def share_of_energy(levels_db: ArrayLike) -> FloatArray:
    """Return each path's share of the arriving energy, 0 to 1, same shape; ``nan`` in silence."""
    energies = energy(levels_db)
    total = np.sum(energies, axis=0)
    return np.asarray(energies / np.where(total > 0.0, total, np.nan))


def equal_share(target_db: float, paths: int) -> float:
    """Return the level that each of several equal paths may bring if all must reach a target, dB.

    Examples
    --------
    >>> round(equal_share(35.0, 4), 2)
    28.98
    """
    return target_db - float(level(paths))
