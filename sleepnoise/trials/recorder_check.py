"""Can this recorder do the job? The answer that one minute in the quiet room gives.

The minute: recorder where it will stand, its settings as for the night, nobody moving; after
twenty seconds one loud clap beside it, then quiet again to the end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np

from sleepnoise.acoustics.decibels import level, pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.plain import plain_value
from sleepnoise.evidence.provenance import file_mark, library_versions
from sleepnoise.formats.coding import CODERS, COMPANDED, EIGHT_BIT
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.statistics import exceeded_levels
from sleepnoise.night.quality import (
    DIP_DB,
    OWN_NOISE_MARGIN_DB,
    cliff_hz,
    gain_dips_db,
    without_faults,
)
from sleepnoise.recording.audio_file import AudioFile, open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, shown_name
from sleepnoise.recording.quality import QualityFlag, SampleQuality

Ability = Literal["can", "can with limits", "cannot tell", "cannot"]
"""From best to worst: a recorder is as able as in its weakest point."""

TEST_S = (45.0, 600.0)
"""Shortest and longest test, s. Chosen: a clap needs 10 s before and 30 s after it;
longer is a night by mistake."""

WIDE_RATE_HZ, NARROW_RATE_HZ = 32_000, 16_000
"""Sampling rates that are enough, and that are just enough, Hz. Chosen: bands up to 12.5 kHz and 6.3 kHz;
what a bedroom's A-weighted level is made of lies below."""

RANGE_DB = (60.0, 70.0)
"""Full scale over LA90 that is needed, and that is comfortable, dB. Chosen: a slam peaks 60 dB over a
bedroom of 25 dB(A), a dropped tray at the bed 70."""

FLOOR_DB = (25.0, 33.0)
"""LA90 of the test up to which a recorder can, and can with limits, dB(A). Chosen: 7 dB over a field
recorder's 18 dB(A); a phone's own noise is about 34 dB(A) (a 60 dB signal-to-noise ratio re 94 dB)."""

STEP_NOISE = Source(
    document="uniform rounding noise, step / sqrt 12", place="A-weighted at 48 kHz", how_known="computed"
)
STEP_NOISE_A_DB = -2.7
"""A-weighted level of white noise at 48 kHz less its unweighted level, dB. Source: STEP_NOISE."""

