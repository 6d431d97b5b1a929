"""Sound through open slits and holes, and the cap that they set on everything round them.

Two bounds stand beside each other. The simple one says that an opening lets through exactly what
falls on it (transmission 1). The wave models know that narrow deep openings let through less at
low frequencies and more at their resonances; they know no friction, so their resonances are
sharper than real ones, and they are averaged over the band and limited before anyone uses them.

Symbols: ``tau`` transmission factor, ``w`` width, ``d`` depth, ``k`` wave number, ``n`` 1 for a
slit in a wall and 1/2 for one along an edge, ``m`` 8 in a diffuse field and 4 at right angles.
"""

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j1, struve

from sleepnoise.acoustics.bands import OCTAVE_RATIO, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, level
from sleepnoise.acoustics.source import Source
from sleepnoise.isolation.leaf import SOUND_SPEED_M_PER_S

GOMPERTS_KIHLMAN = Source(
    document="Gomperts and Kihlman, Acustica 18 (1967) 144-150",
    place="slit-shaped apertures; recalled and derived again from an energy balance",
    how_known="memory",
)
WILSON_SOROKA = Source(
    document="Wilson and Soroka, J. Acoust. Soc. Am. 37 (1965) 286",
    place="circular apertures; recalled and derived again",
    how_known="memory",
)

EULER_GAMMA = 0.57722
"""Euler's constant as the end correction of a slit has it. Source: GOMPERTS_KIHLMAN."""
LOWEST_LOSS_DB = -10.0
"""Most that an opening passes: ten times what falls on it. Chosen: text books report -5 to -10 dB."""
BAND_POINTS = 41
"""Frequencies averaged in each third octave. Chosen: sharp resonances are limited anyway."""
GAP_WIDTHS_M = (1e-4, 0.1)
"""Range of tabulated gaps. Chosen: from where friction has long taken over to an open door."""
GAP_WIDTHS = 121
"""Tabulated widths. Chosen: 40 a decade; leaks between them follow within 0.06 dB (measured)."""

Place = Literal["in a wall", "along an edge"]
_FREE_SIDES: dict[Place, float] = {"in a wall": 1.0, "along an edge": 0.5}
"""n. Source: GOMPERTS_KIHLMAN."""
_DIFFUSE = 8.0
"""m of sound from all directions. Source: GOMPERTS_KIHLMAN."""


def open_area_cap(open_fraction: ArrayLike) -> FloatArray:
    """Return the reduction index of an element whose opening lets through all that falls on it, dB.

    Examples
    --------
    >>> open_area_cap([0.01, 0.1]).round(1).tolist()
    [20.0, 10.0]
    """
    return -level(open_fraction)


def slit_transmission(
    frequency_hz: ArrayLike,
    width_m: float,
    depth_m: float,
    place: Place = "in a wall",
    incidence: float = _DIFFUSE,
) -> FloatArray:
    """Return the transmission factor of a long open slit at single frequencies.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    width_m, depth_m : float, m
        Depth is the way through: the thickness of the leaf.
    place : {"in a wall", "along an edge"}
        A door bottom over a hard floor lies along an edge.
    incidence : float, optional
        8 from all directions, 4 at right angles.

    Notes
    -----
    Holds while the slit is narrow against the wave length (``k w`` well below 1). No friction:
    slits under about 1 mm insulate better than this.

    References
    ----------
    Gomperts and Kihlman, Acustica 18 (1967); one recollection of the literature prints
    ``K²/(2 n⁴)`` where the energy balance asks for ``K²/(2 n²)``, as used here.
    """
    n = _FREE_SIDES[place]
    k_w = 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64) * width_m / SOUND_SPEED_M_PER_S
    end = (np.log(8.0 / k_w) - EULER_GAMMA) / np.pi
    through = k_w * depth_m / width_m
    cos2 = np.cos(k_w * end) ** 2
    tuned = np.sin(through + 2.0 * k_w * end) ** 2 / cos2
    damped = k_w**2 / (2.0 * n**2) * (1.0 + np.cos(through) * np.cos(through + 2.0 * k_w * end))
    return np.asarray(incidence * k_w * cos2 / (2.0 * n**2 * (tuned + damped)))


