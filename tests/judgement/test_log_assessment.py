"""What a night's log can tell, and what it cannot. All logs are invented."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import StartTimeError
from sleepnoise.judgement.guidelines import Criterion, judge
from sleepnoise.judgement.log_assessment import assess_log, log_events, series_of_log
from sleepnoise.logs.level_log import LevelLog
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import find_events
from sleepnoise.night.window import NightWindow

ELEVEN_PM = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
WINDOW = NightWindow.parse("23:00-07:00", "Europe/Vienna")
SEEN = Source(document="An invented document", place="its only page", how_known="looked-up")


def log_of(step_s=1.0, start=ELEVEN_PM, bands=None, **columns):
    columns = {name: np.asarray(levels, dtype=np.float32) for name, levels in columns.items()}
    steps = next(iter(columns.values())).size
    bands = bands or {}
    return LevelLog(
        name="invented.csv",
        start=start,
        step=timedelta(seconds=step_s),
        zone="Europe/Vienna",
        columns=columns,
        nominal_hz=tuple(bands),
        bands=np.array(list(bands.values()), dtype=np.float32).reshape(len(bands), steps),
        remarks=(),
    )


def steady(step_s=1.0, hours=8.0, level_db=27.0, **others):
    steps = round(hours * 3600 / step_s)
    columns = {name: np.full(steps, each) for name, each in {"laeq": level_db, **others}.items()}
    return log_of(step_s, **columns)


def criterion(**keys):
    plain = {
        "guideline": "Invented", "jurisdiction": "nowhere", "id": "invented", "title": "Invented value",
        "quantity": "laeq", "rule": "not exceeded", "over": "period", "where": "inside", "applies_to": "all",
        "note": "", "period": None, "level_db": 30.0, "bands_db": {}, "count_allowed": None,
        "single_night_ok": True, "source": SEEN,
    }  # fmt: skip
    return Criterion(**(plain | keys))


LEQ = criterion()
LMAX = criterion(quantity="lafmax", over="event", level_db=45.0)
COUNT = criterion(quantity="lafmax", over="event", level_db=45.0, rule="count", count_allowed=2)
HOUR = criterion(over="loudest full hour", period=("23:00", "07:00"), level_db=25.0)
BANDS = criterion(quantity="band_leq", level_db=None, bands_db={50.0: 43.0})


def assess(log, *criteria, u_db=2.0, window=WINDOW):
    return assess_log(
        log, window=window, criteria=criteria, event_settings=EventSettings(), expanded_uncertainty_db=u_db
    )


def value(stretch, quantity):
    figure = stretch.figure(quantity)
    assert figure.low_db == figure.high_db or math.isnan(figure.low_db)
    return figure.low_db


def words(found):
    return [verdict.word for verdict in found.verdicts]


# Figures.


def test_means_maxima_and_minima_follow_from_those_of_the_steps():
    # Half the night at 27 dB, half at 37 dB: 10 lg((10^2.7 + 10^3.7)/2) = 34.40 dB.
    steps = 480
    levels = np.where(np.arange(steps) % 2, 37.0, 27.0)
    found = assess(log_of(60.0, laeq=levels, lafmax=levels + 9, lafmin=levels - 4, lceq=levels + 10)).night
    assert value(found, "laeq") == pytest.approx(34.40, abs=0.005)
    assert value(found, "lceq") == pytest.approx(44.40, abs=0.005)
    assert value(found, "lafmax") == 46.0
    assert value(found, "lafmin") == 23.0
    assert found.figure("laeq").made_of == "LAeq of 1 min"
    assert found.complete
    assert found.figure("lcpeak") is None


def test_exceeded_levels_come_from_short_steps_and_say_what_they_are_made_of():
    levels = np.tile(np.arange(20.0, 30.0, 0.1), 288)
    found = assess(log_of(1.0, laeq=levels)).night
    assert value(found, "la90") == pytest.approx(np.percentile(levels, 10), abs=1e-4)
    assert found.figure("la90").made_of == "LAeq of 1 s"
    sampled = assess(log_of(1.0, laeq=levels, laf=levels + 1)).night
    assert value(sampled, "la90") == pytest.approx(np.percentile(levels, 10) + 1, abs=1e-4)
    assert sampled.figure("la90").made_of == "LAF read every 1 s"


def test_exceeded_levels_of_long_steps_bound_those_of_the_night():
    quarter = np.array([25.0, 22.0, 24.0, 29.0] * 8)
    found = assess(log_of(900.0, laeq=quarter + 3, la90=quarter))
    figure = found.night.figure("la90")
    assert (figure.low_db, figure.high_db) == (22.0, 29.0)
    assert "of each 15 min" in figure.made_of
    assert found.night.figure("la10") is None
    # One step is one quarter of an hour: there nothing is left open.
    assert [value(each, "la90") for each in found.quarter_hours[:4]] == [25.0, 22.0, 24.0, 29.0]
    assert any("between their lowest and highest" in sentence for sentence in found.not_known)


@settings(max_examples=40)
@given(st.lists(st.lists(st.floats(20, 60), min_size=30, max_size=30), min_size=1, max_size=8))
def test_the_bounds_of_an_exceeded_level_hold(steps):
    """Whatever the readings within the steps, LA90 of all lies between the least and the greatest LA90."""
    each = [float(np.percentile(readings, 10, method="inverted_cdf")) for readings in steps]
    whole = float(np.percentile(np.concatenate(steps), 10, method="inverted_cdf"))
    assert min(each) <= whole <= max(each)


def test_gaps_count_as_not_known():
    levels = np.full(480, 27.0)
    levels[:48] = np.nan
    found = assess(log_of(60.0, laeq=levels), LEQ)
    assert value(found.night, "laeq") == pytest.approx(27.0, abs=1e-4)
    assert found.night.figure("laeq").known_s == 432 * 60
    assert not found.night.complete
    assert words(found) == ["cannot tell"]
    assert "7.2 of 8 h recorded" in found.verdicts[0].reason


def test_each_quantity_has_gaps_of_its_own():
    gappy = np.full(480, 40.0)
    gappy[:240] = np.nan
    found = assess(log_of(60.0, laeq=np.full(480, 20.0), lafmax=gappy), LEQ, LMAX)
    assert words(found) == ["kept", "cannot tell"]


def test_a_column_without_a_level_is_no_column():
    log = log_of(60.0, laeq=np.full(480, 20.0), lafmax=np.full(480, np.nan))
    assert set(series_of_log(log)) == {"laeq"}
    assert "LAFmax was not measured" in assess(log, LMAX).verdicts[0].reason


# Clock intervals.


@pytest.mark.parametrize("step_s", [0.1, 1.0, 7.5, 60.0, 300.0, 900.0])
def test_the_night_is_cut_at_round_clock_times(step_s):
    found = assess(steady(step_s))
    assert (len(found.hours), len(found.quarter_hours)) == (8, 32)
    assert all(each.complete and each.seconds == 900 for each in found.quarter_hours)
    assert [each.start for each in found.hours] == [ELEVEN_PM + timedelta(hours=n) for n in range(8)]


def test_steps_that_do_not_fit_are_not_cut():
    shifted = log_of(900.0, start=ELEVEN_PM + timedelta(minutes=7), laeq=np.full(32, 27.0))
    found = assess(shifted, LEQ, HOUR)
    assert (found.hours, found.quarter_hours) == ((), ())
    assert any("do not fit into the hours" in sentence for sentence in found.not_known)
    assert found.verdicts[1].word == "cannot tell"
    # Only steps that lie in the window as a whole count: 31 from 23:07 to 06:52.
    assert found.night.figure("laeq").known_s == 31 * 900


@pytest.mark.parametrize(
    ("evening", "hours"),
    [(datetime(2025, 10, 25, 20, 0, tzinfo=UTC), 9), (datetime(2026, 3, 28, 21, 0, tzinfo=UTC), 7)],
)
def test_nights_of_clock_changes_have_the_hours_that_pass(evening, hours):
    log = log_of(60.0, start=evening, laeq=np.full(11 * 60, 20.0))
    found = assess(log, criterion(hours=8.0), HOUR)
    assert found.window_s == hours * 3600
    assert found.night.seconds == hours * 3600
    assert len(found.hours) == hours
    assert words(found) == ["kept", "kept"]


# Verdicts: the rules of a recording.


def test_a_log_is_judged_by_the_rules_of_a_recording(from_ticks):
    # The same levels as a recording of 125 ms ticks and as a log of 125 ms steps.
    rng = np.random.default_rng(11)
    levels = rng.normal(26, 1.5, 4 * 28_800).astype(np.float32)
    levels[100_000:100_040] = 50.0
    history = from_ticks(levels, start=ELEVEN_PM)
    log = log_of(0.125, laeq=levels, lafmax=levels, bands=dict.fromkeys(NOMINAL_HZ, levels))
    criteria = (LEQ, LMAX, COUNT, HOUR, BANDS)
    heard = judge(criteria, history, find_events(history), WINDOW, absolute=True, expanded_uncertainty_db=2.0)
    for logged, recorded in zip(assess(log, *criteria).verdicts, heard, strict=True):
        assert (logged.word, logged.reason, logged.count) == (recorded.word, recorded.reason, recorded.count)
        assert logged.measured_db == pytest.approx(recorded.measured_db, abs=1e-6, nan_ok=True)


def test_what_was_not_logged_gets_no_verdict():
    found = assess(steady(60.0, level_db=20.0), LEQ, LMAX, COUNT, HOUR, BANDS)
    assert words(found) == ["kept", "cannot tell", "cannot tell", "kept", "cannot tell"]
    for text in ("LAFmax, LCeq: not logged", "No third octaves were logged", "Single events cannot be told"):
        assert any(text in sentence for sentence in found.not_known)


@pytest.mark.parametrize(("lafmax", "word"), [(42.9, "kept"), (43.1, "cannot tell"), (60.0, "cannot tell")])
def test_long_steps_count_nothing(lafmax, word):
    found = assess(steady(60.0, lafmax=lafmax), COUNT)
    assert found.events is None
    assert words(found) == [word]
    assert found.verdicts[0].count is None


def test_one_loud_step_of_a_quarter_of_an_hour_exceeds_a_maximum():
    lafmax = np.full(32, 40.0)
    lafmax[13] = 55.0
    found = assess(log_of(900.0, laeq=np.full(32, 25.0), lafmax=lafmax), LMAX)
    assert words(found) == ["exceeded"]
    assert "55.0 dB at 02:15" in found.verdicts[0].reason


def test_without_a_known_uncertainty_nothing_is_judged():
    assert words(assess(steady(), LEQ, LMAX, u_db=math.nan)) == ["cannot tell", "cannot tell"]


def test_a_log_of_another_time_is_refused():
    noon = log_of(60.0, start=datetime(2026, 1, 14, 11, 0, tzinfo=UTC), laeq=np.full(60, 30.0))
    with pytest.raises(StartTimeError):
        assess(noon)


# Events.


@pytest.mark.parametrize("step_s", [0.1, 0.125, 0.2, 0.25, 0.5, 1.0])
def test_short_steps_tell_events(step_s):
    quiet = steady(step_s, hours=1.0)
    levels = quiet.columns["laeq"].copy()
    first, last = round(1800 / step_s), round(1810 / step_s)
    levels[first:last] = 50.0
    lafmax = levels + 2
    lafmax[first + 1] = 60.0
    found = assess(log_of(step_s, laeq=levels, lafmax=lafmax), LMAX)
    [event] = found.events
    assert event.start == ELEVEN_PM + timedelta(seconds=1800)
    assert event.duration_s == 10.0
    assert event.lafmax == pytest.approx(60.0, abs=1e-4)
    assert event.lae == pytest.approx(60.0, abs=1e-4)
    assert event.background_la90 == pytest.approx(27.0, abs=1e-4)
    assert math.isnan(event.lasmax)
    assert "whole steps" in found.events_made_of
    assert found.verdicts[0].count == 1


@pytest.mark.parametrize("step_s", [0.3, 1.5, 2.0, 60.0])
def test_other_steps_do_not(step_s):
    found = assess(steady(step_s, hours=1.0, lafmax=50.0))
    assert found.events is None
    assert found.events_made_of == ""
    assert any("Single events cannot be told apart" in sentence for sentence in found.not_known)


def test_events_without_lafmax_are_made_of_laeq_and_say_so():
    levels = np.full(3600, 27.0)
    levels[1800:1810] = 50.0
    found = assess(log_of(1.0, laeq=levels), LMAX)
    assert len(found.events) == 1
    assert "true maxima are higher" in found.events_made_of
    # Yet LAeq is no LAFmax: no verdict is made of it.
    assert "LAFmax was not measured" in found.verdicts[0].reason


def test_no_event_is_made_of_a_gap():
    levels = np.full(3600, 27.0)
    levels[1800:1900] = np.nan
    assert log_events(log_of(1.0, laeq=levels), EventSettings()) == ()
    assert log_events(log_of(1.0, lafmax=levels), EventSettings()) is None


@pytest.mark.parametrize("step_s", [1.0, 60.0, 300.0, 900.0])
def test_a_log_of_longer_steps_has_the_same_mean(step_s):
    levels = np.random.default_rng(14).uniform(20, 50, 8 * 3600).astype(np.float32)
    means = [energy_mean(part) for part in levels.reshape(-1, round(step_s))]
    assert value(assess(log_of(step_s, laeq=means)).night, "laeq") == pytest.approx(
        energy_mean(levels), abs=1e-4
    )


def test_local_zones_of_odd_offsets_are_cut_by_their_own_clock():
    window = NightWindow(start=WINDOW.start, end=WINDOW.end, zone=ZoneInfo("Asia/Kathmandu"))
    start = datetime(2026, 1, 14, 17, 15, tzinfo=UTC)  # 23:00 at UTC+5:45
    found = assess(log_of(60.0, start=start, laeq=np.full(480, 27.0)), window=window)
    assert [each.start.minute for each in found.hours] == [15] * 8
