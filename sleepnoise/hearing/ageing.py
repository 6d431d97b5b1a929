"""What age does to the threshold of hearing.

Symbols: ``a``, ``b`` of the median shift :math:`a (age - 18)^b` in dB, ``su`` and ``sl`` the spread of
people who hear worse and better than the median, polynomials of fifth degree in ``age - 18``.

Editions disagree: at 60 years and 4 kHz the median of ISO 7029:2000 is 28 dB for men and 16 dB for women,
that of 2017 is 20 and 15 dB. This is the edition of 2017.
"""

from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError

Sex = Literal["female", "male"]

ISO_7029 = Source(document="ISO 7029:2017", place="Tables 1 to 5", how_known="library")

YOUNGEST_YEARS = 18.0
"""Age that every shift counts from. Source: ISO_7029."""

OLDEST_YEARS = 80.0
"""Oldest age of the tables; above 2 kHz they end at 70, and are continued here. Source: ISO_7029."""

AUDIOMETRIC_HZ = (125.0, 250.0, 500.0, 750.0, 1000.0, 1500.0, 2000.0, 3000.0, 4000.0, 6000.0, 8000.0)
"""Frequencies of the tables. Source: ISO_7029."""

_MEDIAN = {
    "female": np.array([
        [0.000616, 2.451], [0.000398, 2.568], [0.000261, 2.708], [0.000225, 2.775],
        [0.000221, 2.805], [0.000253, 2.813], [0.000312, 2.792], [0.000488, 2.728],
        [0.000737, 2.66], [0.00147, 2.539], [0.00253, 2.439],
    ]),
    "male": np.array([
        [2.5e-06, 3.841], [0.000139, 2.832], [0.000459, 2.537], [0.00057, 2.512],
        [0.000702, 2.494], [0.00109, 2.446], [0.00156, 2.404], [0.00254, 2.35],
        [0.0034, 2.325], [0.00453, 2.315], [0.00506, 2.328],
    ]),
}  # fmt: skip
"""``a`` and ``b``, shape (frequencies, 2). Source: ISO_7029."""

_WORSE = {
    "female": np.array([
        [5.05, 0.4, -0.046, 0.00173, -2.75e-05, 1.71e-07],
        [5.01, 0.481, -0.0488, 0.0018, -2.81e-05, 1.67e-07],
        [4.68, 0.51, -0.0516, 0.00195, -3.07e-05, 1.77e-07],
        [4.45, 0.511, -0.0525, 0.00203, -3.18e-05, 1.81e-07],
        [4.34, 0.492, -0.0515, 0.00203, -3.18e-05, 1.78e-07],
        [4.23, 0.479, -0.0512, 0.00207, -3.26e-05, 1.8e-07],
        [4.26, 0.456, -0.0491, 0.00201, -3.16e-05, 1.7e-07],
        [4.36, 0.476, -0.0515, 0.00219, -3.51e-05, 1.91e-07],
        [4.61, 0.477, -0.0507, 0.00219, -3.51e-05, 1.88e-07],
        [5.22, 0.483, -0.0483, 0.00213, -3.39e-05, 1.74e-07],
        [5.84, 0.516, -0.0489, 0.00218, -3.49e-05, 1.77e-07],
    ]),
    "male": np.array([
        [4.63, 0.645, -0.0885, 0.00369, -5.98e-05, 3.39e-07],
        [5.27, 0.71, -0.0913, 0.00364, -5.74e-05, 3.22e-07],
        [4.98, 0.751, -0.092, 0.00368, -5.84e-05, 3.28e-07],
        [4.65, 0.733, -0.0881, 0.00359, -5.76e-05, 3.24e-07],
        [4.42, 0.714, -0.0854, 0.00357, -5.82e-05, 3.29e-07],
        [4.14, 0.679, -0.0804, 0.00352, -5.89e-05, 3.35e-07],
        [4.1, 0.632, -0.0753, 0.00346, -5.94e-05, 3.4e-07],
        [4.29, 0.53, -0.0628, 0.00309, -5.37e-05, 2.95e-07],
        [4.68, 0.455, -0.0552, 0.00295, -5.3e-05, 2.92e-07],
        [5.61, 0.363, -0.0472, 0.00292, -5.58e-05, 3.12e-07],
        [6.62, 0.291, -0.0416, 0.00292, -5.85e-05, 3.33e-07],
    ]),
}  # fmt: skip
"""Coefficients of ``su``, constant first, shape (frequencies, 6), dB. Source: ISO_7029."""

