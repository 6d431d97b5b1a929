"""What sounds do along the inner ear: excitation by auditory filters.

A sound is a row of components, each with a frequency and a level. Outer and middle ear colour
them; every place along the inner ear is a filter that lets them pass, steep towards high frequencies
and the shallower towards low ones, the louder the sound.

Symbols: ``E`` excitation as an energy relative to that of a 1 kHz tone of 0 dB at the cochlea's
entrance, ``ERB`` bandwidth of a filter in Hz, ``Cam`` place along the inner ear in filter widths,
``p`` steepness of a filter, ``X`` level at a component's own filter in dB.
"""

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum

Field = Literal["free", "diffuse"]
"""Whether a sound comes from the front or from everywhere, as in a bedroom."""

ISO_532_2 = Source(
    document="ISO 532-2:2017", place="clauses 7.2 to 7.5, Tables 1 to 4, formulae 1 to 8", how_known="library"
)

EAR_HZ = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0,
    750.0, 800.0, 1000.0, 1250.0, 1500.0, 1600.0, 2000.0, 2500.0, 3000.0, 3150.0, 4000.0, 5000.0, 6000.0,
    6300.0, 8000.0, 9000.0, 10000.0, 11200.0, 12500.0, 14000.0, 15000.0, 16000.0, 20000.0,
)  # fmt: skip
"""Frequencies of the ear's transfer functions. Source: ISO_532_2."""

OUTER_EAR_DB: dict[Field, tuple[float, ...]] = {
    "free": (
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.3, 0.5, 0.9, 1.4, 1.6, 1.7, 2.5, 2.7, 2.6, 2.6, 3.2,
        5.2, 6.6, 12.0, 16.8, 15.3, 15.2, 14.2, 10.7, 7.1, 6.4, 1.8, -0.9, -1.6, 1.9, 4.9, 2.0, -2.0, 2.5,
        2.5,
    ),
    "diffuse": (
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.3, 0.4, 0.5, 1.0, 1.6, 1.7, 2.2, 2.7, 2.9, 3.8, 5.3,
        6.8, 7.2, 10.2, 14.9, 14.5, 14.4, 12.7, 10.8, 8.9, 8.7, 8.5, 6.2, 5.0, 4.5, 4.0, 3.3, 2.6, 2.0, 2.0,
    ),
}  # fmt: skip
"""From the field to the eardrum, dB. Source: ISO_532_2."""

MIDDLE_EAR_DB = (
    -39.6, -32.0, -25.85, -21.4, -18.5, -15.9, -14.1, -12.4, -11.0, -9.6, -8.3, -7.4, -6.2, -4.8, -3.8, -3.3,
    -2.9, -2.6, -2.6, -4.5, -5.4, -6.1, -8.5, -10.4, -7.3, -7.0, -6.6, -7.0, -9.2, -10.2, -12.2, -10.8,
    -10.1, -12.7, -15.0, -18.2, -23.8, -32.3, -45.5,
)  # fmt: skip
"""From the eardrum to the cochlea, dB. Source: ISO_532_2."""

ERB_AT_ZERO_HZ = 24.673
"""Width of the lowest filters, Hz. Source: ISO_532_2."""
ERB_PER_HZ = 0.004368
"""Relative growth of filter widths. Source: ISO_532_2."""
CAM_PER_DECADE = 21.366
"""Filters to a decade of frequency. Source: ISO_532_2."""

STEP_CAM = 0.1
"""Spacing of filters. Source: ISO_532_2."""
FILTER_CAM: FloatArray = np.arange(18.0, 390.0) * STEP_CAM
"""Places of the filters, 1.8 to 38.9 Cam, shape (filters,). Source: ISO_532_2."""

SHAPED_AT_DB = 51.0
"""Level at which filters are symmetric, dB. Source: ISO_532_2."""
FLATTER_PER_DB = 0.35
"""How much shallower a filter at 1 kHz gets towards low frequencies. Source: ISO_532_2."""
UPPER_REACH = 4.0
"""A filter hears nothing higher than 1 + this many times its own frequency. Source: ISO_532_2."""

SHALLOWEST = 0.01
"""Least steepness towards low frequencies, as a share of that at 51 dB. Chosen: beyond 136 dB the
formula would turn filters round."""

COMPONENTS_PER_BAND = 8
"""Components that stand for a third octave. Chosen: 6 and 12 give the same loudness of noise to 0.1 %, and
their energies add up to the band's; those of the standard's 10 Hz steps miss it by up to 0.9 dB at 160 Hz."""


