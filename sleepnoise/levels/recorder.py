"""From energies to the level history: the sequential, cheap part of the engine.

Everything here depends on what came before: detectors, cells that straddle two sets of
frames, the coarse stream. It runs in one thread, in the order of the sound.
"""

from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.levels.detectors import F_TIME_CONSTANT_S, S_TIME_CONSTANT_S, ExponentialDetector
from sleepnoise.levels.frames import SETTLED_S, Framer, Frames
from sleepnoise.levels.grid import CellJoiner, Grid
from sleepnoise.levels.history import TICKS_TOGETHER, LevelHistory
from sleepnoise.levels.hundredths import BandLevels, hundredths
from sleepnoise.levels.spectra import FrameEnergies, LowerBandAnalysis

_WEIGHTED = ("laeq", "laf", "lafmax", "lafmin", "lasmax")
_PEAK = ("lceq", "lcpeak")
_Z = ("z_lower", "z_upper")


class _Table:
    """Rows of values, each growing at its own end; a capacity known beforehand saves all copying."""

    def __init__(self, rows: int, capacity: int, kind: DTypeLike) -> None:
        self._values = np.empty((rows, max(capacity, 1)), dtype=kind)

    def put(self, first_row: int, column: int, values: NDArray[Any]) -> None:
        """Write a stretch of several rows."""
        rows, columns = values.shape
        if column + columns > self._values.shape[1]:
            grown = np.empty((len(self._values), (column + columns) * 3 // 2), self._values.dtype)
            grown[:, : self._values.shape[1]] = self._values
            self._values = grown
        self._values[first_row : first_row + rows, column : column + columns] = values

    def columns(self, count: int) -> NDArray[Any]:
        """Return the first columns of all rows."""
        return self._values[:, :count]


class _Weighted:
    """LAeq and the F and S detectors, from summed squares in steps of one millisecond."""

    def __init__(self, steps: Grid, ticks: Grid) -> None:
        self._steps, self._ticks = steps, ticks
        self._per_tick = steps.cells_per_second // ticks.cells_per_second
        self._joiner = CellJoiner(steps, np.add)
        self._fast = ExponentialDetector(F_TIME_CONSTANT_S, 1 / steps.cells_per_second)
        self._slow = ExponentialDetector(S_TIME_CONSTANT_S, 1 / steps.cells_per_second)
        self._ticks_done = 0
        self._waiting = np.empty((3, 0))

    def levels(self, a_step: FloatArray, next_sample: int) -> FloatArray:
        """Return the rows ``_WEIGHTED`` of the ticks that are now complete, shape (5, ticks), dB."""
        sums = self._joiner.take(a_step, next_sample)
        # By the length of a step, not by the samples that fall into it: a click must not count less
        # in a step that happens to hold one more.
        mean_square = sums / self._steps.mean_samples
        detected = [detector.process(mean_square, self._per_tick) for detector in (self._fast, self._slow)]
        waiting = np.concatenate([self._waiting, np.stack([sums, *detected])], axis=1)
        complete = waiting.shape[1] // self._per_tick
        self._waiting = waiting[:, complete * self._per_tick :]
        sums, fast, slow = waiting[:, : complete * self._per_tick].reshape(3, complete, self._per_tick)
        equivalent = sums.sum(axis=1) / self._ticks.samples_in(self._ticks_done, complete)
        self._ticks_done += complete
        extremes = [fast[:, -1], fast.max(axis=1), fast.min(axis=1), slow.max(axis=1)]
        return pressure_level(np.stack([equivalent, *extremes]))


class HistoryRecorder:
    """Takes the energies of frames, in order, and keeps the history.

    Parameters
    ----------
    start : datetime
        UTC.
    nominal_hz : tuple of float
        All bands, lower ones first.
    ticks, steps : Grid
        125 ms and 1 ms, on the full sampling rate.
    lower_bands : LowerBandAnalysis
    capacity : int
        Ticks to expect.
    """

    def __init__(
        self,
        *,
        start: datetime,
        nominal_hz: tuple[float, ...],
        ticks: Grid,
        steps: Grid,
        lower_bands: LowerBandAnalysis,
        capacity: int,
    ) -> None:
        self._start, self._nominal_hz, self._ticks = start, nominal_hz, ticks
        self._lower_bands = lower_bands
        coarse_rate_hz = ticks.sample_rate_hz / lower_bands.decimation
        self._coarse_framer = Framer(lower_bands.plan, round(SETTLED_S * coarse_rate_hz))
        self._weighted = _Weighted(steps, ticks)
        self._c_sum, self._c_peak = CellJoiner(ticks, np.add), CellJoiner(ticks, np.maximum)
        self._upper, self._lower = CellJoiner(ticks, np.add), CellJoiner(ticks, np.add)
        rows = (*_WEIGHTED, *_PEAK, *_Z)
        self._row_of = {name: row for row, name in enumerate(rows)}
        self._ticks_in = dict.fromkeys((_WEIGHTED[0], _PEAK[0], *_Z), 0)
        self._table = _Table(len(rows), capacity, np.float32)
        self._bands = _Table(len(nominal_hz), capacity, np.int16)
        self._first_band = dict(zip(_Z, (0, lower_bands.bands), strict=True))

    def take(self, energies: FrameEnergies) -> None:
        """Take the energies of the next set of frames."""
        next_sample = energies.first_sample + energies.samples
        self._put(_WEIGHTED[0], self._weighted.levels(energies.a_step, next_sample))
        c_sum = self._c_sum.take(energies.c_tick, next_sample)
        c_peak_square = self._c_peak.take(energies.c_peak_square_tick, next_sample)
        c_mean = self._mean_square(_PEAK[0], c_sum)
        self._put(_PEAK[0], pressure_level(np.stack([c_mean, c_peak_square])))
        self._put_bands("z_upper", self._upper.take(energies.band_tick, next_sample))
        self._take_coarse(self._coarse_framer.take(energies.coarse))

    def finished(self, received: int) -> LevelHistory:
        """Return the history of *received* samples; the stream is over."""
        self._take_coarse(self._coarse_framer.rest())
        count = received * self._ticks.cells_per_second // self._ticks.sample_rate_hz
        table = self._table.columns(count)
        ticks = {name: table[self._row_of[name]] for name in (*_WEIGHTED, *_PEAK)}
        z_lower, z_upper = table[self._row_of["z_lower"]], table[self._row_of["z_upper"]]
        for first in range(0, count, TICKS_TOGETHER):
            # In pieces and in place: at the end of a night, what is taken here counts.
            now = slice(first, first + TICKS_TOGETHER)
            z_lower[now] = pressure_level(z_lower[now].astype(np.float64) + z_upper[now])
        left_over = received - int(self._ticks.edges(count, count)[0])
        return LevelHistory(
            start=self._start,
            sample_rate_hz=float(self._ticks.sample_rate_hz),
            **ticks,
            lzeq=z_lower,
            nominal_hz=self._nominal_hz,
            bands=BandLevels(self._bands.columns(count)),
            left_out=np.zeros(count, dtype=np.bool_),
            left_over_s=left_over / self._ticks.sample_rate_hz,
        )

    def _take_coarse(self, sets: list[Frames]) -> None:
        for frames in sets:
            energies, next_sample = self._lower_bands.energies(frames, self._ticks)
            self._put_bands("z_lower", self._lower.take(energies, next_sample))

    def _put_bands(self, z_row: str, energies: FloatArray) -> None:
        """Write bands and, for LZ, their sum together with the last row, which lies outside all bands."""
        mean_square = self._mean_square(z_row, energies)
        bands_db = pressure_level(mean_square[:-1])
        self._bands.put(self._first_band[z_row], self._ticks_in[z_row], hundredths(bands_db))
        self._put(z_row, mean_square.sum(axis=0, keepdims=True))

    def _mean_square(self, first_row: str, energies: FloatArray) -> FloatArray:
        """Return summed squares of the ticks that come next in some rows, per sample."""
        return energies / self._ticks.samples_in(self._ticks_in[first_row], energies.shape[-1])

    def _put(self, first_row: str, values: FloatArray) -> None:
        self._table.put(self._row_of[first_row], self._ticks_in[first_row], values)
        self._ticks_in[first_row] += values.shape[1]
