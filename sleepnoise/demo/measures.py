"""Levels straight from their definitions, on one whole stretch of sound at a time.

Nothing here comes from the level engine: the truth must not share the engine's mistakes. The
A-weighting is the exact analogue response in one long Fourier transform, and the detectors
are exponential averages of every single squared sample, all in float64.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy import fft, signal

from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.acoustics.weighting import IEC_61672_1 as IEC_61672_1
from sleepnoise.acoustics.weighting import ComplexArray, weighting_response

F_S = 0.125
"""Time constant of time weighting F, s. Source: IEC_61672_1."""
S_S = 1.0
"""Time constant of time weighting S, s. Source: IEC_61672_1."""
Response = Callable[[FloatArray], FloatArray | ComplexArray]
"""Frequencies in Hz -> amplitude ratios."""

_LINES = 2**16
"""Lines of a spectrum handled at once. Chosen: a long event needs little memory beyond itself."""
_RINGING_S = 0.5
"""Silence behind the sound. Chosen: the slowest pole of A, 20.6 Hz, has died by 560 dB."""


def filtered(sound: FloatArray, sample_rate_hz: int, response: Response) -> FloatArray:
    """Return a stretch of sound behind a filter, same shape; before and after lies silence.

    Parameters
    ----------
    sound : ndarray, shape (samples,)
    sample_rate_hz : int, Hz
    response : callable
        Frequencies in Hz -> amplitude ratios, real or complex.
    """
    # Powers of two only: plans of transforms are kept, and a new length for each event fills the memory.
    size = 1 << (sound.size + int(_RINGING_S * sample_rate_hz) - 1).bit_length()
    spectrum = fft.rfft(sound, size)
    for first in range(0, spectrum.size, _LINES):
        lines = spectrum[first : first + _LINES]
        lines *= response(np.arange(first, first + lines.size, dtype=np.float64) * sample_rate_hz / size)
    return np.asarray(fft.irfft(spectrum, size, overwrite_x=True)[: sound.size])


def a_weighted_pa(pressure_pa: FloatArray, sample_rate_hz: int) -> FloatArray:
    """Return A-weighted pressure, shape (samples,), Pa; before and after lies silence."""
    return filtered(pressure_pa, sample_rate_hz, partial(weighting_response, weighting="A"))


def detected_pa2(weighted_pa: FloatArray, sample_rate_hz: int, time_constant_s: float) -> FloatArray:
    """Return the exponential average of squared pressure at every sample, Pa²; starts from silence."""
    kept = np.exp(-1.0 / (sample_rate_hz * time_constant_s))
    return np.asarray(signal.lfilter([1.0 - kept], [1.0, -kept], weighted_pa**2))


def exposure_pa2_s(weighted_pa: FloatArray, sample_rate_hz: int) -> float:
    """Return the sound exposure of a stretch, Pa² s; its level is ``lae``."""
    return float(np.sum(weighted_pa**2)) / sample_rate_hz


def whole_laeq(pressure_pa: FloatArray, sample_rate_hz: int) -> float:
    """Return the equivalent continuous A-weighted level of a whole recording, dB."""
    return float(pressure_level(np.mean(a_weighted_pa(pressure_pa, sample_rate_hz) ** 2)))


def whole_lafmax(pressure_pa: FloatArray, sample_rate_hz: int) -> float:
    """Return the highest A-weighted F level of a whole sound heard from silence, dB."""
    weighted_pa = a_weighted_pa(pressure_pa, sample_rate_hz)
    return float(pressure_level(np.max(detected_pa2(weighted_pa, sample_rate_hz, F_S))))
