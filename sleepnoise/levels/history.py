"""The level history: what the engine heard, on a grid of 125 ms."""

from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Self

import numpy as np
from numpy.typing import NDArray

from sleepnoise.levels.hundredths import BandLevels, LevelArray, part_of

MaskArray = NDArray[np.bool_]

TICKS_PER_SECOND = 8
"""Grid of the history, 125 ms. Chosen: one F time constant, so no F-weighted maximum hides between ticks."""

TICK_S = 1 / TICKS_PER_SECOND
"""Length of a tick, s. Chosen: see TICKS_PER_SECOND."""

TICKS_TOGETHER = 3600 * TICKS_PER_SECOND
"""Ticks worked on at a time where a whole night need not be. Chosen: an hour is 0.1 MB of each quantity."""

TICKWISE = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "left_out")
"""Fields of a history that hold one value a tick."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelHistory:
    """Levels of consecutive ticks of 125 ms, tick 0 starting at the first sample.

    Levels are dB re 20 µPa, or dB re full scale when the recording has no calibration.
    Arrays are read-only. ``-inf`` is digital silence.

    Attributes
    ----------
    start : datetime
        Instant of the first sample, UTC.
    sample_rate_hz : float, Hz
    laeq, lceq, lzeq : ndarray, shape (ticks,), float32, dB
        Equivalent levels over each tick.
    laf : ndarray, shape (ticks,), float32, dB
        F-weighted level at the end of each tick: the samples that LA90 and its kin are made of.
    lafmax, lafmin, lasmax, lcpeak : ndarray, shape (ticks,), float32, dB
        Extremes within each tick.
    nominal_hz : tuple of float
        Nominal third octaves that the sampling rate allows.
    bands : BandLevels or float32 ndarray, shape (bands, ticks), dB
        Equivalent third-octave levels over each tick, unweighted.
    left_out : ndarray, shape (ticks,), bool
        Ticks that no statistic may use.
    left_over_s : float, s
        End of the recording shorter than a tick, which is not in the history.
    """

    start: datetime
    sample_rate_hz: float
    laeq: LevelArray
    lceq: LevelArray
    lzeq: LevelArray
    laf: LevelArray
    lafmax: LevelArray
    lafmin: LevelArray
    lasmax: LevelArray
    lcpeak: LevelArray
    nominal_hz: tuple[float, ...]
    bands: BandLevels | LevelArray
    left_out: MaskArray
    left_over_s: float = 0.0

    def __post_init__(self) -> None:
        ticks = self.laeq.size
        for name in (*TICKWISE, "bands"):
            array = getattr(self, name)
            expected = (len(self.nominal_hz), ticks) if name == "bands" else (ticks,)
            if array.shape != expected:
                raise ValueError(f"{name} must have shape {expected}, got {array.shape}.")
            if not isinstance(array, BandLevels):
                # Not copied: whoever measured a night gives its arrays away.
                array.flags.writeable = False

    @property
    def ticks(self) -> int:
        """Number of ticks."""
        return int(self.laeq.size)

    @property
    def seconds(self) -> float:
        """Time that the history covers, s."""
        return self.ticks * TICK_S

    @property
    def end(self) -> datetime:
        """Instant at which the last tick ends, UTC."""
        return self.time_of(self.ticks)

    def time_of(self, tick: int) -> datetime:
        """Return the UTC instant at which a tick starts; counted, never summed."""
        return self.start + timedelta(milliseconds=125 * int(tick))

    def tick_of(self, instant: datetime) -> int:
        """Return the first tick that starts at or after an instant, held within the history."""
        tick = -((self.start - instant) // timedelta(milliseconds=125))
        return min(max(tick, 0), self.ticks)

    def between(self, first: int, last: int) -> Self:
        """Return ticks ``first <= t < last`` as a history of their own (views, nothing copied)."""
        parts = {name: getattr(self, name)[first:last] for name in TICKWISE}
        others = {"sample_rate_hz": self.sample_rate_hz, "nominal_hz": self.nominal_hz}
        others["bands"] = part_of(self.bands, first, last)
        return type(self)(start=self.time_of(first), **others, **parts)  # type: ignore[arg-type]

    def without(self, mask: MaskArray) -> Self:
        """Return the same history with more ticks left out of every statistic."""
        kept = {field.name: getattr(self, field.name) for field in fields(self)}
        return type(self)(**{**kept, "left_out": self.left_out | mask})
