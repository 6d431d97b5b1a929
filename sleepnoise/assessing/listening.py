"""Listening to a night once: its level history, and what went wrong while it was recorded."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.assessing.calibrating import NightCalibration
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.provenance import FileMark
from sleepnoise.formats.coding import CODERS
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.night.quality import history_flags, without_faults
from sleepnoise.recording.quality import QualityFlag, SampleQuality
from sleepnoise.recording.sequence import Gap, NightSound

BEFORE_TONE_S = 5.0
"""Left out before a calibrator's tone, s. Chosen: hands that put the calibrator on."""

AFTER_TONE_S = 15.0
"""Left out after it, s. Chosen: S takes that long to fall by 65 dB, from 94 dB to a quiet room."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeardNight:
    """What listening gives.

    Attributes
    ----------
    history : LevelHistory
        With everything left out that a flag leaves out.
    flags : tuple of QualityFlag
        In order of time.
    remarks : tuple of str
        On the files, among them what only reading could tell.
    """

    history: LevelHistory
    flags: tuple[QualityFlag, ...]
    remarks: tuple[str, ...]


def listen(
    sound: NightSound,
    calibrated: NightCalibration,
    settings: AssessSettings,
    inputs: tuple[FileMark, ...],
    on_progress: Callable[[float], None] | None = None,
) -> HeardNight:
    """Listen to a night in one pass.

    Parameters
    ----------
    sound : NightSound
    calibrated : NightCalibration
    settings : AssessSettings
    inputs : tuple of FileMark
        The parts of the night first.
    on_progress : callable, optional
        Called with the share done, 0 to 1.
    """

    def on_seconds(done_s: float) -> None:
        if on_progress is not None:
            on_progress(done_s / sound.seconds)

    calibration, response = calibrated.calibration, calibrated.response
    lossy = any(part.audio.encoding in CODERS for part in sound.parts)
    quality = SampleQuality(calibration.pascal_per_full_scale, coded_with_loss=lossy)
    stream = sound.blocks(calibration, channel=settings.channel, on_progress=on_seconds)
    history = level_history(
        _looked_at(stream, quality),
        threads=settings.threads,
        expected_s=sound.seconds,
        correction_db=response.correction_db if response else np.zeros_like,
    )
    if not history.ticks:
        raise RecordingError(
            f"{sound.parts[0].audio.path}: lasts {sound.seconds:.4g} s; levels need {TICK_S:g} s at least.",
            remedy="Choose the recording of the night.",
        )
    own = [*_gap_flags(stream.gaps), *_tone_flags(sound, calibrated, inputs)]
    own += [flag for flag in quality.result() if not _within_gap(flag, stream.gaps)]
    history = without_faults(history, own)
    flags = [*own, *history_flags(history, own_noise_la_db=settings.own_noise_la_db)]
    return HeardNight(
        history=without_faults(history, flags),
        flags=tuple(sorted(flags, key=lambda flag: (flag.start, flag.end, flag.kind))),
        remarks=stream.remarks,
    )


def _looked_at(blocks: Iterator[PressureBlock], quality: SampleQuality) -> Iterator[PressureBlock]:
    for block in blocks:
        quality.update(block)
        yield block


def _gap_flags(gaps: tuple[Gap, ...]) -> Iterator[QualityFlag]:
    for gap in gaps:
        what = "Nothing was recorded between two files."
        yield QualityFlag(kind="gap", start=gap.start, end=gap.end, what=what, effect="left out")


def _within_gap(flag: QualityFlag, gaps: tuple[Gap, ...]) -> bool:
    """Return whether a flag only says what a gap says already: silence where nobody recorded."""
    return any(gap.start <= flag.start and flag.end <= gap.end for gap in gaps)


def _tone_flags(
    sound: NightSound, calibrated: NightCalibration, inputs: tuple[FileMark, ...]
) -> Iterator[QualityFlag]:
    """Leave the calibrator's tone out of the night if it lies in the night's own file."""
    for part, mark in zip(sound.parts, inputs, strict=False):
        for tone in calibrated.calibration.tones:
            if tone.sha256 == mark.sha256 and part.stamped_frame is not None:
                begun = sound.start.utc + timedelta(seconds=part.stamped_frame / sound.sample_rate_hz)
                yield _tone_flag(begun, tone.start_s, tone.end_s)


def _tone_flag(begun: datetime, start_s: float, end_s: float) -> QualityFlag:
    return QualityFlag(
        kind="calibration tone",
        start=begun + timedelta(seconds=start_s - BEFORE_TONE_S),
        end=begun + timedelta(seconds=end_s + AFTER_TONE_S),
        what="The calibrator's tone, which is no part of the night.",
        effect="left out",
    )
