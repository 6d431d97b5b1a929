"""Quality of a recording, from its samples: what went wrong, from when to when, and what that does to levels.

The samples are looked at once, in windows that lie at fixed places and overlap, so that
nothing short is cut in two and the flags do not depend on how the recording was cut.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.recording.sample_faults import (
    LONGEST_LAG,
    SAME_CEILING,
    Ceiling,
    Samples,
    Spans,
    ceilings,
    held_spans,
    repeated_spans,
)

Kind = Literal[
    "clipping", "silence", "dropout", "repeat", "offset",
    "under-range", "gain control", "lossy floor", "knock", "wind", "gap", "calibration tone",
]  # fmt: skip
Effect = Literal["left out", "lower bound", "upper bound", "noted"]

HOP = 2**17
"""Samples from one window to the next. Chosen: fits a processor's cache; calls cost little beside them."""

OVERLAP = LONGEST_LAG
"""Samples that windows share. Chosen: whatever is no longer lies in one of them; all that is
longer is found in pieces."""

AT_TOP = 0.98
"""Share of full scale from which one cut-off peak is enough. Chosen: 0.2 dB below the top."""

FLAT_PEAKS = 3
"""Cut-off peaks needed below that. Chosen: a ceiling is a ceiling because sound meets it again."""

ALIKE = 0.9
"""Windows whose peaks come within 10 % of the highest may have met the same ceiling. Chosen: coding
with loss lets tops ripple by as much."""

BLUNT_PEAKS = 3
"""Blunt peaks needed. Chosen: see FLAT_PEAKS."""

BLUNT_SHARE = 0.3
"""Share of the peaks at the ceiling that must be blunt. Chosen: of natural sound less than a tenth is."""

OVERSHOOT = 1.1
"""Peaks of a file coded with loss beyond this share of full scale were cut off before coding. Chosen: in the
codings tried, sound that was not overshoots by 7 % at most, cut-off sound by 20 to 60 %."""

TOGETHER_S = 1.0
"""Faults of a kind closer than this are one flag, s. Chosen: a listener would count them as one."""

OFFSET = 0.01
"""Offset worth a note, as a share of full scale. Chosen: it costs less than 0.1 dB of headroom below."""

OFFSET_EVERY = 8
"""Every so many windows are averaged for the offset. Chosen: adding costs time."""

OFFSET_PARTS = 16
"""Parts of a window averaged one by one. Chosen: fewer means cannot tell an offset from slow sound."""

OFFSET_SURE = 5.0
"""Standard errors by which the offset must differ from none. Chosen: 16 means do by chance once in 6000."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityFlag:
    """One thing that went wrong, or may have.

    Attributes
    ----------
    kind : str
    start, end : datetime
        UTC.
    what : str
        A plain sentence.
    effect : {"left out", "lower bound", "upper bound", "noted"}
        What happens to levels: the time is left out of every statistic; the levels are at least,
        or at most, what is printed; or nothing, but a reader should know.
    """

    kind: Kind
    start: datetime
    end: datetime
    what: str
    effect: Effect

    @property
    def seconds(self) -> float:
        """Length, s."""
        return (self.end - self.start).total_seconds()


_MEANINGS: dict[Kind, tuple[str, Effect]] = {
    "clipping": (
        "The recorder overloaded: peaks are cut off, so levels here are at least what is printed.",
        "lower bound",
    ),
    "silence": (
        "The samples stand still: nothing was recorded here, or a gate or the coding took it away.",
        "left out",
    ),
    "dropout": ("Samples are missing: the sound breaks off into zeros and comes back.", "left out"),
    "repeat": ("The recorder wrote the same samples twice; what came in meanwhile is lost.", "left out"),
}


@dataclass(frozen=True, slots=True, eq=False)
class _Peaks:
    """The peaks of one sign in one window: spans counted from the recording's first sample, and numbers."""

    height: float
    flat: Spans
    blunt: Spans
    beyond: Spans
    flat_peaks: int
    blunt_peaks: int
    peaks: int


@dataclass(frozen=True, slots=True, eq=False)
class _Findings:
    """What one window holds; spans count from the recording's first sample."""

    upper: _Peaks | None
    lower: _Peaks | None
    silences: Spans
    dropouts: Spans
    repeats: Spans
    means: FloatArray

    @property
    def nothing(self) -> bool:
        parts = (self.silences, self.dropouts, self.repeats, self.means)
        return self.upper is None and self.lower is None and not any(map(len, parts))


