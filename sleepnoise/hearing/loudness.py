"""How loud sounds are: in quiet, and what a masker leaves of them.

Loudness is what specific loudness adds up to along the inner ear. In a noise a sound keeps only a
part of its loudness, and none worth speaking of where its excitation stays below that of a
threshold which the noise raises.

Symbols: ``N`` loudness in sone, ``N'`` specific loudness in sone/Cam, ``E`` excitation, ``E_THRQ`` that of a
tone at the threshold of hearing, ``E_THRN`` that of a tone at the threshold in noise, ``G`` gain of the
inner ear at low levels, ``K`` signal over noise in a filter at threshold.
"""

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.excitation import FILTER_HZ, STEP_CAM, Field, band_excitations

MOORE_1997 = Source(
    document="Moore, Glasberg & Baer 1997, J. Audio Eng. Soc. 45:224-240",
    place="equations 17 to 20, and K as fitted in open implementations",
    how_known="looked-up",
)

SONE_PER_CAM = 0.0617
"""C, which makes a 1 kHz tone of 40 dB 1 sone. Source: ISO_532_2."""
BOTH_EARS = 1.5
"""Loudness of the same sound in both ears over that in one. Source: ISO_532_2."""
AUDIBLE_SONE = 0.003
"""Loudness at the threshold of hearing. Source: ISO_532_2."""

_LOW_HZ = (50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0)
"""Frequencies of the table for low frequencies. Source: ISO_532_2."""
_LOW_THRESHOLD_DB = (27.46, 23.45, 18.47, 15.13, 11.97, 9.34, 7.43, 5.75, 4.73, 3.92, 3.15)
"""10 lg E_THRQ there, dB. Source: ISO_532_2."""
_LOW_GAIN_DB = (-24.31, -20.30, -15.32, -11.98, -8.82, -6.19, -4.28, -2.60, -1.58, -0.77, 0.0)
"""10 lg G there, dB. Source: ISO_532_2."""
_EXPONENTS = (0.26692, 0.25016, 0.23679, 0.22228, 0.21055, 0.20000)
"""alpha for 10 lg G of -25 to 0 dB in steps of 5 dB. Source: ISO_532_2."""
_OFFSETS = (
    7.784, 7.667, 7.551, 7.435, 7.318, 7.210, 7.103, 6.996, 6.889, 6.782, 6.675, 6.596, 6.517, 6.438, 6.360,
    6.281, 6.202, 6.124, 6.047, 5.975, 5.902, 5.823, 5.744, 5.665, 5.587, 5.510, 5.437, 5.364, 5.291, 5.218,
    5.145, 5.086, 5.027, 4.972, 4.918, 4.863, 4.808, 4.754, 4.699, 4.644, 4.590, 4.542, 4.496, 4.451, 4.405,
    4.359, 4.314, 4.268, 4.222, 4.177, 4.131,
)  # fmt: skip
"""A for 10 lg G of -25 to 0 dB in steps of 0.5 dB. Source: ISO_532_2."""
_THRESHOLD_FROM_500_HZ = 2.065
"""E_THRQ from 500 Hz up, and half of A. Source: ISO_532_2."""
_K_FIT = (4.46834, -49.68027, 212.89092, -418.88552, 317.07466)
"""10 lg K below 1 kHz, a polynomial in lg of the frequency in Hz, highest power first. Source: MOORE_1997."""