def filter_width_hz(frequency_hz: ArrayLike) -> FloatArray:
    """Return the equivalent rectangular bandwidth of the filter at a frequency, same shape, Hz.

    Examples
    --------
    >>> round(float(filter_width_hz(1000.0)), 1)
    132.4
    """
    return ERB_AT_ZERO_HZ * (ERB_PER_HZ * np.asarray(frequency_hz, dtype=np.float64) + 1.0)


FILTER_HZ: FloatArray = np.asarray((10.0 ** (FILTER_CAM / CAM_PER_DECADE) - 1.0) / ERB_PER_HZ)
"""Frequencies of the filters, 49 Hz to 14.9 kHz, shape (filters,). Source: ISO_532_2."""


def excitations(frequency_hz: FloatArray, levels_db: FloatArray, field: Field = "diffuse") -> FloatArray:
    """Return what each of several sounds does along the inner ear while all are heard together.

    Parameters
    ----------
    frequency_hz : ndarray, shape (components,), Hz
    levels_db : ndarray, shape (sounds, components), dB re 20 µPa
        ``-inf`` is silence, ``nan`` is not known.
    field : {"diffuse", "free"}

    Returns
    -------
    ndarray, shape (sounds, filters)
        Excitations ``E`` at ``FILTER_HZ``. All sounds together shape the filters. ``nan`` in a
        sound makes all of them ``nan``.
    """
    return _through_filters(frequency_hz, levels_db, field, _weights(frequency_hz, frequency_hz))


def band_excitations(sounds: tuple[Spectrum, ...], field: Field = "diffuse") -> FloatArray:
    """Return excitations of sounds that are known by third octaves, shape (sounds, filters).

    Parameters and result are those of :func:`excitations`, save that all spectra must have the
    same bands, and that a band which is not known in any of the sounds takes no part.

    Raises
    ------
    ValueError
        If the spectra have different bands.
    """
    nominal_hz = sounds[0].nominal_hz
    if any(sound.nominal_hz != nominal_hz for sound in sounds):
        raise ValueError("only spectra with the same bands can be heard together.")
    levels_db = np.stack([sound.levels_db for sound in sounds])
    known_db = np.where(np.isnan(levels_db).any(axis=0), -np.inf, levels_db)
    components_db = np.repeat(known_db - level(COMPONENTS_PER_BAND), COMPONENTS_PER_BAND, axis=1)
    frequency_hz, own = _band_components(nominal_hz)
    return _through_filters(frequency_hz, components_db, field, own)


@lru_cache(maxsize=8)
def _band_components(nominal_hz: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Return frequencies that fill the bands evenly, and what each is worth at the filter of each."""
    lower_hz, upper_hz = band_edges_hz(nominal_hz)
    place = (np.arange(COMPONENTS_PER_BAND) + 0.5) / COMPONENTS_PER_BAND
    frequency_hz = (lower_hz[:, None] + (upper_hz - lower_hz)[:, None] * place).ravel()
    return frequency_hz, _weights(frequency_hz, frequency_hz)


def _through_filters(
    frequency_hz: FloatArray, levels_db: FloatArray, field: Field, own: FloatArray
) -> FloatArray:
    """Return excitations, given what components are worth at each other's filters."""
    ear_db = np.interp(frequency_hz, EAR_HZ, np.add(OUTER_EAR_DB[field], MIDDLE_EAR_DB))
    energies = energy(levels_db + ear_db)
    together = own @ energies.sum(axis=0)
    # Silence has no level of its own; any finite one will do, since it weighs nothing.
    flatter = FLATTER_PER_DB * (level(np.maximum(together, 1e-30)) - SHAPED_AT_DB) / _steepness(1000.0)
    return energies @ _weights(FILTER_HZ, frequency_hz, np.maximum(1.0 - flatter, SHALLOWEST)).T


def _steepness(frequency_hz: ArrayLike) -> FloatArray:
    """Return ``p`` of symmetric filters."""
    return 4.0 * np.asarray(frequency_hz, dtype=np.float64) / filter_width_hz(frequency_hz)


def _weights(filter_hz: FloatArray, frequency_hz: FloatArray, lower_share: ArrayLike = 1.0) -> FloatArray:
    """Return the share of each component that passes each filter, shape (filters, components).

    ``(1 + pg) exp(-pg)`` with the distance ``g`` as a share of the filter's frequency; components below
    it meet a steepness of *lower_share* times that above.
    """
    distance = frequency_hz / filter_hz[:, None] - 1.0
    slope = _steepness(filter_hz)[:, None] * np.where(distance < 0, lower_share, 1.0)
    steps = slope * np.abs(distance)
    return np.where(distance > UPPER_REACH, 0.0, (1.0 + steps) * np.exp(-steps))