class SampleQuality:
    """Takes the blocks of a recording in, one after another, and tells what is wrong with its samples.

    Parameters
    ----------
    pascal_per_full_scale : float, Pa
        What a sample of value 1.0 stands for.
    coded_with_loss : bool
        Whether the file is MP3, Vorbis, Opus or the like, whose decoder may exceed full scale.
    """

    def __init__(self, pascal_per_full_scale: float, *, coded_with_loss: bool = False) -> None:
        self._full_scale = pascal_per_full_scale
        self._coded_with_loss = coded_with_loss
        self._start: datetime | None = None
        self._rate_hz = 0.0
        self._window = np.empty(HOP + OVERLAP, dtype=np.float32)
        self._first = self._filled = 0
        self._found: list[_Findings] = []

    def update(self, block: PressureBlock) -> None:
        """Take one block in, which follows the one before without a gap."""
        if self._start is None:
            self._start, self._rate_hz = block.start, block.sample_rate_hz
        rest = block.pressure_pa
        while rest.size:
            part = rest[: self._window.size - self._filled]
            self._window[self._filled : self._filled + part.size] = part
            self._filled += part.size
            rest = rest[part.size :]
            if self._filled == self._window.size:
                self._next_window()

    def result(self) -> tuple[QualityFlag, ...]:
        """Return the flags of all that has been heard so far, in order of time; may be asked again."""
        found = [*self._found, self._look()]
        flags = [
            *self._flags("clipping", self._clipped(found)),
            *self._flags("silence", np.concatenate([each.silences for each in found])),
            *self._flags("dropout", np.concatenate([each.dropouts for each in found])),
            *self._flags("repeat", np.concatenate([each.repeats for each in found])),
            *self._offset(np.concatenate([each.means for each in found])),
        ]
        return tuple(sorted(flags, key=lambda flag: (flag.start, flag.end, flag.kind)))

    def _next_window(self) -> None:
        findings = self._look()
        if not findings.nothing:
            self._found.append(findings)
        self._window[:OVERLAP] = self._window[HOP:]
        self._filled = OVERLAP
        self._first += HOP

    def _look(self) -> _Findings:
        samples, first = self._window[: self._filled], self._first
        gap = round(TOGETHER_S * self._rate_hz)
        silences, dropouts = held_spans(samples)
        both = ceilings(samples, self._full_scale, coded_with_loss=self._coded_with_loss)
        upper, lower = (_peaks(each, first, gap) for each in both)
        return _Findings(
            upper=upper,
            lower=lower,
            silences=silences + first,
            dropouts=dropouts + first,
            repeats=joined(self._repeats(samples) + first, gap),
            means=self._means(samples),
        )

    def _repeats(self, samples: Samples) -> Spans:
        # A coder never gives the same samples for a buffer that came twice, but may for a pure tone.
        if self._coded_with_loss:
            return np.empty((0, 2), dtype=np.int64)
        return repeated_spans(samples, self._rate_hz)

    def _means(self, samples: Samples) -> FloatArray:
        """Return means as shares of full scale, shape (parts,), of every so many windows."""
        if self._first // HOP % OFFSET_EVERY or samples.size < OFFSET_PARTS:
            return np.empty(0)
        parts = samples[: samples.size // OFFSET_PARTS * OFFSET_PARTS].reshape(OFFSET_PARTS, -1)
        return np.asarray(parts.mean(axis=1).astype(np.float64) / self._full_scale)

    def _clipped(self, found: list[_Findings]) -> Spans:
        """Return the spans of all cut-off peaks of either sign."""
        upper = self._cut_off([each.upper for each in found if each.upper is not None])
        return np.concatenate(
            [upper, self._cut_off([each.lower for each in found if each.lower is not None])]
        )

    def _cut_off(self, peaks: list[_Peaks]) -> Spans:
        """Return the spans of the peaks that met the ceiling of one sign, now that its height is known."""
        highest = max((each.height for each in peaks), default=0.0)
        same = [each for each in peaks if each.height >= SAME_CEILING * highest]
        enough = sum(each.flat_peaks for each in same) >= FLAT_PEAKS
        spans = [each.flat for each in (same if enough else peaks) if enough or each.height >= AT_TOP]
        top = min(highest, 1.0) if self._coded_with_loss else highest
        alike = [each for each in peaks if each.height >= ALIKE * top]
        blunt = sum(each.blunt_peaks for each in alike)
        if blunt >= BLUNT_PEAKS and blunt >= BLUNT_SHARE * sum(each.peaks for each in alike):
            spans += [each.blunt for each in alike]
        if self._coded_with_loss:
            spans += [each.beyond for each in peaks if each.height >= OVERSHOOT]
        return np.concatenate([np.empty((0, 2), dtype=np.int64), *spans])

    def _offset(self, means: FloatArray) -> list[QualityFlag]:
        if means.size == 0:
            return []
        offset, error = float(means.mean()), float(means.std()) / (means.size - 1) ** 0.5
        if abs(offset) < OFFSET or abs(offset) < OFFSET_SURE * error:
            return []
        what = f"The samples are off centre by {100 * offset:+.1f} % of full scale, which costs headroom."
        return [self._flag("offset", 0, self._first + self._filled, what, "noted")]

    def _flags(self, kind: Kind, spans: Spans) -> list[QualityFlag]:
        what, effect = _MEANINGS[kind]
        together = joined(spans, round(TOGETHER_S * self._rate_hz))
        return [self._flag(kind, first, last, what, effect) for first, last in together.tolist()]

    def _flag(self, kind: Kind, first: int, last: int, what: str, effect: Effect) -> QualityFlag:
        start, end = self._time_of(first), self._time_of(last)
        return QualityFlag(kind=kind, start=start, end=end, what=what, effect=effect)

    def _time_of(self, sample: int) -> datetime:
        assert self._start is not None
        return self._start + timedelta(microseconds=round(sample * 1_000_000 / self._rate_hz))


def joined(spans: Spans, gap: int) -> Spans:
    """Return spans in order, those joined that overlap or lie no more than a gap apart."""
    if len(spans) == 0:
        return spans
    ordered = spans[spans[:, 0].argsort(kind="stable")]
    reached = np.maximum.accumulate(ordered[:, 1])
    apart = ordered[1:, 0] - reached[:-1] > gap
    return np.stack([ordered[np.append(True, apart), 0], reached[np.append(apart, True)]], axis=1)


def _peaks(found: Ceiling | None, first: int, gap: int) -> _Peaks | None:
    """Return the peaks of a window in little memory: a night that overloads all the time has millions."""
    if found is None:
        return None
    flat, blunt, beyond = (joined(spans + first, gap) for spans in (found.flat, found.blunt, found.beyond))
    return _Peaks(
        height=found.height,
        flat=flat,
        blunt=blunt,
        beyond=beyond,
        flat_peaks=len(found.flat),
        blunt_peaks=len(found.blunt),
        peaks=found.peaks,
    )
