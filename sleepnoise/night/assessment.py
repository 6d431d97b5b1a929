"""The assessment of one night: everything that its level history has to say."""

from dataclasses import dataclass
from datetime import datetime

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.levels.statistics import LevelStatistics
from sleepnoise.night.events import Event
from sleepnoise.night.guidelines import Verdict
from sleepnoise.night.intervals import Interval
from sleepnoise.night.window import NightWindow


@dataclass(frozen=True, slots=True, kw_only=True)
class NightAssessment:
    """What one night was like.

    Attributes
    ----------
    window : NightWindow
    start, end : datetime
        The part of the window that was recorded, UTC.
    window_s : float, s
        Length of the whole window; more than ``end - start`` when the recording misses part.
    statistics : LevelStatistics
        Of that part.
    quarter_hours, hours : tuple of Interval
    events : tuple of Event
        Those that start within the window.
    background_spectrum : Spectrum
        Equivalent band levels of the event-free time of the window.
    event_time_s : float, s
        Time within events.
    verdicts : tuple of Verdict
    absolute : bool
        Whether levels are calibrated.
    expanded_uncertainty_db : float, dB
    """

    window: NightWindow
    start: datetime
    end: datetime
    window_s: float
    statistics: LevelStatistics
    quarter_hours: tuple[Interval, ...]
    hours: tuple[Interval, ...]
    events: tuple[Event, ...]
    background_spectrum: Spectrum
    event_time_s: float
    verdicts: tuple[Verdict, ...]
    absolute: bool
    expanded_uncertainty_db: float
