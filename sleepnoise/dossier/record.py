"""The record of one night: what was found, and everything it was made from."""

from dataclasses import dataclass, field
from pathlib import Path

from sleepnoise.dossier.provenance import Provenance
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.planning.first_plan import FirstPlan, PlanSettings
from sleepnoise.recording.audio_file import AudioFile
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.timestamps import StartTime

DEFAULT_WINDOW = "23:00-07:00"
"""Night window in local time. Chosen: the eight night hours that most of the shipped guidelines use."""

CALIBRATOR_LEVEL_DB = 94.0
"""Level of a calibration tone. Chosen: what most calibrators give (common practice, no source)."""

CALIBRATOR_FREQUENCY_HZ = 1000.0
"""Frequency of a calibration tone. Chosen: what most calibrators give (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessSettings:
    """What a user may decide about an assessment; every field has a default.

    Attributes
    ----------
    start : str or None
        Start of the recording, ISO 8601; None to take it from the file.
    zone : str or None
        IANA name of the local time zone; without one there is no night window.
    channel : int
        From 1.
    tone : Path or None
        Recording of a calibrator.
    tone_level_db, tone_frequency_hz : float
        What the calibrator gives.
    full_scale_level_db : float or None
        Level, dB re 20 µPa, of a sine that just reaches full scale; instead of a tone.
    window : str
        Local clock hours that count as night.
    guidelines : tuple of str
        Names or files of guideline profiles; empty for all that are shipped.
    events : EventSettings
    plan : PlanSettings
    threads : int
        Changes the time taken, never the result.
    """

    start: str | None = None
    zone: str | None = None
    channel: int = 1
    tone: Path | None = None
    tone_level_db: float = CALIBRATOR_LEVEL_DB
    tone_frequency_hz: float = CALIBRATOR_FREQUENCY_HZ
    full_scale_level_db: float | None = None
    window: str = DEFAULT_WINDOW
    guidelines: tuple[str, ...] = ()
    events: EventSettings = field(default_factory=EventSettings)
    plan: PlanSettings = field(default_factory=PlanSettings)
    threads: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRecord:
    """One night, assessed.

    Attributes
    ----------
    audio : AudioFile
    start : StartTime
    calibration : Calibration
    settings : AssessSettings
    guidelines : tuple of str
        Names of the guideline profiles that were used.
    history : LevelHistory
    assessment : NightAssessment
    plan : FirstPlan
    provenance : Provenance
    """

    audio: AudioFile
    start: StartTime
    calibration: Calibration
    settings: AssessSettings
    guidelines: tuple[str, ...]
    history: LevelHistory
    assessment: NightAssessment
    plan: FirstPlan
    provenance: Provenance
