"""Exponential time weightings F and S, on mean squares of one millisecond."""

import numpy as np
import scipy.signal

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source

IEC_61672_1_TIME = Source(document="IEC 61672-1:2013", place="5.8.1 time weightings", how_known="library")

F_TIME_CONSTANT_S = 0.125
"""Time weighting F. Source: IEC_61672_1_TIME."""

S_TIME_CONSTANT_S = 1.0
"""Time weighting S. Source: IEC_61672_1_TIME."""

FLOOR_PA2 = 1e-30
"""Mean squares below this are silence, Pa². Chosen: -206 dB, far below any recorder, far above denormals."""


class ExponentialDetector:
    """Exponentially weighted mean square of a stream of mean squares.

    The sound before the first sample is taken to have been like the sound at the start, as
    with a meter that was already running: a detector that started from silence would report
    a false minimum.

    Parameters
    ----------
    time_constant_s : float, s
    step_s : float, s
        Length that each mean square stands for.
    """

    def __init__(self, time_constant_s: float, step_s: float) -> None:
        self._kept = float(np.exp(-step_s / time_constant_s))
        self._state: FloatArray | None = None

    def process(self, mean_square: FloatArray, settling_steps: int) -> FloatArray:
        """Return the detector's output at the end of each step.

        Parameters
        ----------
        mean_square : ndarray, shape (steps,), Pa²
        settling_steps : int
            Steps at the very start whose mean is taken for the time before; not used later.
        """
        if mean_square.size == 0:
            return mean_square
        if self._state is None:
            self._state = np.array([self._kept * mean_square[:settling_steps].mean()])
        coefficients = [1.0 - self._kept], [1.0, -self._kept]
        output, self._state = scipy.signal.lfilter(*coefficients, mean_square, zi=self._state)
        # After digital silence the output would shrink for ever, into numbers that are slow to compute.
        output[output < FLOOR_PA2] = 0.0
        self._state[self._state < FLOOR_PA2] = 0.0
        return np.asarray(output)