_GAIN_DB = np.interp(FILTER_HZ, _LOW_HZ, _LOW_GAIN_DB)
GAIN = energy(_GAIN_DB)
"""G, shape (filters,): 1 from 500 Hz up. Source: ISO_532_2."""
EXPONENT = np.interp(_GAIN_DB, np.linspace(-25.0, 0.0, len(_EXPONENTS)), _EXPONENTS)
"""alpha, shape (filters,). Source: ISO_532_2."""
OFFSET = np.where(
    FILTER_HZ < 500.0,
    np.interp(_GAIN_DB, np.linspace(-25.0, 0.0, len(_OFFSETS)), _OFFSETS),
    2.0 * _THRESHOLD_FROM_500_HZ,
)
"""A, shape (filters,). Source: ISO_532_2."""
QUIET_THRESHOLD = np.where(
    FILTER_HZ < 500.0, energy(np.interp(FILTER_HZ, _LOW_HZ, _LOW_THRESHOLD_DB)), _THRESHOLD_FROM_500_HZ
)
"""E_THRQ, shape (filters,). Source: ISO_532_2."""
SIGNAL_OVER_NOISE_DB = np.where(
    FILTER_HZ < 1000.0, np.polyval(_K_FIT, np.log10(np.maximum(FILTER_HZ, 50.0))), -3.0
)
"""10 lg K, shape (filters,), dB. Source: MOORE_1997."""


def loudness_sone(sound: Spectrum, field: Field = "diffuse") -> float:
    """Return how loud a steady sound is to both ears in silence, sone.

    A tone has to be spread over bands as a real filter would; its whole level in one band
    comes out as a band of noise, a little louder.

    Examples
    --------
    >>> noise = Spectrum(nominal_hz=(500.0, 1000.0), levels_db=np.array([30.0, 30.0]))
    >>> loudness_sone(noise) < loudness_sone(noise.attenuated(-10.0))
    True
    """
    (excitation,) = band_excitations((sound,), field)
    return total_sone(specific_loudness(excitation, np.zeros_like(excitation)))


def partial_loudness_sone(sound: Spectrum, noise: Spectrum, field: Field = "diffuse") -> float:
    """Return how loud a sound still is in a noise, sone; both must have the same bands."""
    return total_sone(specific_loudness(*band_excitations((sound, noise), field)))


def total_sone(specific: FloatArray) -> float:
    """Return the loudness to both ears of a specific loudness, shape (filters,)."""
    return float(specific.sum() * STEP_CAM * BOTH_EARS)


def specific_loudness(signal: FloatArray, noise: FloatArray) -> FloatArray:
    """Return what is left of a sound's loudness in a noise, shape (..., filters), sone/Cam.

    Parameters
    ----------
    signal, noise : ndarray, shape (..., filters)
        Excitations by each alone, the filters shaped by both. Up to 100 dB, above which the
        standard goes on with another formula: no bedroom gets there.

    References
    ----------
    ``MOORE_1997``, with the constants of ``ISO_532_2``; without noise it is formulae 7 and 8 there.
    """
    threshold = masked_threshold(noise)

    def compressed(excitation: FloatArray) -> FloatArray:
        return np.asarray((excitation * GAIN + OFFSET) ** EXPONENT)

    both, at_threshold, masker = compressed(signal + noise), compressed(noise + threshold), compressed(noise)
    quiet = compressed(QUIET_THRESHOLD) - OFFSET**EXPONENT
    # The noise's own part, which fades the further the sound rises over its threshold.
    fading = (threshold / np.maximum(signal, threshold)) ** 0.3
    above = both - OFFSET**EXPONENT - (at_threshold - compressed(QUIET_THRESHOLD)) * fading
    below = (2 * signal / (signal + threshold)) ** 1.5 * quiet * (both - masker) / (at_threshold - masker)
    return np.asarray(SONE_PER_CAM * np.where(signal >= threshold, above, below))


def masked_threshold(noise: FloatArray) -> FloatArray:
    """Return E_THRN, the excitation of a tone that is just heard in a noise, shape (..., filters)."""
    return np.asarray(energy(SIGNAL_OVER_NOISE_DB) * noise + QUIET_THRESHOLD)


def excess_db(signal: FloatArray, noise: FloatArray) -> FloatArray:
    """Return how far the best filter's excitation lies above the masked one, shape (...), dB.

    Positive is audible: the counterpart of the band model's margin.
    """
    return level(np.max(signal / masked_threshold(noise), axis=-1))
