"""The exponential detector against the formulae of IEC 61672-1:2013."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.levels.detectors import F_TIME_CONSTANT_S, S_TIME_CONSTANT_S, ExponentialDetector

STEP_S = 0.001


def test_the_time_constants_are_those_of_the_standard():
    """IEC 61672-1:2013, 5.8.1 (library)."""
    assert (F_TIME_CONSTANT_S, S_TIME_CONSTANT_S) == (0.125, 1.0)


@pytest.mark.parametrize("time_constant_s", [F_TIME_CONSTANT_S, S_TIME_CONSTANT_S])
@pytest.mark.parametrize("burst_s", [1.0, 0.2, 0.05, 0.01, 0.002])
def test_a_burst_rises_to_one_minus_exp_of_its_length(time_constant_s, burst_s):
    """Equation 7: exact for energy that is steady within each step."""
    energies = np.concatenate([np.zeros(200), np.ones(round(burst_s / STEP_S)), np.zeros(500)])
    output = ExponentialDetector(time_constant_s, STEP_S).process(energies, 125)
    assert output.max() == pytest.approx(1 - np.exp(-burst_s / time_constant_s), rel=1e-9)


@pytest.mark.parametrize("time_constant_s", [F_TIME_CONSTANT_S, S_TIME_CONSTANT_S])
def test_the_decay_is_exponential(time_constant_s):
    energies = np.repeat([1.0, 0.0], [500, 1000])
    output = ExponentialDetector(time_constant_s, STEP_S).process(energies, 125)[500:]
    assert output == pytest.approx(np.exp(-np.arange(1, 1001) * STEP_S / time_constant_s), rel=1e-9)


@given(st.lists(st.integers(0, 400), max_size=5))
def test_cutting_the_stream_changes_nothing(cuts):
    energies = np.random.default_rng(1).exponential(size=400)
    whole = ExponentialDetector(F_TIME_CONSTANT_S, STEP_S).process(energies, 125)
    detector = ExponentialDetector(F_TIME_CONSTANT_S, STEP_S)
    cuts = [cut for cut in cuts if cut == 0 or cut >= 125]
    pieces = [detector.process(piece, 125) for piece in np.split(energies, sorted(cuts))]
    np.testing.assert_array_equal(np.concatenate(pieces), whole)


def test_it_starts_settled_on_what_it_hears_first():
    energies = np.concatenate([np.full(125, 2.0), np.full(400, 2.0)])
    output = ExponentialDetector(S_TIME_CONSTANT_S, STEP_S).process(energies, 125)
    assert output == pytest.approx(2.0, rel=1e-12)


def test_it_settles_on_the_mean_of_the_start_and_not_on_its_first_step():
    """Before came 2 Pa², the mean of 0 and 4: after a first step of 0 exp(-t/T) of it is left."""
    energies = np.tile([0.0, 4.0], 100)
    output = ExponentialDetector(F_TIME_CONSTANT_S, STEP_S).process(energies, 100)
    assert output[0] == pytest.approx(2.0 * np.exp(-STEP_S / F_TIME_CONSTANT_S), rel=1e-12)


@given(st.integers(0, 1000), st.floats(0.1, 50))
def test_the_output_stays_within_what_went_in(seed, spread_db):
    energies = 10 ** (np.random.default_rng(seed).normal(0, spread_db, 300) / 10)
    output = ExponentialDetector(F_TIME_CONSTANT_S, STEP_S).process(energies, 125)
    assert output.min() >= energies.min() * (1 - 1e-9)
    assert output.max() <= energies.max() * (1 + 1e-9)


def test_after_long_digital_silence_there_is_silence():
    energies = np.repeat([1.0, 0.0], [200, 100_000])
    output = ExponentialDetector(S_TIME_CONSTANT_S, STEP_S).process(energies, 125)
    assert output[-1] == 0.0
    assert output[output > 0].min() >= 1e-30