SCHEMA = {"name": "sleepnoise/recorder-check", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""

_ANY_START = datetime(2000, 1, 1, tzinfo=UTC)
"""Chosen: times of a test are never shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of the check.

    Attributes
    ----------
    topic : str
    ability : Ability
    reason : str
        What was found, in plain words.
    change : str
        What to do about it; empty if nothing.
    """

    topic: str
    ability: Ability
    reason: str
    change: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecorderCheck:
    """What a test recording says of its recorder.

    Attributes
    ----------
    name : str
        Of the file.
    points : tuple of Point
    la90 : float, dB
        Level exceeded 90 % of the test, re 20 µPa if ``absolute``, else re full scale.
    absolute : bool
    range_db : float, dB
        Full scale over ``la90``.
    flags : tuple of QualityFlag
        Faults found in the samples.
    """

    name: str
    points: tuple[Point, ...]
    la90: float
    absolute: bool
    range_db: float
    flags: tuple[QualityFlag, ...]

    @property
    def ability(self) -> Ability:
        """The answer: that of the weakest point."""
        order = get_args(Ability)
        return max((point.ability for point in self.points), key=order.index)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardTest:
    """What listening to a test recording gave.

    Attributes
    ----------
    audio : AudioFile
    history : LevelHistory
        Of the channel that was heard.
    flags : tuple of QualityFlag
    full_scale_db : float, dB
        Level of a full-scale mean square, on the history's scale.
    absolute : bool
    step : float
        Smallest difference between neighbouring samples, as a share of full scale; 0 if there is none.
    kbit_s : float, kbit/s
        Size of the file over its length and channels.
    same_channels : bool
        Whether all channels hold the very same samples.
    """

    audio: AudioFile
    history: LevelHistory
    flags: tuple[QualityFlag, ...]
    full_scale_db: float
    absolute: bool
    step: float
    kbit_s: float
    same_channels: bool


def check_recorder(
    path: str | Path, *, calibration: Calibration | None = None, channel: int = 1
) -> RecorderCheck:
    """Tell from a test recording of a minute whether its recorder can do the job.

    Parameters
    ----------
    path : str or Path
    calibration : Calibration, optional
        None if there is none: the floor can then not be told.
    channel : int
        Counted from 1.

    Raises
    ------
    RecordingError
        If the file cannot be read, or is shorter or longer than ``TEST_S``.
    """
    audio = open_audio(Path(path))
    shortest, longest = TEST_S
    if not shortest <= audio.seconds <= longest:
        raise RecordingError(
            f"{audio.path}: a test must last {shortest:g} to {longest:g} s, got {audio.seconds:.0f} s.",
            remedy="Record one minute in the quiet room, with one clap after twenty seconds.",
        )
    return judged(_listen(audio, calibration or Calibration.relative(), channel))


def _listen(audio: AudioFile, calibration: Calibration, channel: int) -> HeardTest:
    quality = SampleQuality(calibration.pascal_per_full_scale, coded_with_loss=audio.encoding in CODERS)
    steps: list[float] = []

    def heard() -> Iterator[PressureBlock]:
        for block in read_blocks(audio, calibration, _ANY_START, channel=channel):
            quality.update(block)
            steps.append(_smallest_step(block))
            yield block

    history = level_history(heard())
    step = min((each for each in steps if each), default=0.0)
    return HeardTest(
        audio=audio,
        history=history,
        flags=quality.result(),
        full_scale_db=float(pressure_level(calibration.pascal_per_full_scale**2)),
        absolute=calibration.absolute,
        step=step / calibration.pascal_per_full_scale,
        kbit_s=8 * audio.path.stat().st_size / audio.seconds / audio.channels / 1000,
        same_channels=_same_channels(audio, calibration, channel),
    )


def _smallest_step(block: PressureBlock) -> float:
    differences = np.abs(np.diff(block.pressure_pa))
    return float(differences.min(where=differences > 0, initial=np.inf)) if differences.any() else 0.0


def _same_channels(audio: AudioFile, calibration: Calibration, channel: int) -> bool:
    """Return whether every other channel holds what the chosen one does; False if there is no other."""
    others = [other for other in range(1, audio.channels + 1) if other != channel]

    def same(other: int) -> bool:
        streams = (read_blocks(audio, calibration, _ANY_START, channel=each) for each in (channel, other))
        return all(np.array_equal(a.pressure_pa, b.pressure_pa) for a, b in zip(*streams, strict=True))

    return bool(others) and all(same(other) for other in others)


def judged(test: HeardTest) -> RecorderCheck:
    """Return the check of a test that has been heard; pure."""
    clean = without_faults(test.history, test.flags)
    la90 = exceeded_levels(clean.laf[~clean.left_out])["la90"]
    range_db = test.full_scale_db - la90
    points = (
        _rate(test.audio),
        _coding(test),
        _channels(test),
        _faults(test.flags),
        _floor(la90, absolute=test.absolute),
        _steps(test, range_db),
        _headroom(test.flags, range_db),
        _gain(clean),
    )
    return RecorderCheck(
        name=shown_name(test.audio.path),
        points=points,
        la90=la90,
        absolute=test.absolute,
        range_db=range_db,
        flags=test.flags,
    )


def _rate(audio: AudioFile) -> Point:
    rate_hz = audio.sample_rate_hz
    reason = f"It takes {rate_hz} samples a second and hears up to about {0.45 * rate_hz / 1000:.0f} kHz."
    if rate_hz >= WIDE_RATE_HZ:
        return Point(topic="sampling rate", ability="can", reason=reason)
    ability: Ability = "can with limits" if rate_hz >= NARROW_RATE_HZ else "cannot"
    return Point(topic="sampling rate", ability=ability, reason=reason, change="Set it to 44.1 or 48 kHz.")


def _coding(test: HeardTest) -> Point:
    encoding = test.audio.encoding
    change = "Record WAV or FLAC; on a phone, look for 'lossless' in the recording app's settings."
    if encoding in (*EIGHT_BIT, *COMPANDED):
        reason = "The samples are stored so coarsely that their own noise hides a quiet room."
        return Point(topic="file format", ability="cannot", reason=reason, change=change)
    coder = CODERS.get(encoding)
    above_hz = cliff_hz(test.history)
    gone = f" Above {above_hz:.0f} Hz next to nothing is left of the quiet room." if above_hz else ""
    if coder is not None:
        reason = f"The file is coded with loss ({coder.name}, {test.kbit_s:.0f} kbit/s a channel).{gone}"
        ability: Ability = "can with limits"
        if test.kbit_s < coder.low_kbit_s:
            # What nobody tried is no reason to send a phone away.
            ability = "cannot" if coder.tried else "cannot tell"
            reason += f" {coder.effect[0].upper()}{coder.effect[1:]}."
        return Point(topic="file format", ability=ability, reason=reason, change=change)
    if gone:
        reason = f"The file keeps every sample, but the sound was coded or converted before.{gone}"
        return Point(topic="file format", ability="cannot tell", reason=reason, change=change)
    return Point(topic="file format", ability="can", reason="The file keeps every sample.")


def _channels(test: HeardTest) -> Point:
    if test.audio.channels == 1:
        reason = "There is one channel."
    elif test.same_channels:
        reason = "All channels hold the same samples: there is one microphone, and one channel would do."
    else:
        reason = f"There are {test.audio.channels} channels that differ; one of them was checked."
    return Point(topic="channels", ability="can", reason=reason)


def _faults(flags: tuple[QualityFlag, ...]) -> Point:
    lost = [flag for flag in flags if flag.effect == "left out"]
    if lost:
        return Point(
            topic="missing sound",
            ability="cannot",
            reason=f"{lost[0].what} This happened {len(lost)} times in the test.",
            change="Switch noise suppression and voice activation off, close other apps, try another card.",
        )
    offset = [flag for flag in flags if flag.kind == "offset"]
    if offset:
        return Point(topic="missing sound", ability="can with limits", reason=offset[0].what)
    return Point(topic="missing sound", ability="can", reason="No sound is missing.")


def _floor(la90: float, *, absolute: bool) -> Point:
    able_db, limit_db = FLOOR_DB
    if not np.isfinite(la90):
        reason = "There is nothing but digital silence."
        return Point(
            topic="quiet sounds", ability="cannot", reason=reason, change="Choose the other channel or input."
        )
    if not absolute:
        return Point(
            topic="quiet sounds",
            ability="cannot tell",
            reason="Without a calibration nobody knows how many decibels the quiet room reads.",
            change="Record a calibrator, or a reference meter beside it, and give that to the check.",
        )
    reason = f"In the quiet room it reads {la90:.0f} dB(A): the room and its own noise together."
    if la90 <= able_db:
        return Point(topic="quiet sounds", ability="can", reason=reason)
    return Point(
        topic="quiet sounds",
        ability="can with limits" if la90 <= limit_db else "cannot",
        reason=reason,
        change="Wrap it in a duvet in a closet and test again: if it reads the same, that is its own noise, "
        "and an outside microphone is needed.",
    )


def _steps(test: HeardTest, range_db: float) -> Point:
    """Judge how far the quiet room lies above the rounding of the samples."""
    if test.audio.encoding in CODERS or test.step == 0:
        return Point(
            topic="fine steps", ability="can", reason="There are no steps to be seen in the samples."
        )
    rounding_db = float(level(test.step**2 / 12)) + STEP_NOISE_A_DB
    margin_db = -range_db - rounding_db
    bits = 1 - np.log2(test.step)
    reason = f"About {bits:.0f} bits are used; the quiet room is {margin_db:.0f} dB above their rounding."
    if margin_db >= OWN_NOISE_MARGIN_DB:
        return Point(topic="fine steps", ability="can", reason=reason)
    change = "Turn the recording gain up, or record with 24 bits."
    return Point(topic="fine steps", ability="can with limits", reason=reason, change=change)


def _headroom(flags: tuple[QualityFlag, ...], range_db: float) -> Point:
    needed_db, comfortable_db = RANGE_DB
    change = "Turn the recording gain down, or move it away from what is loud."
    if any(flag.kind == "clipping" for flag in flags):
        reason = "It overloaded during the test: peaks are cut off."
        return Point(topic="loud sounds", ability="can with limits", reason=reason, change=change)
    reason = f"From the quiet room to overload there are {range_db:.0f} dB."
    if range_db >= comfortable_db:
        return Point(topic="loud sounds", ability="can", reason=reason)
    ability: Ability = "can with limits" if range_db >= needed_db else "cannot"
    return Point(topic="loud sounds", ability=ability, reason=reason, change=change)


def _gain(history: LevelHistory) -> Point:
    dips_db = gain_dips_db(history)
    if dips_db.size == 0:
        return Point(
            topic="fixed gain",
            ability="cannot tell",
            reason="There was no clap, or too little quiet around it, to see whether the gain stays put.",
            change="Test again: twenty seconds of quiet, one loud clap, forty seconds of quiet.",
        )
    if dips_db[0] >= DIP_DB:
        return Point(
            topic="fixed gain",
            ability="cannot",
            reason=f"After the clap the room reads {dips_db[0]:.0f} dB too low and climbs back: "
            "the gain moves by itself.",
            change="Switch automatic gain, limiter and voice enhancement off, or use an app that can.",
        )
    return Point(
        topic="fixed gain", ability="can", reason="After a loud sound the room reads what it did before."
    )


def recorder_document(check: RecorderCheck, calibration: Calibration, recording: Path) -> dict[str, Any]:
    """Return the document of a check that was made of a test recording with a calibration."""
    document = plain_value(
        {
            "schema": SCHEMA,
            "answer": check.ability,
            "points": check.points,
            "LA90_dB": check.la90,
            "absolute": check.absolute,
            "full_scale_over_LA90_dB": check.range_db,
            "faults": check.flags,
            "calibration": calibration if calibration.absolute else None,
            "inputs": [file_mark(recording, "test recording")],
            "versions": library_versions(),
        }
    )
    assert isinstance(document, dict)
    return document
