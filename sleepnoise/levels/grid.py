"""Cutting a stream of samples into cells of equal time, whatever the sampling rate.

Cell *k* holds the samples whose time lies in ``[k, k + 1) / cells_per_second``. The edges are
computed from whole numbers, so they never drift, and 125 cells of 1 ms are one of 125 ms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Cells of equal time on a sampling rate.

    Attributes
    ----------
    sample_rate_hz : int
    cells_per_second : int
    """

    sample_rate_hz: int
    cells_per_second: int

    def cell_of(self, sample: int) -> int:
        """Return the cell that holds a sample."""
        return sample * self.cells_per_second // self.sample_rate_hz

    @property
    def mean_samples(self) -> float:
        """Length of a cell in samples, which need not be a whole number."""
        return self.sample_rate_hz / self.cells_per_second

    def edges(self, first_cell: int, last_cell: int) -> NDArray[np.int64]:
        """Return the first sample of each cell from *first_cell* up to and with *last_cell*."""
        cells = np.arange(first_cell, last_cell + 1, dtype=np.int64)
        return -(-cells * self.sample_rate_hz // self.cells_per_second)

    def samples_in(self, first_cell: int, cells: int) -> NDArray[np.int64]:
        """Return the number of samples in each of several cells."""
        return np.diff(self.edges(first_cell, first_cell + cells))

    def cuts(self, first_sample: int, samples: int) -> NDArray[np.int64]:
        """Return where a stretch of samples is to be cut, for ``ufunc.reduceat``."""
        first_cell, last_cell = self.cell_of(first_sample), self.cell_of(first_sample + samples - 1)
        return np.concatenate([[0], self.edges(first_cell + 1, last_cell) - first_sample])


class CellJoiner:
    """Joins the pieces of cells that straddle two stretches.

    Pieces arrive as one value for each cell that a stretch touches; the last cell may be
    incomplete and waits for its rest.
    """

    def __init__(self, grid: Grid, join: np.ufunc) -> None:
        self._grid = grid
        self._join = join
        self._waiting: FloatArray | None = None

    def take(self, pieces: FloatArray, next_sample: int) -> FloatArray:
        """Return the cells completed by a stretch that ends just before *next_sample*.

        Parameters
        ----------
        pieces : ndarray, shape (..., cells touched)
        next_sample : int

        Returns
        -------
        ndarray, shape (..., cells completed)
        """
        if self._waiting is not None:
            pieces[..., 0] = self._join(pieces[..., 0], self._waiting)
        cut_short = self._grid.cell_of(next_sample) == self._grid.cell_of(next_sample - 1)
        self._waiting = pieces[..., -1].copy() if cut_short else None
        return pieces[..., :-1] if cut_short else pieces


def split_evenly(pairs: NDArray[np.float32], positions: FloatArray) -> FloatArray:
    """Share out a series between cells whose edges fall between its samples.

    Each sample counts as a level stretch one sample long, so nothing is lost or counted twice.

    Parameters
    ----------
    pairs : ndarray, shape (2 n,)
        Two addends of each sample, side by side: the squared real and imaginary parts of an
        analytic signal, which are not worth a pass over memory just to be added.
    positions : ndarray, shape (cells - 1,)
        Inner edges in samples, rising, within 0 and n, at least one sample apart.

    Returns
    -------
    ndarray, shape (cells,)
    """
    whole = np.minimum(positions.astype(np.int64), pairs.size // 2 - 1)
    shares = np.add.reduceat(pairs, np.concatenate([[0], 2 * whole])).astype(np.float64)
    if whole.size and whole[0] == 0:
        # Of an empty stretch ``reduceat`` gives the first sample, not nothing.
        shares[0] = 0.0
    # The sample that an edge cuts through went to the later cell; its first part belongs to the earlier one.
    moved = (positions - whole) * (pairs[2 * whole] + pairs[2 * whole + 1])
    shares[1:] -= moved
    shares[:-1] += moved
    return shares
