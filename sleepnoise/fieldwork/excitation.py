"""Test sounds for a loudspeaker, as arrays: steady noise without a seam, and exponential sweeps.

All are relative to full scale and end up at a chosen peak. How loud a loudspeaker makes them is
for the one who turns the knob: begin at the lowest setting, wear hearing protection above about
85 dB, tell the neighbours, and mind that pink noise at full power can burn a tweeter.
"""

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.errors import SettingsError

Colour = Literal["pink", "white"]

PEAK = 0.5
"""Largest sample, full scale 1. Chosen: 6 dB below full scale, as converters overshoot between samples."""
LARGEST_CREST = 4.0
"""Largest sample of noise over its root mean square. Chosen: 12 dB, cut off one sample in 15 000."""
LIMITING_ROUNDS = 8
"""Rounds of cutting peaks and mending the spectrum. Chosen: peaks then exceed the crest by under 3 %."""
FADE_S = 0.02
"""Fade at both ends of a sweep, s. Chosen: no click, and under a third octave of an ordinary sweep."""
REGULARISATION = 1e-3
"""Energy added to that of the sweep, re its mean. Chosen: a hundredth of a decibel within its band."""


def steady_noise(
    rng: np.random.Generator,
    seconds: float,
    sample_rate_hz: int,
    colour: Colour = "pink",
    band_hz: tuple[float, float] = (40.0, 12_500.0),
) -> FloatArray:
    """Return steady noise that can be repeated without a seam.

    Parameters
    ----------
    rng : numpy.random.Generator
        The same generator gives the same noise.
    seconds : float, s
    sample_rate_hz : int, Hz
    colour : {"pink", "white"}
        Equal power in every octave, or in every hertz.
    band_hz : tuple of float, Hz
        Nothing below and above: small loudspeakers waste power on what they cannot play.

    Returns
    -------
    ndarray, shape (samples,)
        Full scale is 1; largest sample ``PEAK``.

    Raises
    ------
    SettingsError
        If the length or the band makes no sense.
    """
    low_hz, high_hz = _checked_band(band_hz, seconds, sample_rate_hz)
    samples = round(seconds * sample_rate_hz)
    frequency_hz = fft.rfftfreq(samples, 1.0 / sample_rate_hz)
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    amplitude = np.zeros(frequency_hz.size)
    amplitude[inside] = frequency_hz[inside] ** -0.5 if colour == "pink" else 1.0
    return at_peak(noise_of_lines(rng, amplitude, samples))


def noise_of_lines(
    rng: np.random.Generator,
    amplitude: FloatArray,
    samples: int,
    evened: Callable[[FloatArray, NDArray[np.complex128]], FloatArray] | None = None,
) -> FloatArray:
    """Return periodic noise with given amplitudes of its lines, random phases and a low crest.

    Peaks are cut and the amplitudes mended in turn: phases drift until few peaks are left.

    Parameters
    ----------
    rng : numpy.random.Generator
    amplitude : ndarray, shape (samples // 2 + 1,)
        Of each line, from 0 Hz to half the sampling rate.
    samples : int
        Length of the period.
    evened : callable, optional
        Takes the noise and its transform, and returns the noise more even; called before each cut.

    Returns
    -------
    ndarray, shape (samples,)
        As the inverse transform of the amplitudes scales it.
    """
    spectrum = amplitude * np.exp(2j * np.pi * rng.random(amplitude.size))
    noise = fft.irfft(spectrum, samples)
    for _ in range(LIMITING_ROUNDS):
        smoother = noise if evened is None else evened(noise, spectrum)
        largest = LARGEST_CREST * np.sqrt(np.mean(smoother**2))
        spectrum = fft.rfft(np.clip(smoother, -largest, largest))
        spectrum = amplitude * np.exp(1j * np.angle(spectrum))
        noise = fft.irfft(spectrum, samples)
    return np.asarray(noise)


def exponential_sweep(
    seconds: float, sample_rate_hz: int, band_hz: tuple[float, float] = (40.0, 12_500.0)
) -> FloatArray:
    """Return a sine sweep that spends the same time in every octave.

    Let silence follow it for longer than the room rings.

    Parameters
    ----------
    seconds : float, s
    sample_rate_hz : int, Hz
    band_hz : tuple of float, Hz
        First and last frequency.

    Returns
    -------
    ndarray, shape (samples,)
        Full scale is 1; largest sample ``PEAK``.

    References
    ----------
    ISO 18233, swept-sine method (memory).
    """
    low_hz, high_hz = _checked_band(band_hz, seconds, sample_rate_hz)
    samples = round(seconds * sample_rate_hz)
    time_s = np.arange(samples) / sample_rate_hz
    per_e_fold_s = seconds / np.log(high_hz / low_hz)
    sweep = np.sin(2.0 * np.pi * low_hz * per_e_fold_s * np.expm1(time_s / per_e_fold_s))
    fade = round(FADE_S * sample_rate_hz)
    slope = np.sin(np.pi / 2.0 * np.arange(fade) / fade) ** 2
    sweep[:fade] *= slope
    sweep[-fade:] *= slope[::-1]
    return at_peak(sweep)


def impulse_response(recording: ArrayLike, sweep: ArrayLike, samples: int) -> FloatArray:
    """Return the impulse response that turned a sweep into a recording.

    Parameters
    ----------
    recording : array_like, shape (n,)
        Sweep and the silence after it, recorded; its start may be late by less than *samples*.
    sweep : array_like, shape (m,)
        As it was played, at the recording's sampling rate.
    samples : int
        Length of the response wanted.

    Returns
    -------
    ndarray, shape (samples,)
        Within the band of the sweep only. Harmonic distortion of the loudspeaker lands before
        the response, at the far end, and is left out.
    """
    heard = np.asarray(recording, dtype=np.float64)
    played = np.asarray(sweep, dtype=np.float64)
    # Distortion lies up to a sweep's length before the response: room for both.
    size = fft.next_fast_len(heard.size + played.size, real=True)
    reference = fft.rfft(played, size)
    power = np.abs(reference) ** 2
    spectrum = fft.rfft(heard, size) * reference.conj() / (power + REGULARISATION * power.mean())
    return np.asarray(fft.irfft(spectrum, size)[:samples])


def at_peak(signal: FloatArray) -> FloatArray:
    """Return a signal whose largest sample is ``PEAK``."""
    return np.asarray(signal * (PEAK / np.abs(signal).max()))


def _checked_band(band_hz: tuple[float, float], seconds: float, sample_rate_hz: int) -> tuple[float, float]:
    low_hz, high_hz = band_hz
    if not 0.0 < low_hz < high_hz <= sample_rate_hz / 2:
        raise SettingsError(
            f"test signal: the band must rise between 0 and {sample_rate_hz / 2:g} Hz, "
            f"got {low_hz:g} to {high_hz:g} Hz.",
            remedy="Choose a band within half the sampling rate.",
        )
    if not 10.0 / low_hz <= seconds <= 3600.0:
        raise SettingsError(
            f"test signal: the length must lie between {10.0 / low_hz:g} and 3600 s, got {seconds:g} s.",
            remedy="Choose a length such as 30 s.",
        )
    return low_hz, high_hz
