"""Sound behind a loss that may change with time: smooth, without delay and without ringing.

Overlapping frames are transformed, multiplied by real gains and added up again. A gain without phase
delays nothing; since it runs without steps over frequency, what it spreads is short; and since frames
fade into each other, a loss that changes does not click. Memory holds a few frames.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import timedelta

import numpy as np
import scipy.fft

from sleepnoise.acoustics.bands import mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ

FRAME_S = 0.17
"""Frames are at least this long, s. Chosen: a change is told to a tick, and 20 Hz still has three periods."""

FRAMES_TOGETHER = 8
"""Frames transformed in one call. Chosen: a few MB."""

LARGEST_LOSS_DB = 200.0
"""Loss that stands for silence. Chosen: below a quantum of any recording."""

LossDb = Callable[[FloatArray], FloatArray]
"""Seconds from the first sample, shape (n,), to losses on ``MODEL_BANDS_HZ``, shape (n, bands), dB."""


def filtered(
    blocks: Iterable[PressureBlock],
    loss_db: LossDb,
    *,
    correction_db: Callable[[FloatArray], FloatArray] = np.zeros_like,
) -> Iterator[PressureBlock]:
    """Yield what is left of a sound behind a loss, sample for sample.

    Parameters
    ----------
    blocks : iterable of PressureBlock
        Following each other without a gap.
    loss_db : callable
        Between mid-band frequencies the loss runs straight in dB over the logarithm of frequency; beyond
        the first and the last one it stays.
    correction_db : callable
        Of the microphone's response: frequencies in Hz to what is added there, dB.
    """
    stream = iter(blocks)
    first = next(stream, None)
    if first is None:
        return
    frames = _Frames(first, loss_db, correction_db)
    yield from frames.take(first.pressure_pa)
    for block in stream:
        yield from frames.take(block.pressure_pa)
    yield from frames.finish()


class _Frames:
    """Half-overlapping frames between two silent halves of a frame, into which gains may spread."""

    def __init__(
        self, first: PressureBlock, loss_db: LossDb, correction_db: Callable[[FloatArray], FloatArray]
    ) -> None:
        self._rate, self._start = first.sample_rate_hz, first.start
        self._hop = 1 << int(np.ceil(np.log2(FRAME_S * self._rate / 2)))
        hops = np.arange(2 * self._hop)
        self._window = (0.5 - 0.5 * np.cos(np.pi * hops / self._hop)).astype(np.float32)
        line_hz = scipy.fft.rfftfreq(4 * self._hop, 1.0 / self._rate)
        self._between = _between_bands(line_hz)
        self._own_db = correction_db(line_hz)
        self._loss_db = loss_db
        # The first frame begins half a frame before the sound; what it needs before is silence.
        self._waiting = np.zeros(self._hop, dtype=np.float32)
        self._sum = np.zeros(4 * self._hop, dtype=np.float32)
        self._frame = self._taken = self._given = 0

    def take(self, pressure_pa: np.ndarray[tuple[int], np.dtype[np.float32]]) -> Iterator[PressureBlock]:
        self._taken += pressure_pa.size
        self._waiting = np.concatenate([self._waiting, pressure_pa])
        while self._waiting.size >= (count := FRAMES_TOGETHER + 1) * self._hop:
            yield from self._frames(count - 1)

    def finish(self) -> Iterator[PressureBlock]:
        while self._given < self._taken:
            short = max((FRAMES_TOGETHER + 1) * self._hop - self._waiting.size, 0)
            self._waiting = np.concatenate([self._waiting, np.zeros(short, dtype=np.float32)])
            yield from self._frames(FRAMES_TOGETHER)

    def _frames(self, count: int) -> Iterator[PressureBlock]:
        """Work on some frames that are complete."""
        hop = self._hop
        cut = np.lib.stride_tricks.sliding_window_view(self._waiting, 2 * hop)[: count * hop : hop]
        padded = np.zeros((count, 4 * hop), dtype=np.float32)
        padded[:, hop : 3 * hop] = cut * self._window
        centres_s = (self._frame + np.arange(count)) * hop / self._rate
        gain_db = (
            self._own_db - self._loss_db(centres_s).clip(-LARGEST_LOSS_DB, LARGEST_LOSS_DB) @ self._between
        )
        gain = (10.0 ** (gain_db / 20.0)).astype(np.float32)
        heard = scipy.fft.irfft(scipy.fft.rfft(padded) * gain, 4 * hop)
        self._waiting = self._waiting[count * hop :]
        done = []
        for frame in heard:
            self._sum += frame
            done.append(self._sum[:hop])
            self._sum = np.concatenate([self._sum[hop:], np.zeros(hop, dtype=np.float32)])
        yield from self._given_out(np.concatenate(done), count)

    def _given_out(
        self, samples: np.ndarray[tuple[int], np.dtype[np.float32]], count: int
    ) -> Iterator[PressureBlock]:
        """Give out what no later frame adds to, without what lies before the sound or behind it."""
        first = (self._frame - 2) * self._hop
        self._frame += count
        own = samples[max(-first, 0) : max(self._taken - first, 0)]
        if own.size:
            start = self._start + timedelta(seconds=self._given / self._rate)
            self._given += own.size
            yield PressureBlock(pressure_pa=own, sample_rate_hz=self._rate, start=start)


def _between_bands(line_hz: FloatArray) -> FloatArray:
    """Return how much each band counts at each frequency, shape (bands, lines)."""
    log_mid = np.log(mid_band_hz(MODEL_BANDS_HZ))
    with np.errstate(divide="ignore"):
        log_hz = np.log(line_hz)
    return np.array([np.interp(log_hz, log_mid, row) for row in np.eye(len(MODEL_BANDS_HZ))])
