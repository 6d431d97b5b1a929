"""Readings of steady noise, from recordings and typed levels alike, and what was said on the way."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.assessing.calibrating import calibration_files, night_calibration
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.provenance import FileMark, file_mark
from sleepnoise.fieldwork.door_test import Reading, spoilt_ticks, steady_reading, typed_reading
from sleepnoise.formats.coding import CODERS
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.quality import without_faults
from sleepnoise.profiles.door_test import GainEntry, ReadingsEntry
from sleepnoise.profiles.fields import by_hz
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, shown_name
from sleepnoise.recording.quality import QualityFlag, SampleQuality

LONGEST_S = 600.0
"""Longest recording of a door test, s. Chosen: ten minutes; whatever is longer is a night."""

_ANY_START = datetime(2000, 1, 1, tzinfo=UTC)
"""Start of every recording. Chosen: nothing depends on it."""
_ANY_DAY = date(2000, 1, 1)
"""Day of every recording. Chosen: nothing depends on it."""


@dataclass(slots=True)
class Listening:
    """How recordings are read, and what was said and marked on the way."""

    folder: Path
    octaves: bool
    on_reading: Callable[[], None]
    remarks: list[str] = field(default_factory=list)
    inputs: list[FileMark] = field(default_factory=list)

    def calibration(self, gain: GainEntry, channel: int) -> Calibration:
        """Return the calibration of all recordings; relative if none is given."""
        settings = AssessSettings(
            channel=channel,
            tone=None if gain.tone is None else self.folder / gain.tone,
            tone_level_db=gain.tone_level_db,
            tone_frequency_hz=gain.tone_frequency_hz,
            full_scale_level_db=gain.full_scale_level_db,
        )
        self.inputs += [file_mark(path, role) for path, role in calibration_files(settings)]
        return night_calibration(settings, _ANY_DAY).calibration

    def readings(
        self, entry: ReadingsEntry, calibration: Calibration, channel: int, role: str
    ) -> tuple[Reading, ...]:
        """Return all readings of one state."""
        background = role == "background"
        recorded = [
            self.recorded(name, calibration, channel, role, background=background)
            for name in entry.recordings
        ]
        typed = [typed_reading(laeq) for laeq in entry.laeq]
        typed += [typed_reading(by_hz=by_hz(table), octaves=self.octaves) for table in entry.levels_db]
        return (*recorded, *typed)

    def recorded(
        self, name: str, calibration: Calibration, channel: int, role: str, *, background: bool = False
    ) -> Reading:
        """Return the reading of one recording; its faults are left out and said."""
        audio = open_audio(self.folder / name)
        if audio.seconds > LONGEST_S:
            raise RecordingError(
                f"{audio.path}: a recording of a door test must last at most {LONGEST_S:g} s, "
                f"got {audio.seconds:.0f} s.",
                remedy="Cut out the half minute that belongs to the step.",
            )
        quality = SampleQuality(calibration.pascal_per_full_scale, coded_with_loss=audio.encoding in CODERS)

        def heard() -> Iterator[PressureBlock]:
            for block in read_blocks(audio, calibration, _ANY_START, channel=channel):
                quality.update(block)
                yield block

        history = level_history(heard())
        flags = quality.result()
        history = without_faults(history, flags)
        shown = shown_name(audio.path)
        told = (flag.what for flag in flags if _counts(flag, history, background=background))
        self.remarks += dict.fromkeys(f"{shown}: {what}" for what in told)
        mark = file_mark(audio.path, role)
        if mark not in self.inputs:
            self.inputs.append(mark)
        self.on_reading()
        return steady_reading(history, shown, background=background, octaves=self.octaves)


def _counts(flag: QualityFlag, history: LevelHistory, *, background: bool) -> bool:
    """Return whether a fault took time away or lies in the time that counts; a bang may overload."""
    if flag.effect == "left out":
        return True
    within = slice(max(history.tick_of(flag.start) - 1, 0), history.tick_of(flag.end))
    return not spoilt_ticks(history, background=background)[within].all()


def check_one_scale(where: str, entries: Iterable[ReadingsEntry], gain: GainEntry) -> None:
    """Refuse typed levels beside recordings whose levels are relative to full scale.

    Raises
    ------
    SettingsError
    """
    known = gain.tone is not None or gain.full_scale_level_db is not None
    if len({bool(entry.recordings) for entry in entries}) > 1 and not known:
        raise SettingsError(
            f"{where}: typed levels and recordings without calibration have no scale in common.",
            remedy="Calibrate the recordings (a tone or a full-scale level), or give all of one kind.",
        )
