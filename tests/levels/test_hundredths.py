import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.levels.hundredths import NOT_KNOWN, SILENCE, BandLevels, hundredths, part_of

LEVELS = [[30.0, 31.004, -np.inf, np.nan], [-12.346, 0.0, 327.0, -327.0]]


def test_levels_come_back_to_half_a_hundredth_and_what_is_no_level_unchanged():
    back = BandLevels(hundredths(LEVELS))[:]
    assert back.dtype == np.float32
    np.testing.assert_allclose(back, LEVELS, rtol=0, atol=0.005 + 1e-4)


@pytest.mark.parametrize(
    "key", [0, (slice(None), 1), (1, slice(1, 3)), ([True, False], 2), (slice(None), slice(0, 0))]
)
def test_indexing_is_that_of_an_array(key):
    bands = BandLevels(hundredths(LEVELS))
    np.testing.assert_array_equal(bands[key], np.asarray(bands)[key])
    assert (len(bands), bands.shape) == (2, (2, 4))
    assert [row.tolist() for row in bands][1] == bands[1].tolist()


@given(st.lists(st.floats(width=32), max_size=50))
def test_whatever_a_level_is_it_is_kept_or_marked(levels):
    given_db = np.array(levels, dtype=np.float32)
    stored = hundredths(given_db)
    assert np.array_equal(stored == NOT_KNOWN, np.isnan(given_db))
    assert np.array_equal(stored == SILENCE, np.isneginf(given_db))
    plain = np.isfinite(given_db) & (np.abs(given_db) < 327)
    assert np.all(np.abs(stored[plain] / 100 - given_db[plain].astype(np.float64)) <= 0.005 + 1e-9)


def test_a_part_of_either_kind_is_a_view():
    bands, plain = BandLevels(hundredths(LEVELS)), np.array(LEVELS)
    assert np.shares_memory(part_of(bands, 1, 3).kept, bands.kept)
    assert np.shares_memory(part_of(plain, 1, 3), plain)
    np.testing.assert_array_equal(part_of(bands, 1, 3)[:], bands[:, 1:3])


def test_decibels_are_never_a_view():
    with pytest.raises(ValueError, match="always a copy"):
        np.asarray(BandLevels(hundredths(LEVELS)), copy=False)
