"""Statistics of a stretch: ranks as printed, bounds that always hold, silence and gaps."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.statistics import (
    EXCEEDED_PERCENT,
    band_equivalent_levels,
    exceeded_levels,
    level_statistics,
)

RANKS = tomllib.loads((Path(__file__).parents[1] / "published" / "rank_conventions.toml").read_text())
LEVELS = st.lists(st.floats(-20, 120, width=32), min_size=1, max_size=60)


@pytest.fixture(scope="module")
def history_of(block):
    """Return a function from one level a tick to a history that has it in every row."""

    def build(levels_db, left_out=None):
        levels = np.asarray(levels_db, dtype=np.float32)
        names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
        return LevelHistory(
            start=block(np.zeros(1), 8000).start,
            sample_rate_hz=8000.0,
            nominal_hz=(500.0, 630.0),
            bands=np.stack([levels, levels - 10]),
            left_out=np.zeros(levels.size, dtype=bool) if left_out is None else np.asarray(left_out),
            **{name: levels.copy() for name in names},
        )

    return build


def test_levels_exceeded_follow_the_convention_that_is_written_down():
    """The other conventions of the same table would give other digits."""
    ten = np.arange(RANKS["first_db"], RANKS["last_db"] + 1, dtype=np.float32)
    found = exceeded_levels(np.random.default_rng(5).permutation(ten))
    for name, percent in (("la10", 10), ("la90", 90)):
        assert found[name] == pytest.approx(RANKS["linear"][f"l{percent}"], abs=RANKS["printed_step_db"] / 2)
        for other in ("higher", "weibull", "hazen"):
            assert abs(found[name] - RANKS[other][f"l{percent}"]) > 0.05


@pytest.mark.parametrize("method", ["lower", "higher", "nearest", "inverted_cdf", "weibull", "hazen"])
def test_the_table_of_conventions_is_numpy_s_own(method):
    ten = np.arange(RANKS["first_db"], RANKS["last_db"] + 1)
    for percent in (10, 90):
        expected = np.percentile(ten, 100 - percent, method=method)
        assert RANKS[method][f"l{percent}"] == pytest.approx(expected, abs=RANKS["printed_step_db"] / 2)


@given(LEVELS)
def test_a_level_exceeded_longer_is_lower_and_all_lie_within_the_extremes(levels_db):
    found = list(exceeded_levels(np.array(levels_db, dtype=np.float32)).values())
    assert (np.diff(found) <= 1e-9).all()
    assert min(levels_db) - 1e-5 <= found[-1]
    assert found[0] <= max(levels_db) + 1e-5


@given(LEVELS, st.sampled_from(EXCEEDED_PERCENT))
def test_a_level_is_exceeded_for_no_more_of_the_time_than_its_name_says(levels_db, percent):
    levels = np.array(levels_db, dtype=np.float32)
    exceeded = exceeded_levels(levels)[f"la{percent}"]
    longer = np.count_nonzero(levels > exceeded + 1e-4)
    # Of n readings, n - 1 steps lie between first and last.
    assert longer <= percent / 100 * (levels.size - 1) + 1


def test_readings_stay_in_the_order_of_time():
    """Whoever asks for a percentile still has a night afterwards."""
    readings = np.array([50.0, 30.0, 40.0], dtype=np.float64)
    exceeded_levels(readings)
    assert readings.tolist() == [50.0, 30.0, 40.0]


def test_silence_is_not_mixed_with_sound():
    half = np.array([-np.inf] * 5 + [40.0] * 5, dtype=np.float32)
    found = exceeded_levels(half)
    assert found["la10"] == 40.0
    assert found["la50"] == found["la90"] == -np.inf


def test_of_nothing_nothing_is_known():
    assert np.isnan(list(exceeded_levels(np.empty(0, dtype=np.float32)).values())).all()


@given(LEVELS)
def test_statistics_keep_their_order(history_of, levels_db):
    found = level_statistics(history_of(levels_db))
    order = [found.lafmin, found.la99, found.la95, found.la90, found.la50, found.la10, found.la5, found.la1]
    assert (np.diff([*order, found.lafmax]) >= -1e-5).all()
    assert np.mean(np.array(levels_db)) - 1e-4 <= found.laeq <= found.lafmax + 1e-4


@pytest.mark.parametrize("seconds", [1, 60, 3600])
def test_exposure_is_the_equivalent_level_and_the_time(history_of, seconds):
    found = level_statistics(history_of(np.full(8 * seconds, 40.0)))
    assert found.laeq == pytest.approx(40.0)
    assert found.lae == pytest.approx(40.0 + 10 * np.log10(seconds))
    assert found.seconds == seconds
    assert found.left_out_s == 0.0


def test_what_is_left_out_counts_in_no_figure(history_of):
    levels = np.full(80, 40.0)
    levels[20:30] = 90.0
    mask = np.zeros(80, dtype=bool)
    mask[20:30] = True
    found = level_statistics(history_of(levels, mask))
    clean = level_statistics(history_of(np.full(70, 40.0)))
    for name in ("laeq", "lceq", "lzeq", "lafmax", "lafmin", "lasmax", "lcpeak", "lae", "la1", "la99"):
        assert getattr(found, name) == pytest.approx(getattr(clean, name)), name
    assert (found.seconds, found.left_out_s) == (10.0, 1.25)
    assert band_equivalent_levels(history_of(levels, mask)) == pytest.approx([40.0, 30.0])


def test_every_figure_is_read_from_its_own_quantity(history_of):
    """Steady levels, all different: each figure is the one that bears its name."""
    levels = np.full(16, 40.0, dtype=np.float32)
    rows = {"laeq": 1, "lceq": 2, "lzeq": 3, "laf": 4, "lafmax": 5, "lafmin": -5, "lasmax": 6, "lcpeak": 20}
    history = replace(history_of(levels), **{name: levels + by_db for name, by_db in rows.items()})
    found = level_statistics(history)
    for name in ("laeq", "lceq", "lzeq", "lafmax", "lafmin", "lasmax", "lcpeak"):
        assert getattr(found, name) == pytest.approx(40.0 + rows[name]), name
    assert found.la1 == found.la50 == found.la99 == pytest.approx(44.0)


def test_everything_left_out_leaves_nothing_known(history_of):
    found = level_statistics(history_of(np.full(8, 40.0), np.ones(8, dtype=bool)))
    assert np.isnan([found.laeq, found.lae, found.lafmax, found.lafmin, found.la50]).all()
    assert found.left_out_s == 1.0
    assert np.isnan(band_equivalent_levels(history_of(np.full(8, 40.0), np.ones(8, dtype=bool)))).all()


def test_what_is_not_known_stays_not_known(history_of):
    found = level_statistics(history_of([40.0, np.nan, 40.0]))
    assert np.isnan([found.laeq, found.lae, found.lafmax, found.la50]).all()


def test_an_equivalent_level_averages_energies(history_of):
    """60 dB for half of the time and nothing else: 3 dB less."""
    levels = np.repeat([60.0, -np.inf], 40)
    found = level_statistics(history_of(levels))
    assert found.laeq == pytest.approx(60 - 10 * np.log10(2))
    assert band_equivalent_levels(history_of(levels)) == pytest.approx([57.0, 47.0], abs=0.02)
