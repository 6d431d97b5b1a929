"""Calibrated sound: the gate between the recorder's world and the measuring rooms."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

PressureArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressureBlock:
    """A short stretch of calibrated sound: the only audio that the measuring rooms ever see.

    Attributes
    ----------
    pressure_pa : ndarray, shape (samples,), float32, Pa
        Read-only. One microphone; a stereo file gives two streams of blocks.
        An array that nobody can write to is taken as it is, anything else is copied.
    sample_rate_hz : float, Hz
    start : datetime
        Instant of the first sample, in UTC. Local time is for people: convert in the report.
    """

    pressure_pa: PressureArray
    sample_rate_hz: float
    start: datetime

    def __post_init__(self) -> None:
        samples = np.asarray(self.pressure_pa)
        if samples.ndim != 1:
            raise ValueError(f"pressure_pa must have shape (samples,), got {samples.shape}.")
        if self.sample_rate_hz <= 0:
            raise ValueError(f"sample_rate_hz must be positive, got {self.sample_rate_hz:g}.")
        if self.start.utcoffset() != timedelta(0):
            raise ValueError(f"start must be given in UTC, got {self.start.isoformat()}.")
        if samples.flags.writeable or samples.dtype != np.float32:
            samples = np.array(samples, dtype=np.float32)
            samples.flags.writeable = False
        object.__setattr__(self, "pressure_pa", samples)

    @property
    def seconds(self) -> float:
        """Length of the block, s."""
        return self.pressure_pa.size / self.sample_rate_hz
