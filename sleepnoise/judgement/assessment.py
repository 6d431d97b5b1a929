"""The assessment of one night: everything that its level history has to say."""

from dataclasses import dataclass
from datetime import datetime

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.judgement.circumstances import NOTHING_SAID, Circumstances
from sleepnoise.judgement.guidelines import Criterion, Verdict, judge
from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.levels.statistics import LevelStatistics, band_equivalent_levels, level_statistics
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event, event_ticks, find_events
from sleepnoise.night.intervals import Interval, intervals
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
        Those that start within the window; their numbers and ticks are those of the recording.
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


def assess_history(
    history: LevelHistory,
    *,
    window: NightWindow,
    criteria: tuple[Criterion, ...],
    event_settings: EventSettings,
    absolute: bool,
    expanded_uncertainty_db: float,
    band_uncertainty_db: float | None = None,
    circumstances: Circumstances = NOTHING_SAID,
    events: tuple[Event, ...] | None = None,
) -> NightAssessment:
    """Return what one night was like.

    Parameters
    ----------
    history : LevelHistory
        The whole recording: the minutes before the window tell the background of its first event.
    window : NightWindow
    criteria : tuple of Criterion
    event_settings : EventSettings
    absolute : bool
        Whether levels are calibrated; without that there is no verdict.
    expanded_uncertainty_db : float, dB
        U (k = 2) of a level; ``nan`` if not known.
    band_uncertainty_db : float, dB, optional
        The same of third-octave levels; like that of a level when left out.
    circumstances : Circumstances, optional
        What somebody said of the night that a recording cannot tell.
    events : tuple of Event, optional
        All of the recording, if they were found before.

    Raises
    ------
    StartTimeError
        If the recording misses the window altogether.
    """
    whole = window.overlapping(history.start, history.end)
    start, end = max(whole[0], history.start), min(whole[1], history.end)
    first, last = history.tick_of(start), history.tick_of(end)
    if first >= last:
        raise window.missed_by(history.start, history.end)
    part = history.between(first, last)
    events = find_events(history, event_settings) if events is None else events
    within = event_ticks(events, history.ticks)[first:last]
    return NightAssessment(
        window=window,
        start=start,
        end=end,
        window_s=(whole[1] - whole[0]).total_seconds(),
        statistics=level_statistics(part),
        quarter_hours=intervals(history, start, end, 15, window.zone),
        hours=intervals(history, start, end, 60, window.zone),
        events=tuple(event for event in events if start <= event.start < end),
        background_spectrum=Spectrum(
            nominal_hz=part.nominal_hz, levels_db=band_equivalent_levels(part.without(within))
        ),
        event_time_s=float(within.sum()) * TICK_S,
        verdicts=judge(
            criteria,
            history,
            events,
            window,
            absolute=absolute,
            expanded_uncertainty_db=expanded_uncertainty_db,
            band_uncertainty_db=band_uncertainty_db,
            circumstances=circumstances,
        ),
        absolute=absolute,
        expanded_uncertainty_db=expanded_uncertainty_db,
    )
