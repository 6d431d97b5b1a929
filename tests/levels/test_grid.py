"""Cells of equal time: no sample lost, none counted twice, no drift."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.levels.grid import CellJoiner, Grid, split_evenly

RATES_HZ = (8000, 11025, 22050, 44100, 48000, 192000)
grids = st.builds(Grid, sample_rate_hz=st.sampled_from(RATES_HZ), cells_per_second=st.sampled_from([8, 1000]))


@given(grids, st.integers(0, 10**10))
def test_a_sample_lies_within_the_edges_of_its_cell(grid, sample):
    cell = grid.cell_of(sample)
    first, after = grid.edges(cell, cell + 1)
    assert first <= sample < after


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_edges_do_not_drift_in_a_day(rate_hz):
    """A whole second has its edge at a whole number of rates, after any number of hours."""
    grid = Grid(sample_rate_hz=rate_hz, cells_per_second=1000)
    for hours in (1, 8, 24):
        assert grid.edges(hours * 3_600_000, hours * 3_600_000)[0] == hours * 3600 * rate_hz


@given(grids, st.integers(0, 10**9), st.integers(1, 50))
def test_cells_hold_all_samples(grid, first_cell, cells):
    first, after = grid.edges(first_cell, first_cell + cells)[[0, -1]]
    assert grid.samples_in(first_cell, cells).sum() == after - first


@given(grids, st.integers(0, 10**6), st.lists(st.integers(1, 30_000), min_size=1, max_size=6))
def test_stretches_joined_give_the_cells_of_the_whole(grid, start_cell, lengths):
    """Sums over cells do not depend on how the stream was cut into stretches."""
    first = int(grid.edges(start_cell, start_cell)[0])
    values = np.arange(1.0, sum(lengths) + 1)
    joiner, done, sample = CellJoiner(grid, np.add), [], first
    for length in lengths:
        piece = values[sample - first : sample - first + length]
        sums = np.add.reduceat(piece, grid.cuts(sample, length))
        sample += length
        done.append(joiner.take(sums, sample))
    found = np.concatenate(done)
    edges = grid.edges(start_cell, start_cell + found.size) - first
    expected = [values[a:b].sum() for a, b in pairwise(edges)]
    np.testing.assert_array_equal(found, expected)
    assert sample - first - edges[-1] < grid.sample_rate_hz / grid.cells_per_second


def test_a_peak_is_joined_by_its_larger_part():
    """Of a cell that straddles two stretches the maximum counts, not the sum: 3 of (2, 3)."""
    grid = Grid(sample_rate_hz=8000, cells_per_second=8)
    joiner = CellJoiner(grid, np.maximum)
    assert joiner.take(np.array([2.0]), 400).tolist() == []
    assert joiner.take(np.array([3.0, 1.0]), 1600).tolist() == [3.0]


def shared_sum(samples, positions, seed):
    """Return a random series' sum and the sum of its shares."""
    pairs = np.random.default_rng(seed).exponential(size=2 * samples).astype(np.float32)
    found = split_evenly(pairs, np.array(positions))
    assert found.size == len(positions) + 1
    return float(pairs.sum()), float(found.sum())


@given(st.integers(10, 100), st.lists(st.floats(1, 4), max_size=8), st.integers(0, 100))
def test_a_series_shared_out_keeps_its_sum(samples, apart, seed):
    """Edges anywhere, at least one sample apart."""
    positions = np.cumsum(apart)
    whole, shared = shared_sum(samples, positions[positions <= samples], seed)
    assert shared == pytest.approx(whole, rel=1e-4)


@pytest.mark.parametrize("positions", [[0.0], [0.25], [0.999], [0.5, 1.5]])
def test_an_edge_within_the_first_sample_loses_and_doubles_nothing(positions):
    whole, shared = shared_sum(10, positions, seed=1)
    assert shared == pytest.approx(whole, rel=1e-4)


@pytest.mark.parametrize("position", [1.0, 2.25, 5.5, 9.75, 10.0])
def test_an_edge_within_a_sample_divides_it(position):
    """Ten samples of 2: as much before an edge as time before it."""
    pairs = np.tile([1.5, 0.5], 10).astype(np.float32)
    assert split_evenly(pairs, np.array([position])) == pytest.approx([2 * position, 20 - 2 * position])
