"""Decibel arithmetic: what must hold for any levels at all."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import combine, energy, energy_mean, level, pressure_level

LEVELS = st.lists(st.floats(-200, 200), min_size=1, max_size=20)
SOME_SILENT = st.lists(st.floats(-200, 200) | st.just(-np.inf), min_size=1, max_size=20)


def test_one_pascal_is_94_db_and_the_reference_pressure_is_0_db():
    """20 µPa by ISO 1683; calibrators are called 94 dB for 1 Pa (common practice, no source)."""
    assert pressure_level(1.0) == pytest.approx(94.0, abs=0.05)
    assert pressure_level((20e-6) ** 2) == pytest.approx(0.0, abs=1e-12)


@given(st.floats(-200, 200))
def test_a_level_survives_the_way_to_energy_and_back(level_db):
    assert level(energy(level_db)) == pytest.approx(level_db, abs=1e-9)


@given(st.floats(-200, 200), st.integers(1, 1000))
def test_n_equal_sounds_are_10_lg_n_louder_than_one(level_db, n):
    assert combine(np.full(n, level_db)) == pytest.approx(level_db + 10 * np.log10(n), abs=1e-9)


@given(LEVELS)
def test_a_sum_lies_between_its_loudest_part_and_as_many_of_them(levels_db):
    assert (
        max(levels_db) - 1e-9 <= combine(levels_db) <= max(levels_db) + 10 * np.log10(len(levels_db)) + 1e-9
    )


@given(LEVELS)
def test_an_energy_mean_lies_between_arithmetic_mean_and_maximum(levels_db):
    assert np.mean(levels_db) - 1e-9 <= energy_mean(levels_db) <= max(levels_db) + 1e-9


@given(LEVELS, st.floats(-50, 50))
def test_everything_louder_by_as_much_makes_mean_and_sum_louder_by_as_much(levels_db, more_db):
    louder_db = np.array(levels_db) + more_db
    assert energy_mean(louder_db) == pytest.approx(energy_mean(levels_db) + more_db, abs=1e-9)
    assert combine(louder_db) == pytest.approx(float(combine(levels_db)) + more_db, abs=1e-9)


@given(SOME_SILENT)
def test_silence_adds_nothing_and_warns_of_nothing(levels_db):
    audible = [value for value in levels_db if value > -np.inf]
    assert combine(levels_db) == pytest.approx(float(combine(audible)), abs=1e-9)
    assert combine([*levels_db, -np.inf]) == pytest.approx(float(combine(levels_db)), abs=1e-9)


def test_only_silence_stays_silence():
    assert np.isneginf(level(0.0))
    assert np.isneginf(pressure_level(0.0))
    assert np.isneginf(combine([-np.inf, -np.inf]))
    assert np.isneginf(combine([]))
    assert energy_mean([-np.inf, -np.inf]) == -np.inf
    assert energy(-np.inf) == 0.0


def test_what_is_not_known_makes_the_whole_unknown():
    assert np.isnan(combine([60.0, np.nan]))
    assert np.isnan(energy_mean([60.0, np.nan, -np.inf]))
    assert np.isnan(level(energy(np.nan)))
    sums = combine([[60.0, 60.0], [np.nan, 60.0]], axis=0)
    assert np.isnan(sums[0])
    assert sums[1] == pytest.approx(63.0103, abs=5e-5)


@given(st.lists(st.tuples(st.floats(-100, 100), st.integers(1, 50)), min_size=1, max_size=8))
def test_a_stretch_weighs_as_much_as_it_lasts(stretches):
    levels_db, seconds = zip(*stretches, strict=True)
    one_each = np.repeat(levels_db, seconds)
    assert energy_mean(levels_db, seconds) == pytest.approx(energy_mean(one_each), abs=1e-9)


def test_a_mean_of_nothing_or_over_no_time_is_refused():
    with pytest.raises(ValueError, match="at least one level"):
        energy_mean([])
    with pytest.raises(ValueError, match="longer than 0 s"):
        energy_mean([60.0, 60.0], [1.0, 0.0])


def test_sums_run_along_the_axis_asked_for():
    levels_db = np.array([[50.0, 50.0, 50.0], [40.0, -np.inf, 40.0]])
    assert combine(levels_db, axis=0).shape == (3,)
    assert combine(levels_db, axis=1) == pytest.approx([54.7712, 43.0103], abs=5e-5)