_BETTER = {
    "female": np.array([
        [3.64, 0.047, 0.00228, -6.68e-05, -8.72e-07, 2.3e-08],
        [3.11, 0.226, -0.00771, 9.83e-05, -7.11e-07, 9.02e-09],
        [2.98, 0.338, -0.0174, 0.000353, -2.78e-06, 1.01e-08],
        [3.03, 0.378, -0.0224, 0.00052, -4.6e-06, 1.5e-08],
        [3.15, 0.382, -0.0239, 0.000562, -4.6e-06, 9.87e-09],
        [3.32, 0.387, -0.0264, 0.000671, -5.76e-06, 1.07e-08],
        [3.47, 0.392, -0.0284, 0.000779, -7.35e-06, 1.71e-08],
        [3.69, 0.392, -0.0296, 0.000844, -7.55e-06, 8.16e-09],
        [3.84, 0.402, -0.0317, 0.000999, -1.08e-05, 2.99e-08],
        [4.04, 0.403, -0.0315, 0.00106, -1.21e-05, 3.44e-08],
        [4.15, 0.413, -0.0301, 0.001, -9.97e-06, 8.74e-09],
    ]),
    "male": np.array([
        [3.34, 0.131, -0.0202, 0.00112, -2.28e-05, 1.57e-07],
        [3.32, 0.23, -0.0254, 0.0012, -2.27e-05, 1.46e-07],
        [3.43, 0.362, -0.0411, 0.00187, -3.44e-05, 2.21e-07],
        [3.6, 0.384, -0.0443, 0.00198, -3.55e-05, 2.22e-07],
        [3.77, 0.363, -0.0419, 0.00182, -3.14e-05, 1.89e-07],
        [3.93, 0.365, -0.0422, 0.00179, -2.96e-05, 1.7e-07],
        [4.01, 0.387, -0.0447, 0.00187, -3.02e-05, 1.69e-07],
        [4.11, 0.405, -0.0456, 0.00186, -2.83e-05, 1.46e-07],
        [4.09, 0.439, -0.0478, 0.00192, -2.84e-05, 1.4e-07],
        [4.01, 0.497, -0.0497, 0.00193, -2.67e-05, 1.18e-07],
        [3.9, 0.559, -0.0562, 0.0024, -3.92e-05, 2.29e-07],
    ]),
}  # fmt: skip
"""Coefficients of ``sl``, constant first, shape (frequencies, 6), dB. Source: ISO_7029."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listener:
    """Whose ears a sound is judged by; the default is a young adult, the most sensitive one.

    Attributes
    ----------
    age_years : float
    sex : {"female", "male"}
    share_hearing_better : float
        Share of people of that age and sex who hear better than this listener.

    Raises
    ------
    SettingsError
        If the age is outside the tables, or the share is not between 0 and 1.
    """

    age_years: float = YOUNGEST_YEARS
    sex: Sex = "female"
    share_hearing_better: float = 0.5

    def __post_init__(self) -> None:
        if not YOUNGEST_YEARS <= self.age_years <= OLDEST_YEARS:
            raise SettingsError(
                f"listener: age must lie between {YOUNGEST_YEARS:g} and {OLDEST_YEARS:g} years, "
                f"got {self.age_years:g}.",
                remedy=f"Give {YOUNGEST_YEARS:g} for anybody younger; nothing is published for older people.",
            )
        if not 0 < self.share_hearing_better < 1:
            raise SettingsError(
                f"listener: the share who hear better must lie between 0 and 1, "
                f"got {self.share_hearing_better:g}.",
                remedy="Give 0.5 for the middle of an age group.",
            )

    def shift_db(self, frequency_hz: ArrayLike) -> FloatArray:
        """Return how far the threshold lies above that of a median 18-year-old, same shape, dB.

        Between the frequencies of the tables it is interpolated on a logarithmic scale; below
        125 Hz and above 8 kHz their last value is held.
        """
        after = self.age_years - YOUNGEST_YEARS
        factor, exponent = _MEDIAN[self.sex].T
        deviations = NormalDist().inv_cdf(self.share_hearing_better)
        spread_db = (_WORSE if deviations > 0 else _BETTER)[self.sex] @ after ** np.arange(6)
        shift_db = factor * after**exponent + deviations * spread_db
        return np.asarray(np.interp(np.log(frequency_hz), np.log(AUDIOMETRIC_HZ), shift_db))
