"""A second way to the levels of a sound, which shares nothing with the code under test."""

import math

import numpy as np
import pytest
from scipy import signal

# IEC 61672-1:2013, Annex E, pole frequencies as usually rounded (library).
POLES_HZ = (20.6, 107.7, 737.9, 12194.0)
A_1000_DB = 2.0


def a_weight(frequency_hz):
    """A-weighting as a power ratio, by the formula of IEC 61672-1:2013, E.2 (library)."""
    f1, f2, f3, f4 = POLES_HZ
    f = np.asarray(frequency_hz, dtype=float) ** 2
    amplitude = f4**2 * f**2 / ((f + f1**2) * np.sqrt((f + f2**2) * (f + f3**2)) * (f + f4**2))
    return amplitude**2 * 10 ** (A_1000_DB / 10)


def laeq_by_density(pressure_pa, rate):
    """LAeq from the power spectral density by Welch's method."""
    frequency_hz, density = signal.welch(pressure_pa, rate, nperseg=rate // 4)
    return 10 * math.log10(np.sum(density * a_weight(frequency_hz)) * frequency_hz[1] / 4e-10)


def a_weighted_in_time(pressure_pa, rate):
    """A-weighted pressure from digital filters at eight times the rate, and that rate."""
    fast = 8 * rate
    f1, f2, f3, f4 = (2 * math.pi * pole_hz for pole_hz in POLES_HZ)
    gain = f4**2 * 10 ** (A_1000_DB / 20)
    zeros, poles, gain = signal.bilinear_zpk([0] * 4, [-f1, -f1, -f2, -f3, -f4, -f4], gain, fast)
    many = signal.resample_poly(pressure_pa, 8, 1)
    return signal.sosfilt(signal.zpk2sos(zeros, poles, gain), many), fast


def highest_level(weighted_pa, rate, time_constant_s):
    """Highest exponentially averaged level, one multiplication after another."""
    share = 1 / (rate * time_constant_s)
    mean = highest = 0.0
    for square in (weighted_pa**2).tolist():
        mean += (square - mean) * share
        highest = max(highest, mean)
    return 10 * math.log10(highest / 4e-10)


@pytest.fixture(scope="session")
def second_way():
    """The functions above, for the tests of this room."""

    class SecondWay:
        laeq = staticmethod(laeq_by_density)
        a_weighted = staticmethod(a_weighted_in_time)
        highest = staticmethod(highest_level)
        a_weight = staticmethod(a_weight)

    return SecondWay
