"""The level engine: calibrated pressure in, a level history out, in one pass.

Frames of the full-rate stream give A, C, the upper bands and a coarse stream; frames of the
coarse stream give the lower bands, whose filters ring for too long for short frames. Both
are cut at fixed places, so the history does not depend on how the sound arrives. Memory
holds a few frames and the history.
"""

from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from copy import deepcopy
from datetime import datetime
from types import TracebackType
from typing import Self

import numpy as np
import scipy.fft

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.levels.bands import (
    band_amplitude,
    bands_within,
    infrasound_amplitude,
    low_pass_amplitude,
    remainder_amplitude,
)
from sleepnoise.levels.frames import SETTLED_S, FramePlan, Framer, Frames
from sleepnoise.levels.grid import Grid
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory
from sleepnoise.levels.recorder import HistoryRecorder
from sleepnoise.levels.spectra import BandFilter, FrameEnergies, FullRateAnalysis, LowerBandAnalysis

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000
"""Sampling rates that the engine takes. Chosen: below, speech bands are missing; above, no recorder goes."""

FRAME_S = 1.3
"""Full-rate frames are at least this long, s. Chosen: guards stay a small part of the work."""

FRAMES_TOGETHER = 8
"""Frames transformed in one call. Chosen: fills the widest vector unit; more gains nothing."""

WAITING_PER_THREAD = 2
"""Sets of frames handed to each thread. Chosen: none of them waits; more gains nothing and costs memory."""

COARSE_RATE_HZ = 2_000
"""Least rate of the coarse stream. Chosen: six times its highest band, so that a gentle low-pass will do."""

COARSE_FRAME_S = 8.0
"""Coarse frames are at least this long, s. Chosen: their guards then outlast the 20 Hz filter."""

HIGHEST_COARSE_BAND_HZ = 250.0
"""Highest band of the coarse stream. Chosen: the next one rings within the full-rate guards."""

SHORTEST_BAND_RATE_HZ = 256.0
"""Lowest rate of a band's energy. Chosen: 32 values a tick, so that a tick keeps its own energy to 0.1 dB."""

LONGEST_EXPECTED_S = 48 * 3600.0
"""No more memory than for this is taken beforehand, s. Chosen: a broken header must not ask for terabytes."""

STEPS_PER_SECOND = 1_000
"""Steps that the F and S detectors run on. Chosen: a step adds at most 0.035 dB to F after a short burst."""


KEPT_BY_ALLOCATOR_BYTES = 31 << 20
"""Size of the array in ``_keep_freed_memory``. Chosen: just under the 32 MiB to which glibc adapts."""

CorrectionDb = Callable[[FloatArray], FloatArray]
"""Frequencies in Hz, shape (n,), to the dB that are added to the sound at each of them."""


