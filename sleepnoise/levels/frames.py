"""Overlapping frames of a stream, for filtering by multiplication of spectra.

Frames lie at fixed places from the first sample on, however the stream is cut into blocks:
that is why the result cannot depend on the cutting. Each frame gives a middle part ``hop``
samples long; the guards before and after it take up what a filter response drags round the
end of the transform.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import as_strided

from sleepnoise.acoustics.pressure import PressureArray

SETTLED_S = 1.0
"""Sound whose mean is where a recorder's silence lies, s. Chosen: twenty periods of the lowest band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FramePlan:
    """Where frames lie.

    Attributes
    ----------
    length : int
        Samples in a frame, a power of two.
    lead, trail : int
        Guards before and after the middle part.
    frames : int
        Frames worked on together: transforms of several rows at once use the processor's
        vector units, one row alone does not.
    """

    length: int
    lead: int
    trail: int
    frames: int

    @property
    def hop(self) -> int:
        """Samples in the middle part of a frame."""
        return self.length - self.lead - self.trail

    @property
    def stretch(self) -> int:
        """Samples that a full set of frames covers."""
        return self.frames * self.hop


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Frames that are worked on together.

    Attributes
    ----------
    first_sample : int
        Sample of the stream at which the first middle part starts.
    samples : ndarray, shape (frames, length)
        Overlapping views of one buffer.
    """

    first_sample: int
    samples: PressureArray


class Framer:
    """Turns blocks of any size into frames; before and after the stream there is silence.

    Parameters
    ----------
    plan : FramePlan
    settled_samples : int, optional
        Silence stands at the mean of so many samples at either end of the stream, instead of at 0: a
        recorder that is off centre would otherwise begin and end with a bang.
    """

    def __init__(self, plan: FramePlan, settled_samples: int = 0) -> None:
        self.plan = plan
        self._settled_samples = settled_samples
        self._first_sample = 0
        self._buffer = np.zeros(plan.lead + plan.stretch + plan.trail, dtype=np.float32)
        self._filled = plan.lead

    @property
    def received(self) -> int:
        """Samples taken so far."""
        return self._first_sample + self._filled - self.plan.lead

    def take(self, samples: PressureArray) -> list[Frames]:
        """Take in a block and return the full sets of frames that it completes."""
        complete = []
        taken = 0
        while taken < samples.size:
            count = min(samples.size - taken, self._buffer.size - self._filled)
            self._buffer[self._filled : self._filled + count] = samples[taken : taken + count]
            self._filled += count
            taken += count
            if self._filled == self._buffer.size:
                complete.append(self._cut(self.plan.frames))
        return complete

    def rest(self) -> list[Frames]:
        """Return the last frames, followed by silence; the stream is over."""
        pending = self._filled - self.plan.lead
        if pending <= 0:
            return []
        self._buffer[self._filled :] = self._mean(self._filled - self._settled_samples, self._filled)
        return [self._cut(-(-pending // self.plan.hop))] + (
            self.rest() if pending > self.plan.stretch else []
        )

    def _mean(self, first: int, last: int) -> float:
        """Return the mean of a part of the buffer, as far as it holds sound; 0 of nothing."""
        heard = self._buffer[
            max(first, 0 if self._first_sample else self.plan.lead) : min(last, self._filled)
        ]
        return float(heard.mean(dtype=np.float64)) if heard.size else 0.0

    def _cut(self, frames: int) -> Frames:
        """Hand out the buffer and start the next one with what both need."""
        plan, buffer = self.plan, self._buffer
        frames = min(frames, plan.frames)
        if self._first_sample == 0:
            buffer[: plan.lead] = self._mean(plan.lead, plan.lead + self._settled_samples)
        step = buffer.itemsize
        views = as_strided(buffer, (frames, plan.length), (plan.hop * step, step), writeable=False)
        cut = Frames(first_sample=self._first_sample, samples=views)
        kept = plan.lead + plan.trail
        self._buffer = np.zeros_like(buffer)
        self._buffer[:kept] = buffer[-kept:]
        self._filled = max(self._filled - plan.stretch, 0)
        self._first_sample += plan.stretch
        return cut
