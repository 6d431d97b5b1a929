"""The record of one night: what was found, and everything it was made from."""

from dataclasses import dataclass, field
from pathlib import Path

from sleepnoise.assessing.said import Statements
from sleepnoise.assessing.sounds import NightSounds
from sleepnoise.calibration.microphone import States
from sleepnoise.evidence.provenance import Provenance
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.judgement.uncertainty import UncertaintyBudget
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.planning.first_plan import FirstPlan, PlanSettings
from sleepnoise.recording.calibration import Calibration, InstrumentClass
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.quality import QualityFlag
from sleepnoise.recording.sequence import NightSound
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
    clock : tuple of ClockReading
        One or two readings of the recorder's clock beside the true time.
    channel : int
        From 1.
    tone, tone_after : Path or None
        Recordings of a calibrator, before the night and after it.
    tone_level_db, tone_frequency_hz : float
        What the calibrator gives.
    accept_drift : bool
        Whether tones that differ by more than the standard allows may be used all the same.
    full_scale_level_db : float or None
        Level, dB re 20 µPa, of a sine that just reaches full scale; instead of a tone.
    calibration_file : Path or None
        A calibration kept from another day; instead of a tone.
    recorder_class : {1, 2} or None
        Class of IEC 61672-1 of microphone and recorder together; None: taken for class 2.
    microphone_response : Path or None
        Table of frequency and level.
    response_means : {"response", "correction"} or None
        What that table holds.
    own_noise_la_db : float or None
        The recorder's own noise, dB(A).
    window : str
        Local clock hours that count as night.
    guidelines : tuple of str
        Names or files of guideline profiles; empty for all that are shipped.
    events : EventSettings
    plan : PlanSettings
    statements : Statements
        What somebody says of the night.
    threads : int
        Changes the time taken, never the result.
    """

    start: str | None = None
    zone: str | None = None
    clock: tuple[ClockReading, ...] = ()
    channel: int = 1
    tone: Path | None = None
    tone_after: Path | None = None
    tone_level_db: float = CALIBRATOR_LEVEL_DB
    tone_frequency_hz: float = CALIBRATOR_FREQUENCY_HZ
    accept_drift: bool = False
    full_scale_level_db: float | None = None
    calibration_file: Path | None = None
    recorder_class: InstrumentClass | None = None
    microphone_response: Path | None = None
    response_means: States | None = None
    own_noise_la_db: float | None = None
    window: str = DEFAULT_WINDOW
    guidelines: tuple[str, ...] = ()
    events: EventSettings = field(default_factory=EventSettings)
    plan: PlanSettings = field(default_factory=PlanSettings)
    statements: Statements = field(default_factory=Statements)
    threads: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRecord:
    """One night, assessed.

    Attributes
    ----------
    sound : NightSound
        The files, and how they meet.
    start : StartTime
    calibration : Calibration
    remarks : tuple of str
        What people should know of files, start, calibration and microphone, in sentences.
    quality : tuple of QualityFlag
        What went wrong, from when to when.
    sounds : NightSounds
        What the sounds are like, which recur, whose they are.
    budgets : tuple of UncertaintyBudget
        Of weighted levels and of low third octaves; empty without calibration.
    settings : AssessSettings
    guidelines : tuple of str
        Names of the guideline profiles that were used.
    history : LevelHistory
    assessment : NightAssessment
    plan : FirstPlan
    provenance : Provenance
    """

    sound: NightSound
    start: StartTime
    calibration: Calibration
    remarks: tuple[str, ...]
    quality: tuple[QualityFlag, ...]
    sounds: NightSounds
    budgets: tuple[UncertaintyBudget, ...]
    settings: AssessSettings
    guidelines: tuple[str, ...]
    history: LevelHistory
    assessment: NightAssessment
    plan: FirstPlan
    provenance: Provenance
