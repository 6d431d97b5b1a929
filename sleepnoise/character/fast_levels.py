"""The F-weighted level of a stretch of sound in fine steps: what impulses are read from."""

from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np
import scipy.fft

from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.levels.detectors import F_TIME_CONSTANT_S, ExponentialDetector
from sleepnoise.levels.frames import SETTLED_S, FramePlan, Framer, Frames
from sleepnoise.levels.grid import CellJoiner, Grid

FRAME_SAMPLES = 2**15
"""Samples of a frame. Chosen: at 48 kHz its guards outlast the ringing of the A weighting."""

FRAMES_TOGETHER = 8
"""Frames transformed in one call. Chosen: fills the widest vector unit; more gains nothing."""

DETECTOR_STEP_MS = 1
"""Step that the detector runs on, ms. Chosen: as for the level history."""

SETTLING_STEPS = 125
"""Steps whose mean is taken for the time before the stretch. Chosen: as for the level history."""


def fast_levels(blocks: Iterable[PressureBlock], step_ms: int) -> FloatArray:
    """Return LAF at the end of each step.

    Parameters
    ----------
    blocks : iterable of PressureBlock
        That follow each other without a gap, at least one, with a sampling rate that is a whole number.
    step_ms : int, ms

    Returns
    -------
    ndarray, shape (steps,), dB
        Whole steps only.
    """
    stream = iter(blocks)
    first = next(stream)
    rate_hz = round(first.sample_rate_hz)
    grid = Grid(sample_rate_hz=rate_hz, cells_per_second=1000 // DETECTOR_STEP_MS)
    plan = FramePlan(
        length=FRAME_SAMPLES, lead=FRAME_SAMPLES // 8, trail=FRAME_SAMPLES // 16, frames=FRAMES_TOGETHER
    )
    response = weighting_response(scipy.fft.rfftfreq(plan.length, 1 / rate_hz), "A").astype(np.complex64)
    framer, joiner = Framer(plan, round(SETTLED_S * rate_hz)), CellJoiner(grid, np.add)
    detector = ExponentialDetector(F_TIME_CONSTANT_S, DETECTOR_STEP_MS / 1000)
    readings, done, heard = [np.empty(0)], 0, 0

    def all_frames() -> Iterator[Frames]:
        nonlocal heard
        for block in chain([first], stream):
            heard += block.pressure_pa.size
            yield from framer.take(block.pressure_pa)
        yield from framer.rest()

    for frames in all_frames():
        weighted = scipy.fft.irfft(scipy.fft.rfft(frames.samples) * response, n=plan.length)
        squares = np.square(weighted[:, plan.lead : plan.lead + plan.hop]).reshape(-1)
        cuts = grid.cuts(frames.first_sample, squares.size)
        pieces = np.add.reduceat(squares, cuts).astype(np.float64)
        sums = joiner.take(pieces, frames.first_sample + squares.size)
        # The last frames go on in silence, which nobody recorded.
        sums = sums[: grid.cell_of(heard) - done]
        fast = detector.process(sums / grid.mean_samples, SETTLING_STEPS)
        readings.append(fast[(-done - 1) % step_ms :: step_ms])
        done += sums.size
    return pressure_level(np.concatenate(readings))
