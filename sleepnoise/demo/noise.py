"""Random noise of a given spectrum: endless, without seams, and the same from wherever it is read.

White noise comes in chunks, each from a generator of its own, seeded by the chunk's number. A
finite filter shapes it; tails overlap and add. So a sample depends on its number only.
"""

from functools import lru_cache, partial

import numpy as np
from scipy import fft

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.demo.measures import filtered

Shape = dict[float, float]
"""Frequency in Hz -> third-octave level in dB, rising; only differences count."""

_TRANSFORM = 2**17
"""Length of a Fourier transform. Chosen: fastest of 2^15 to 2^19 for 48 kHz."""
_FILTER_S = 0.1
"""Length of the shaping filter, s. Chosen: resolves 20 Hz, one part in 27 of a transform at 48 kHz."""
_LOWEST_HZ = 16.0
"""No noise below. Chosen: half a third octave under the lowest band of interest."""


def amplitude(frequency_hz: FloatArray, shape: Shape) -> FloatArray:
    """Return the pressure amplitude at each frequency that gives white noise that shape."""
    known_hz = np.array(list(shape))
    # A third octave is as much wider as its frequency is higher.
    density_db = np.array(list(shape.values())) - 10.0 * np.log10(known_hz)
    heard = np.maximum(frequency_hz, _LOWEST_HZ)
    density = np.interp(np.log(heard), np.log(known_hz), density_db)
    return np.asarray(np.where(frequency_hz < _LOWEST_HZ, 0.0, 10.0 ** (density / 20.0)))


def shaped_noise(rng: np.random.Generator, samples: int, sample_rate_hz: int, shape: Shape) -> FloatArray:
    """Return a single stretch of noise of a shape, shape (samples,), of no particular level."""
    return filtered(rng.standard_normal(samples), sample_rate_hz, partial(amplitude, shape=shape))


class NoiseStream:
    """Endless noise whose expected A-weighted level is known exactly.

    Parameters
    ----------
    key : tuple of int
        Not negative; the same key is the same noise.
    sample_rate_hz : int, Hz
    shape : Shape
    laeq : float, dB
        Expected A-weighted level.
    """

    def __init__(self, key: tuple[int, ...], sample_rate_hz: int, shape: Shape, laeq: float) -> None:
        self._key = key
        filter_taps = _shaping_filter(sample_rate_hz, shape)
        self._chunk = _TRANSFORM - filter_taps.size + 1
        response = fft.rfft(filter_taps, _TRANSFORM)
        weighted = response * weighting_response(fft.rfftfreq(_TRANSFORM, 1.0 / sample_rate_hz), "A")
        # White noise of variance 1 has this mean square behind both filters.
        mean_square = np.mean(np.abs(weighted) ** 2)
        self._response = response * (REFERENCE_PRESSURE_PA * 10.0 ** (laeq / 20.0) / np.sqrt(mean_square))
        self._convolved = lru_cache(maxsize=2)(self._convolve)

    def pressure_pa(self, first: int, last: int) -> FloatArray:
        """Return samples *first* to *last* (not included), shape (last - first,), Pa."""
        result = np.empty(last - first)
        for number in range(first // self._chunk, (last - 1) // self._chunk + 1):
            begin = number * self._chunk
            low, high = max(first, begin), min(last, begin + self._chunk)
            part = result[low - first : high - first]
            # The older chunk first, so that the two kept ones are those that the next stretch needs.
            tail = self._convolved(number - 1)[self._chunk + low - begin : self._chunk + high - begin]
            part[:] = self._convolved(number)[low - begin : high - begin]
            part[: tail.size] += tail
        return result

    def _convolve(self, number: int) -> FloatArray:
        # The chunk before the first one has a tail, too: numbers start at -1, seeds at 0.
        white = np.random.default_rng([*self._key, number + 1]).standard_normal(self._chunk)
        spectrum = fft.rfft(white, _TRANSFORM)
        spectrum *= self._response
        return np.asarray(fft.irfft(spectrum, _TRANSFORM))


def _shaping_filter(sample_rate_hz: int, shape: Shape) -> FloatArray:
    """Return a linear-phase filter of odd length with roughly the amplitude of *shape*."""
    half = int(_FILTER_S * sample_rate_hz) // 2
    impulse = fft.irfft(amplitude(fft.rfftfreq(_TRANSFORM, 1.0 / sample_rate_hz), shape))
    centred = np.concatenate([impulse[-half:], impulse[: half + 1]])
    return np.asarray(centred * np.hanning(centred.size))