class LevelEngine:
    """Takes calibrated sound in blocks of any size and gives its level history.

    Parameters
    ----------
    sample_rate_hz : float, Hz
        A whole number from 8 kHz to 192 kHz.
    start : datetime
        Instant of the first sample, UTC.
    threads : int, optional
        Threads that share the work, the caller's among them. The result is the same, to the last bit.
    expected_s : float, optional
        Length of the recording if known, s: memory for the history is then taken only once.
    correction_db : callable, optional
        What makes up for the microphone's frequency response; it goes into every filter at no cost.

    Raises
    ------
    RecordingError
        If the sampling rate cannot be analysed.
    SettingsError
        If *threads* is less than one.

    Notes
    -----
    LZ takes in all bands, what lies below them down to 6 Hz, and, where the rate cuts off the
    20 kHz band, what lies above them.
    """

    def __init__(
        self,
        sample_rate_hz: float,
        start: datetime,
        *,
        threads: int = 1,
        expected_s: float | None = None,
        correction_db: CorrectionDb = np.zeros_like,
    ) -> None:
        rate = _checked_rate(sample_rate_hz)
        if threads < 1:
            raise SettingsError(f"threads must be 1 or more, got {threads}.", remedy="Leave the setting out.")
        self._rate = rate
        _keep_freed_memory()
        ticks = Grid(sample_rate_hz=rate, cells_per_second=TICKS_PER_SECOND)
        steps = Grid(sample_rate_hz=rate, cells_per_second=STEPS_PER_SECOND)
        decimation = 2 ** int(np.log2(rate / COARSE_RATE_HZ))
        self._analysis = _full_rate_analysis(rate, decimation, steps, ticks, correction_db)
        self._framer = Framer(self._analysis.plan, round(SETTLED_S * rate))
        self._recorder = HistoryRecorder(
            start=start,
            nominal_hz=bands_within(rate),
            ticks=ticks,
            steps=steps,
            lower_bands=_lower_band_analysis(rate, decimation, correction_db),
            capacity=_capacity(expected_s or 0.0),
        )
        self._pool = ThreadPoolExecutor(threads - 1) if threads > 1 else None
        self._most_waiting = WAITING_PER_THREAD * (threads - 1)
        self._pending: deque[Future[FrameEnergies]] = deque()

    def update(self, block: PressureBlock) -> None:
        """Take one block in, which follows the one before without a gap."""
        if block.sample_rate_hz != self._rate:
            raise RecordingError(
                f"block at {block.start.isoformat()}: the sampling rate must stay {self._rate} Hz, "
                f"got {block.sample_rate_hz:g} Hz.",
                remedy="Analyse recordings of different rates one by one.",
            )
        for frames in self._framer.take(block.pressure_pa):
            self._submit(frames)

    def result(self) -> LevelHistory:
        """Return the history of what has been heard so far; may be asked again and again."""
        self._drain()
        return self._ended(deepcopy(self._framer), deepcopy(self._recorder))

    def finish(self) -> LevelHistory:
        """Return the history and give it away without a copy; the engine then takes no more blocks."""
        self._drain()
        return self._ended(self._framer, self._recorder)

    def close(self) -> None:
        """Stop the threads."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _submit(self, frames: Frames) -> None:
        if self._pool is not None and sum(not each.done() for each in self._pending) < self._most_waiting:
            self._pending.append(self._pool.submit(self._analysis.energies, frames))
        else:
            # The other threads have enough to do: this one does the work instead of waiting for them.
            self._pending.append(Future())
            self._pending[-1].set_result(self._analysis.energies(frames))
        while self._pending and self._pending[0].done():
            self._recorder.take(self._pending.popleft().result())

    def _drain(self) -> None:
        while self._pending:
            self._recorder.take(self._pending.popleft().result())

    def _ended(self, framer: Framer, recorder: HistoryRecorder) -> LevelHistory:
        received = framer.received
        for frames in framer.rest():
            recorder.take(self._analysis.energies(frames))
        return recorder.finished(received)


def level_history(
    blocks: Iterable[PressureBlock],
    *,
    threads: int = 1,
    expected_s: float | None = None,
    correction_db: CorrectionDb = np.zeros_like,
) -> LevelHistory:
    """Return the level history of a stream of blocks that follow each other without a gap.

    Parameters
    ----------
    blocks : iterable of PressureBlock
    threads, expected_s, correction_db
        As for :class:`LevelEngine`.

    Raises
    ------
    RecordingError
        If there is no block at all, or its sampling rate cannot be analysed.
    """
    stream = iter(blocks)
    first = next(stream, None)
    if first is None:
        raise RecordingError("recording: holds no sound.", remedy="Choose a recording with sound in it.")
    with LevelEngine(
        first.sample_rate_hz,
        first.start,
        threads=threads,
        expected_s=expected_s,
        correction_db=correction_db,
    ) as engine:
        engine.update(first)
        for block in stream:
            engine.update(block)
        return engine.finish()


def _checked_rate(sample_rate_hz: float) -> int:
    if not (LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ and sample_rate_hz == int(sample_rate_hz)):
        raise RecordingError(
            f"sampling rate: must be a whole number of Hz from {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}, "
            f"got {sample_rate_hz:g} Hz.",
            remedy="Convert the recording to 48000 Hz first.",
        )
    return int(sample_rate_hz)


def _keep_freed_memory() -> None:
    """Teach the allocator to keep what is freed for the next frames.

    The C library of Linux gives freed blocks of some MB back to the system, which must clear
    them anew for the next frames: as much time again as the arithmetic. It stops doing so for
    sizes up to the largest block that it has seen freed. Elsewhere this does nothing.
    """
    np.empty(KEPT_BY_ALLOCATOR_BYTES, dtype=np.uint8)


def _capacity(expected_s: float) -> int:
    """Return the ticks to make room for: what is expected, and one set of frames on top."""
    spare_s = 2 * FRAME_S * FRAMES_TOGETHER
    return int((min(expected_s, LONGEST_EXPECTED_S) + spare_s) * TICKS_PER_SECOND)


def _power_of_two(at_least: float) -> int:
    return 1 << int(np.ceil(np.log2(at_least)))


def _full_rate_analysis(
    rate: int, decimation: int, steps: Grid, ticks: Grid, correction_db: CorrectionDb
) -> FullRateAnalysis:
    length = _power_of_two(FRAME_S * rate)
    # A and C ring for 80 ms after a sound, bands for 40 ms on both sides of it.
    plan = FramePlan(length=length, lead=length // 16, trail=length // 32, frames=FRAMES_TOGETHER)
    frequency_hz = scipy.fft.rfftfreq(length, 1 / rate)
    responses = [band_amplitude(frequency_hz, nominal) for nominal in _split(rate)[1]]
    responses.append(remainder_amplitude(frequency_hz, rate))
    gain = 10 ** (correction_db(frequency_hz) / 20)
    shortest = round(SHORTEST_BAND_RATE_HZ * length / rate)
    low_hz = frequency_hz[: length // (2 * decimation) + 1]
    return FullRateAnalysis(
        plan,
        sample_rate_hz=rate,
        gain=gain,
        filters=[BandFilter.from_response(response * gain, shortest) for response in responses],
        coarse_gain=low_pass_amplitude(low_hz, HIGHEST_COARSE_BAND_HZ),
        steps=steps,
        ticks=ticks,
    )


def _lower_band_analysis(rate: int, decimation: int, correction_db: CorrectionDb) -> LowerBandAnalysis:
    coarse_rate_hz = rate / decimation
    length = _power_of_two(COARSE_FRAME_S * coarse_rate_hz)
    plan = FramePlan(length=length, lead=length // 8, trail=length // 8, frames=FRAMES_TOGETHER)
    frequency_hz = scipy.fft.rfftfreq(length, 1 / coarse_rate_hz)
    responses = [band_amplitude(frequency_hz, nominal) for nominal in _split(rate)[0]]
    responses.append(infrasound_amplitude(frequency_hz))
    gain = 10 ** (correction_db(frequency_hz) / 20)
    shortest = round(SHORTEST_BAND_RATE_HZ * length / coarse_rate_hz)
    filters = [BandFilter.from_response(response * gain, shortest) for response in responses]
    return LowerBandAnalysis(plan, filters=filters, decimation=decimation)


def _split(rate: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the bands of the coarse stream and those of the full-rate stream."""
    nominal_hz = bands_within(rate)
    lower = tuple(nominal for nominal in nominal_hz if nominal <= HIGHEST_COARSE_BAND_HZ)
    return lower, nominal_hz[len(lower) :]
