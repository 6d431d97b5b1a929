"""The assessment of a night: the right part of the recording, and parts that agree with each other."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.errors import StartTimeError
from sleepnoise.judgement import assessment
from sleepnoise.levels.statistics import level_statistics
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import find_events
from sleepnoise.night.window import NightWindow

WINDOW = NightWindow.parse("23:00-07:00", "Europe/Vienna")


def assess(history, **others):
    usual = {
        "window": WINDOW,
        "criteria": (),
        "event_settings": EventSettings(),
        "absolute": True,
        "expanded_uncertainty_db": 1.5,
    }
    return assessment.assess_history(history, **{**usual, **others})


def test_the_invented_night_is_assessed_as_a_whole(larch_court):
    found = assess(larch_court.history)
    assert (found.start, found.end) == (larch_court.history.start, larch_court.history.end)
    assert found.window_s == 8 * 3600
    assert (len(found.quarter_hours), len(found.hours)) == (32, 8)
    assert all(interval.complete for interval in (*found.quarter_hours, *found.hours))
    assert len(found.events) == len(larch_court.truth)
    assert found.event_time_s == sum(event.duration_s for event in found.events)
    assert found.statistics == level_statistics(larch_court.history)
    assert energy_mean([hour.statistics.laeq for hour in found.hours]) == pytest.approx(found.statistics.laeq)


def test_only_the_window_counts_but_events_know_the_time_before(sounds):
    start = datetime(2025, 2, 3, 21, 50, tzinfo=UTC)  # ten minutes before the window
    history = sounds(3600).slam(300, 60).slam(605, 50).slam(900, 50).history(start=start)
    found = assess(history)
    assert found.start == start + timedelta(minutes=10)
    assert found.statistics.seconds == 50 * 60
    assert [event.number for event in found.events] == [2, 3]
    assert found.statistics.lafmax < 51
    assert found.events[0].flags == ()


def test_an_event_across_the_beginning_counts_its_time_within_only(sounds):
    start = datetime(2025, 2, 3, 21, 50, tzinfo=UTC)
    found = assess(sounds(3600).steady(590, 30, 50).history(start=start))
    assert found.events == ()
    assert found.event_time_s == pytest.approx(20, abs=1)


def test_an_event_across_the_end_belongs_to_the_night_with_its_time_within_only(sounds):
    start = datetime(2025, 2, 4, 5, 30, tzinfo=UTC)  # half an hour before the end of the window
    found = assess(sounds(3600).steady(1790, 30, 50).slam(2400, 60).history(start=start))
    assert [event.duration_s for event in found.events] == [pytest.approx(30, abs=1)]
    assert found.event_time_s == pytest.approx(10, abs=0.2)
    assert found.end == datetime(2025, 2, 4, 6, 0, tzinfo=UTC)


def test_an_event_that_begins_with_the_window_belongs_to_it_and_one_at_its_end_to_the_day(sounds):
    history = sounds(3600).slam(900, 50).history(start=datetime(2025, 2, 3, 21, 50, tzinfo=UTC))
    (slam,) = find_events(history)
    begin, end = datetime(2025, 2, 3, 22, 0, tzinfo=UTC), history.end
    for start, belongs in ((begin, True), (begin - timedelta(microseconds=1), False), (end, False)):
        assert bool(assess(history, events=(replace(slam, start=start),)).events) == belongs


def test_the_background_spectrum_is_that_of_the_time_without_events(sounds):
    scene = sounds(3600).steady(900, 60, 60).steady(1800, 60, 60)
    found = assess(scene.history())
    assert found.background_spectrum.weighted_level() == pytest.approx(27, abs=0.1)


def test_a_recording_that_covers_part_of_the_window_says_how_long_the_window_is(sounds):
    start = datetime(2025, 10, 25, 22, 0, tzinfo=UTC)  # midnight of the night with 25 hours in its day
    found = assess(sounds(1800).history(start=start))
    assert found.window_s == 9 * 3600
    assert (found.end - found.start).total_seconds() == 1800
    assert [interval.complete for interval in found.hours] == [False]


def test_a_recording_by_day_is_refused(sounds):
    with pytest.raises(StartTimeError, match="no part between"):
        assess(sounds(60).history(start=datetime(2025, 2, 3, 12, 0, tzinfo=UTC)))


def test_a_night_of_digital_silence_is_assessed_without_events(from_ticks):
    found = assess(from_ticks(np.full(8 * 600, -np.inf)))
    assert found.events == ()
    assert found.statistics.laeq == -np.inf
    assert np.isneginf(found.background_spectrum.levels_db).all()


def test_a_night_that_is_left_out_altogether_knows_nothing(from_ticks):
    found = assess(from_ticks(np.full(8 * 600, 30.0), left_out=np.ones(8 * 600, dtype=bool)))
    assert np.isnan(found.statistics.laeq)
    assert found.statistics.left_out_s == 600


def test_criteria_are_judged_on_the_whole_recording_and_all_its_events(sounds, monkeypatch):
    start = datetime(2025, 2, 3, 21, 50, tzinfo=UTC)
    history = sounds(3600).slam(300, 60).slam(905, 50).history(start=start)
    asked = {}

    def judge(criteria, history, events, window, **others):
        asked.update(criteria=criteria, history=history, events=events, window=window, **others)
        return ("verdict",)

    monkeypatch.setattr(assessment, "judge", judge)
    found = assess(history, criteria=("criterion",), absolute=False, expanded_uncertainty_db=2.5)
    assert found.verdicts == ("verdict",)
    assert asked["history"] is history
    assert len(asked["events"]) == len(find_events(history)) == 2
    assert (asked["criteria"], asked["window"]) == (("criterion",), WINDOW)
    assert (asked["absolute"], asked["expanded_uncertainty_db"]) == (False, 2.5)
    assert (found.absolute, found.expanded_uncertainty_db) == (False, 2.5)