def hole_transmission(
    frequency_hz: ArrayLike, radius_m: float, depth_m: float, incidence: float = _DIFFUSE
) -> FloatArray:
    """Return the transmission factor of a round open hole at single frequencies.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    radius_m, depth_m : float, m
    incidence : float, optional
        8 from all directions, 4 at right angles.

    References
    ----------
    Wilson and Soroka, J. Acoust. Soc. Am. 37 (1965) 286: pistons at both ends.
    """
    k = 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64) / SOUND_SPEED_M_PER_S
    argument = 2.0 * k * radius_m
    impedance = 1.0 - 2.0 * j1(argument) / argument + 2.0j * struve(1, argument) / argument
    through = 2.0 * impedance * np.cos(k * depth_m) + 1j * (1.0 + impedance**2) * np.sin(k * depth_m)
    return np.asarray(incidence * impedance.real / np.abs(through) ** 2)


@lru_cache(maxsize=4096)
def slit_loss(
    nominal_hz: tuple[float, ...], width_m: float, depth_m: float, place: Place = "in a wall"
) -> FloatArray:
    """Return the reduction index of a slit in third octaves, dB, shape (bands,); read-only, remembered.

    Averaged over each band and limited at ``LOWEST_LOSS_DB``. The simple bound beside it is 0 dB;
    it is also the most that a slit can take off once it is no longer narrow (``k w`` above 1).
    """
    tau = slit_transmission(_within_bands(nominal_hz), width_m, depth_m, place)
    narrow = 2.0 * np.pi * mid_band_hz(nominal_hz) * width_m < SOUND_SPEED_M_PER_S
    return _limited_loss(np.where(narrow[:, None], tau, np.maximum(tau, 1.0)))


@lru_cache(maxsize=1024)
def hole_loss(nominal_hz: tuple[float, ...], radius_m: float, depth_m: float) -> FloatArray:
    """Return the reduction index of a round hole in third octaves, dB, shape (bands,); see ``slit_loss``."""
    return _limited_loss(hole_transmission(_within_bands(nominal_hz), radius_m, depth_m))


def leak_width_m(
    nominal_hz: tuple[float, ...], width_m: float, depth_m: float, place: Place = "in a wall"
) -> FloatArray:
    """Return how wide a slit with transmission 1 would leak as much, band by band.

    Parameters
    ----------
    nominal_hz : tuple of float
    width_m : float, m
        0 is tight; up to 0.1 m.
    depth_m : float, m
    place : {"in a wall", "along an edge"}

    Returns
    -------
    ndarray, shape (bands,), m
        Times the length of the gap it is an equivalent open area.

    Notes
    -----
    Resonances of the lossless model would let some gaps leak up to 1 dB less than narrower ones. No seal
    makes a gap worse: the leak counts as at least that of every narrower gap.
    """
    widths_m, leaks_m = _tabulated_leaks(nominal_hz, depth_m, place)
    above = int(np.clip(np.searchsorted(widths_m, width_m), 1, widths_m.size - 1))
    below_m, above_m = widths_m[above - 1], widths_m[above]
    part = (width_m - below_m) / (above_m - below_m)
    return np.asarray(leaks_m[above - 1] + part * (leaks_m[above] - leaks_m[above - 1]))


@lru_cache(maxsize=64)
def _tabulated_leaks(
    nominal_hz: tuple[float, ...], depth_m: float, place: Place
) -> tuple[FloatArray, FloatArray]:
    """Return widths, rising from 0, and the leak of each, shape (widths, bands), m."""
    open_m = np.geomspace(*GAP_WIDTHS_M, GAP_WIDTHS)
    losses_db = np.stack([slit_loss(nominal_hz, float(width_m), depth_m, place) for width_m in open_m])
    leaks_m = np.maximum.accumulate(open_m[:, None] * 10.0 ** (-losses_db / 10.0), axis=0)
    return np.append(0.0, open_m), np.vstack([np.zeros(len(nominal_hz)), leaks_m])


def _within_bands(nominal_hz: tuple[float, ...]) -> FloatArray:
    """Return frequencies spread evenly over ln f within each band, shape (bands, points), Hz."""
    spread = OCTAVE_RATIO ** np.linspace(-1 / 6, 1 / 6, BAND_POINTS)
    return mid_band_hz(nominal_hz)[:, None] * spread


def _limited_loss(tau: FloatArray) -> FloatArray:
    loss_db = np.maximum(-level(np.mean(tau, axis=1)), LOWEST_LOSS_DB)
    loss_db.flags.writeable = False
    return loss_db
