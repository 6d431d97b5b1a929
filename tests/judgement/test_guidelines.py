"""What a night says to published values. All nights are invented: steady levels with single peaks."""

import math
import re
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.judgement.coverage import series_of
from sleepnoise.judgement.guidelines import Criterion, criteria_of, judge, judge_series
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow
from sleepnoise.profiles.files import read_guideline, shipped_profiles

VIENNA = ZoneInfo("Europe/Vienna")
TEN_PM = datetime(2025, 1, 10, 21, 0, tzinfo=UTC)  # 22:00 in Vienna
PUBLISHED = tomllib.loads(
    (Path(__file__).parents[1] / "published/night_noise_values.toml").read_text("utf-8")
)

WINDOW = NightWindow(start=time(23), end=time(7), zone=VIENNA)
SEEN = Source(document="An invented document", place="its only page", how_known="looked-up")


def recording(level_db=20.0, *, hours=10.0, start=TEN_PM, bands_hz=NOMINAL_HZ):
    """A history of one steady level; band levels are 10 dB above it."""
    ticks = round(hours * 28_800)
    rows = {
        name: np.full(ticks, level_db, dtype=np.float32)
        for name in ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    }
    return LevelHistory(
        start=start,
        sample_rate_hz=48_000.0,
        nominal_hz=bands_hz,
        bands=np.full((len(bands_hz), ticks), level_db + 10, dtype=np.float32),
        left_out=np.zeros(ticks, dtype=bool),
        **rows,
    )


def changed(history, name, first, last, value):
    """The same history with one row set to another value over a range of ticks."""
    row = getattr(history, name).copy()
    row[..., first:last] = value
    return replace(history, **{name: row})


def with_peaks(history, peaks_db, *, from_s=7200.0, apart_s=60.0):
    """The same history with one peak each minute, and an event around each."""
    events = []
    for number, peak_db in enumerate(peaks_db):
        tick = round(8 * (from_s + apart_s * number))
        for name in ("lafmax", "lasmax"):
            history = changed(history, name, tick, tick + 1, peak_db)
        events.append(event(history, tick - 4, tick + 8))
    return history, tuple(events)


def event(history, first_tick, last_tick):
    quiet = Spectrum(nominal_hz=(1000.0,), levels_db=np.array([0.0]))
    return Event(
        number=1,
        start=history.time_of(first_tick),
        duration_s=(last_tick - first_tick) / 8,
        first_tick=first_tick,
        last_tick=last_tick,
        lafmax=math.nan,
        lasmax=math.nan,
        lae=math.nan,
        lcpeak=math.nan,
        background_la90=math.nan,
        emergence_db=math.nan,
        max_spectrum=quiet,
        background_spectrum=quiet,
    )


def criterion(**keys):
    plain = {
        "guideline": "Invented", "jurisdiction": "nowhere", "id": "invented", "title": "Invented value",
        "quantity": "laeq", "rule": "not exceeded", "over": "period", "where": "inside", "applies_to": "all",
        "note": "", "period": None, "level_db": 30.0, "bands_db": {}, "count_allowed": None,
        "single_night_ok": True, "source": SEEN,
    }  # fmt: skip
    return Criterion(**(plain | keys))


def highest(level_db=45.0, **keys):
    return criterion(**{"quantity": "lafmax", "over": "event", "level_db": level_db} | keys)


def counted(allowed, level_db=45.0, **keys):
    return highest(level_db, rule="count", count_allowed=allowed, **keys)


def loudest_hour(**keys):
    return criterion(**{"over": "loudest full hour", "period": ("22:00", "06:00"), "level_db": 25.0} | keys)


def in_bands(bands_db, **keys):
    return criterion(quantity="band_leq", level_db=None, bands_db=bands_db, **keys)


def verdict(criterion, history, events=(), *, window=WINDOW, u_db=1.0, absolute=True):
    [found] = judge([criterion], history, events, window, absolute=absolute, expanded_uncertainty_db=u_db)
    return found


# The guard band: at, just below and just above the value and both of its edges.
AROUND = [
    (-math.inf, "kept"),
    (-5.0, "kept"),
    (-1.1, "kept"),
    (-1.0, "cannot tell"),
    (-0.9, "cannot tell"),
    (-0.1, "cannot tell"),
    (0.0, "cannot tell"),
    (0.1, "cannot tell"),
    (0.9, "cannot tell"),
    (1.0, "cannot tell"),
    (1.1, "exceeded"),
    (40.0, "exceeded"),
]


@pytest.mark.parametrize(("over_db", "word"), AROUND)
def test_an_equivalent_level_is_compared_with_a_guard_band(over_db, word):
    found = verdict(criterion(level_db=30.0), recording(30.0 + over_db))
    assert found.word == word
    assert found.measured_db == pytest.approx(30.0 + over_db, abs=1e-4)
    assert found.margin_db == pytest.approx(over_db, abs=1e-4)
    assert found.uncertainty_db == 1.0
    assert found.count is None


@pytest.mark.parametrize(("over_db", "word"), AROUND)
def test_the_highest_level_is_compared_with_a_guard_band(over_db, word):
    history, events = with_peaks(recording(-math.inf), [45.0 + over_db])
    found = verdict(highest(45.0), history, events)
    assert found.word == word
    assert found.margin_db == pytest.approx(over_db, abs=1e-4)
    assert found.count == (over_db > 0)


@pytest.mark.parametrize(("over_db", "word"), AROUND)
def test_the_loudest_full_hour_is_compared_with_a_guard_band(over_db, word):
    # One hour, 01:00 to 02:00, stands out; the rest is silent.
    history = changed(recording(-math.inf), "laeq", 3 * 28_800, 4 * 28_800, 25.0 + over_db)
    found = verdict(loudest_hour(), history)
    assert found.word == word
    assert found.margin_db == pytest.approx(over_db, abs=1e-4)
    assert over_db == -math.inf or "from 01:00" in found.reason


@pytest.mark.parametrize(("over_db", "word"), AROUND)
def test_the_worst_band_is_compared_with_a_guard_band(over_db, word):
    history = changed(recording(20.0), "bands", 0, None, -math.inf)
    history = changed(
        history, "bands", 0, None, np.where(np.array(NOMINAL_HZ) == 50, 43 + over_db, -math.inf)[:, None]
    )
    found = verdict(in_bands({40.0: 49.0, 50.0: 43.0}), history)
    assert found.word == word
    assert found.margin_db == pytest.approx(over_db, abs=1e-4)
    assert over_db == -math.inf or "third octave 50 Hz" in found.reason


@pytest.mark.parametrize(("over_db", "word"), AROUND)
def test_the_first_event_beyond_the_allowed_number_decides_a_count(over_db, word):
    history, events = with_peaks(recording(), [60.0, 60.0, 45.0 + over_db])
    assert verdict(counted(2), history, events).word == word


def test_the_edge_of_the_guard_band_belongs_to_it_whatever_the_rounding_of_levels():
    for tenth in range(1, 40):
        u_db = tenth / 10
        assert verdict(criterion(), recording(30 + u_db, hours=9), u_db=u_db).word == "cannot tell"
        assert verdict(criterion(), recording(30 - u_db, hours=9), u_db=u_db).word == "cannot tell"


@given(level_db=st.floats(0, 60), more_db=st.floats(0, 20), u_db=st.floats(0, 5), wider_db=st.floats(0, 5))
def test_louder_is_never_better_and_more_uncertainty_never_surer(level_db, more_db, u_db, wider_db):
    window = NightWindow(start=time(23), end=time(23, 3), zone=VIENNA)
    quiet = recording(level_db, hours=0.05, start=TEN_PM + timedelta(hours=1))
    loud = recording(level_db + more_db, hours=0.05, start=TEN_PM + timedelta(hours=1))
    rank = ["kept", "cannot tell", "exceeded"].index
    before = verdict(criterion(), quiet, window=window, u_db=u_db).word
    assert rank(verdict(criterion(), loud, window=window, u_db=u_db).word) >= rank(before)
    assert verdict(criterion(), quiet, window=window, u_db=u_db + wider_db).word in (before, "cannot tell")


# Counting.


@pytest.mark.parametrize(
    ("peaks_db", "word", "count"),
    [
        ([], "kept", 0),
        ([46.5] * 10, "kept", 10),
        ([46.5] * 10 + [43.9] * 9, "kept", 10),
        ([46.5] * 10 + [44.0], "cannot tell", 10),
        ([46.5] * 10 + [46.0], "cannot tell", 11),
        ([46.5] * 11, "exceeded", 11),
        ([45.5] * 11, "cannot tell", 11),
        ([46.5] * 40, "exceeded", 40),
    ],
)
def test_a_count_is_exceeded_by_sure_events_and_kept_by_possible_ones(peaks_db, word, count):
    history, events = with_peaks(recording(), peaks_db)
    found = verdict(counted(10), history, events)
    assert (found.word, found.count) == (word, count)


def test_a_count_says_how_many_events_are_sure_and_how_many_possible():
    """U = 1 dB about 45 dB: 47 lies above it for sure, 45.5 and 44.5 may, 43.5 does not."""
    history, events = with_peaks(recording(), [47.0, 45.5, 44.5, 43.5])
    found = verdict(counted(1), history, events)
    assert "There were 2 events above 45 dB, 1 to 3 within the uncertainty" in found.reason


@pytest.mark.parametrize(
    ("number", "word"), [(10, "kept"), (11, "cannot tell"), (15, "cannot tell"), (16, "exceeded")]
)
def test_a_count_that_the_document_gives_as_a_range_is_left_open_within_it(number, word):
    history, events = with_peaks(recording(), [50.0] * number)
    found = verdict(counted(10, count_allowed_upper=15), history, events)
    assert found.word == word
    assert "10 to 15 a night" in found.reason
    assert ("leaves open" in found.reason) == (word == "cannot tell")


@pytest.mark.parametrize(
    ("number", "said"), [(0, "There were no events"), (1, "There was 1 event "), (2, "There were 2 events")]
)
def test_events_are_counted_in_words_that_fit_their_number(number, said):
    history, events = with_peaks(recording(), [50.0] * number)
    assert verdict(counted(3), history, events).reason.startswith(said)


def test_a_count_without_an_event_beyond_the_allowed_number_has_nothing_to_compare():
    history, events = with_peaks(recording(), [50.0] * 3)
    found = verdict(counted(3), history, events)
    assert found.word == "kept"
    assert math.isnan(found.measured_db)
    assert math.isnan(found.margin_db)


def test_an_event_counts_by_what_it_reaches_within_the_period():
    history = recording()
    edge = 28_800  # 23:00
    history = changed(history, "lafmax", edge - 8, edge - 7, 60.0)
    history = changed(history, "lafmax", edge + 8, edge + 9, 50.0)
    both = event(history, edge - 16, edge + 16)
    before = event(history, edge - 16, edge)
    assert verdict(counted(0, 45.0), history, [both]).word == "exceeded"
    assert verdict(counted(0, 55.0), history, [both]).word == "kept"
    assert verdict(counted(0, 45.0), history, [before]).word == "kept"


# Periods.


def test_what_lies_outside_the_window_is_not_compared():
    history = changed(recording(20.0), "laeq", 0, 28_800, 80.0)  # 22:00 to 23:00
    history = changed(history, "laeq", 9 * 28_800, None, 80.0)  # 07:00 to 08:00
    assert verdict(criterion(), history).word == "kept"
    for hour in (1, 8):
        inside = changed(history, "laeq", hour * 28_800, (hour + 1) * 28_800, 80.0)
        assert verdict(criterion(), inside).word == "exceeded"


def test_a_criterion_with_clock_times_of_its_own_ignores_the_users_window():
    history = changed(recording(20.0), "laeq", 0, 28_800, 80.0)  # 22:00 to 23:00
    assert verdict(criterion(period=("22:00", "06:00")), history).word == "exceeded"


@pytest.mark.parametrize(
    ("start", "hours"),
    [
        (datetime(2025, 3, 29, 22, 0, tzinfo=UTC), 7),  # 23:00 to 07:00, clocks go forward
        (datetime(2025, 10, 25, 21, 0, tzinfo=UTC), 9),  # clocks go back
    ],
)
def test_the_night_of_a_clock_change_is_whole_when_all_of_it_was_recorded(start, hours):
    found = verdict(criterion(hours=8.0), recording(20.0, start=start, hours=hours))
    assert found.word == "kept"
    assert f"over {hours} h" in found.reason
    assert (
        f"{hours - 1} of {hours} h recorded"
        in verdict(criterion(hours=8.0), recording(20.0, start=start, hours=hours - 1)).reason
    )


@pytest.mark.parametrize(
    ("start", "hours"),
    [(datetime(2025, 3, 29, 21, 0, tzinfo=UTC), 7), (datetime(2025, 10, 25, 20, 0, tzinfo=UTC), 9)],
)
def test_the_full_hours_of_a_clock_change_are_those_that_pass(start, hours):
    assert verdict(loudest_hour(), recording(20.0, start=start, hours=hours)).word == "kept"
    short = verdict(loudest_hour(), recording(20.0, start=start, hours=hours - 1))
    assert short.word == "cannot tell"
    assert f"{hours - 1} of {hours} full hours" in short.reason


def test_full_hours_follow_the_local_clock_where_offsets_are_odd():
    kathmandu = NightWindow(start=time(22, 30), end=time(6), zone=ZoneInfo("Asia/Kathmandu"))
    history = recording(20.0, start=datetime(2025, 1, 10, 16, 45, tzinfo=UTC), hours=7.5)  # 22:30 at UTC+5:45
    # 23:00 to 24:00 on the clock, in ticks after 22:30.
    history = changed(history, "laeq", 14_400, 43_200, 40.0)
    found = verdict(loudest_hour(period=None), history, window=kathmandu)
    assert found.measured_db == pytest.approx(40.0, abs=1e-4)
    assert "from 23:00" in found.reason


def test_a_loud_stretch_across_two_full_hours_is_shared_between_them():
    # 01:30 to 02:30 at 28 dB, silence around: 25.0 dB in each of two full hours (energy halves, -3.01 dB).
    history = changed(recording(-math.inf), "laeq", 7 * 14_400, 9 * 14_400, 28.0)
    assert verdict(loudest_hour(), history).measured_db == pytest.approx(24.99, abs=0.005)


# Parts that were not recorded.


def test_a_missing_twentieth_takes_nothing_off_a_level_that_is_exceeded():
    """96 % of the night lie 1.1 dB above the value, with U = 1 dB: the rest may have been silent."""
    history = recording(31.1, hours=8 * 0.96, start=TEN_PM + timedelta(hours=1))
    assert verdict(criterion(), history).word == "exceeded"


def test_half_a_night_keeps_nothing():
    found = verdict(criterion(), recording(20.0, hours=5))  # 23:00 to 03:00
    assert found.word == "cannot tell"
    assert "4 of 8 h recorded" in found.reason
    assert found.measured_db == pytest.approx(20.0, abs=1e-4)


@pytest.mark.parametrize(("level_db", "word"), [(33.9, "cannot tell"), (34.1, "exceeded")])
def test_half_a_night_exceeds_if_it_would_with_the_rest_silent(level_db, word):
    # Half the time: 10 lg(4/8) = -3.01 dB, so 30 dB + 1 dB is reached at 34.01 dB.
    found = verdict(criterion(), recording(level_db, hours=5))
    assert found.word == word
    assert f"{level_db - 3:.1f} dB over all of it were the rest silent" in found.reason


@pytest.mark.parametrize(("missing", "word"), [(0.049, "kept"), (0.051, "cannot tell")])
def test_a_twentieth_of_the_period_may_be_missing(missing, word):
    ticks = round(missing * 8 * 28_800)
    history = recording(20.0)
    assert verdict(criterion(), changed(history, "left_out", 100_000, 100_000 + ticks, True)).word == word
    assert verdict(criterion(), changed(history, "laeq", 100_000, 100_000 + ticks, math.nan)).word == word
    assert verdict(criterion(), recording(20.0, hours=9 - 8 * missing)).word == word
    assert verdict(highest(), changed(history, "lafmax", 100_000, 100_000 + ticks, math.nan)).word == word


def test_ticks_that_are_left_out_or_not_known_do_not_speak():
    loud = changed(recording(20.0), "laeq", 100_000, 100_800, 90.0)
    loud = changed(loud, "lafmax", 100_000, 100_800, 90.0)
    silenced = changed(loud, "left_out", 100_000, 100_800, True)
    for each in (criterion(), highest(), counted(0)):
        events = [event(loud, 100_000, 100_800)]
        assert verdict(each, loud, events).word == "exceeded"
        assert verdict(each, silenced, events).word == "kept"
    assert verdict(counted(0), silenced, [event(loud, 100_000, 100_800)]).count == 0


def test_one_loud_event_exceeds_even_if_little_was_recorded():
    history, events = with_peaks(recording(20.0, hours=2.0), [60.0], from_s=5000)
    assert verdict(highest(), history, events).word == "exceeded"
    assert verdict(counted(0), history, events).word == "exceeded"
    assert verdict(counted(1), history, events).word == "cannot tell"
    assert verdict(highest(65.0), history, events).word == "cannot tell"


def test_a_loud_hour_exceeds_even_if_other_hours_are_missing():
    history = changed(recording(20.0, hours=4.5), "laeq", 28_800, 57_600, 40.0)
    assert verdict(loudest_hour(), history).word == "exceeded"
    found = verdict(loudest_hour(), recording(20.0, hours=4.5))
    assert found.word == "cannot tell"
    assert "4 of 8 full hours" in found.reason


@pytest.mark.parametrize(
    "each", [criterion(), highest(), counted(3), loudest_hour(period=None), in_bands({50.0: 43.0})]
)
def test_a_recording_that_misses_the_period_tells_nothing(each):
    noon = recording(60.0, hours=1, start=datetime(2025, 1, 10, 12, 0, tzinfo=UTC))
    found = verdict(each, noon, [event(noon, 0, 100)])
    assert found.word == "cannot tell"
    assert " 0 of " in found.reason


def test_a_recording_of_which_nothing_is_known_tells_nothing():
    unknown = changed(recording(), "laeq", 0, None, math.nan)
    for each in (criterion(), highest(), loudest_hour()):
        found = verdict(each, unknown)
        assert found.word == "cannot tell"
        assert math.isnan(found.measured_db)


@pytest.mark.parametrize(
    ("level_db", "word"), [(20.0, "cannot tell"), (38.9, "cannot tell"), (41.0, "exceeded")]
)
def test_a_window_shorter_than_the_value_is_for_is_part_of_it(level_db, word):
    # 04:00 to 05:00 as a part of 8 h: 10 lg(1/8) = -9.03 dB, so 31 dB is reached at 40.03 dB.
    hour = NightWindow(start=time(4), end=time(5), zone=VIENNA)
    found = verdict(criterion(hours=8.0), recording(level_db), window=hour)
    assert found.word == word
    assert "1 of 8 h" in found.reason
    assert verdict(criterion(), recording(20.0), window=hour).word == "kept"


# Bands.


def test_bands_may_have_a_margin_of_their_own():
    history = recording(20.0)  # bands at 30 dB
    two = [criterion(level_db=22.0), in_bands({50.0: 35.0})]
    common = judge(two, history, (), WINDOW, absolute=True, expanded_uncertainty_db=1.0)
    own = judge(two, history, (), WINDOW, absolute=True, expanded_uncertainty_db=1.0, band_uncertainty_db=6.0)
    assert [each.word for each in common] == ["kept", "kept"]
    assert [each.word for each in own] == ["kept", "cannot tell"]
    assert [each.uncertainty_db for each in own] == [1.0, 6.0]
    assert "uncertainty of 6.0 dB" in own[1].reason


def test_a_criterion_for_bands_has_no_single_value():
    with pytest.raises(ValueError, match="a value for each band, no single one"):
        _ = in_bands({50.0: 40.0}).value_db


def test_one_band_above_its_value_is_enough():
    shape = np.full((len(NOMINAL_HZ), 1), 20.0)
    shape[NOMINAL_HZ.index(63.0)] = 44.0
    found = verdict(
        in_bands({31.5: 56.0, 63.0: 41.5, 200.0: 32.0}), changed(recording(), "bands", 0, None, shape)
    )
    assert found.word == "exceeded"
    assert found.margin_db == pytest.approx(2.5, abs=1e-4)
    assert "third octave 63 Hz, 44.0 dB" in found.reason


def test_a_band_that_was_not_measured_can_be_no_reason_for_kept():
    history = recording(bands_hz=tuple(hz for hz in NOMINAL_HZ if hz > 40))
    found = verdict(in_bands({40.0: 49.0, 50.0: 43.0}), history)
    assert found.word == "cannot tell"
    assert "1 of 2 bands not measured" in found.reason
    assert verdict(in_bands({40.0: 49.0, 50.0: 20.0}), history).word == "exceeded"
    nothing = verdict(in_bands({31.5: 49.0}), history)
    assert nothing.word == "cannot tell"
    assert math.isnan(nothing.measured_db)


def test_bands_of_half_a_night_exceed_if_they_would_with_the_rest_silent():
    # Band levels lie 10 dB above the level: 43 + 1 + 3.01 dB is reached at 37.01.
    assert verdict(in_bands({50.0: 43.0}), recording(37.1, hours=5)).word == "exceeded"
    assert verdict(in_bands({50.0: 43.0}), recording(36.9, hours=5)).word == "cannot tell"
    assert verdict(in_bands({50.0: 43.0}), recording(20.0, hours=5)).word == "cannot tell"


# What is never judged.


@pytest.mark.parametrize(
    "each", [criterion(), highest(), counted(1), loudest_hour(), criterion(where="outside")]
)
def test_without_calibration_nothing_is_told(each):
    history, events = with_peaks(recording(80.0), [90.0, 90.0])
    for lacking in (
        {"absolute": False, "u_db": 1.0},
        {"absolute": False, "u_db": math.nan},
        {"u_db": math.nan},
    ):
        found = verdict(each, history, events, **lacking)
        assert found.word == "cannot tell"
        assert "calibration" in found.reason
        assert math.isnan(found.measured_db)
        assert math.isnan(found.margin_db)
        assert found.count is None


@pytest.mark.parametrize("how_known", ["memory", "assumption"])
@pytest.mark.parametrize("level_db", [0.0, 80.0])
def test_a_value_that_nobody_looked_up_is_shown_and_called_unverified(how_known, level_db):
    found = verdict(criterion(source=replace(SEEN, how_known=how_known)), recording(level_db))
    assert found.word == "shown only"
    assert "unverified" in found.reason.lower()
    assert how_known in found.reason
    assert found.measured_db == pytest.approx(level_db, abs=1e-4)


def test_an_effect_threshold_is_shown_with_the_events_above_it():
    history, events = with_peaks(recording(), [50.0, 41.0, 60.0])
    found = verdict(highest(42.0, quantity="lasmax", rule="effect begins"), history, events)
    assert found.word == "shown only"
    assert found.count == 2
    assert "2 events above 42 dB" in found.reason
    assert "highest LASmax 60.0 dB at 00:02" in found.reason


def test_a_value_for_outside_is_never_compared_with_the_room():
    found = verdict(criterion(where="outside", single_night_ok=False), recording(80.0))
    assert found.word == "shown only"
    assert "outside" in found.reason
    assert math.isnan(found.measured_db)
    assert found.count is None


def test_a_value_for_many_nights_gives_one_night_no_verdict():
    assert verdict(criterion(single_night_ok=False), recording(80.0)).word == "shown only"


def test_a_value_that_needs_a_listener_is_shown_with_the_reason():
    found = verdict(criterion(no_verdict_because="a listener has to decide"), recording(80.0, hours=5))
    assert found.word == "shown only"
    assert found.reason.startswith("A listener has to decide; LAeq 80.0 dB")
    assert "4 of 8 h recorded" in found.reason


@pytest.mark.parametrize("level_db", [-math.inf, 20.0, 30.0, 60.0])
@pytest.mark.parametrize("name", PUBLISHED)
def test_every_reason_is_one_sentence_without_traces_of_arithmetic(name, level_db):
    history, events = with_peaks(recording(level_db), [50.0] * 12)
    verdicts = judge(
        criteria_of(read_guideline(name)), history, events, WINDOW, absolute=True, expanded_uncertainty_db=1.2
    )
    for found in verdicts:
        assert found.reason[0].isupper()
        assert found.reason.endswith(".")
        assert not found.reason.endswith("..")
        assert not re.search(r"\b(nan|inf|None)\b|[{}]|  |\d\.\d\d", found.reason)


# The shipped guidelines.


@pytest.mark.parametrize("name", PUBLISHED)
def test_shipped_values_agree_with_the_documents(name):
    published = PUBLISHED[name]
    criteria = criteria_of(read_guideline(name))
    assert {each.id: each.level_db for each in criteria if each.level_db is not None} == published[
        "values_db"
    ]
    bands = {each.id: each.bands_db for each in criteria if each.bands_db}
    assert bands == {name: pairs(table) for name, table in published.get("bands", {}).items()}
    sums = {
        each.id: each.thresholds_db
        for each in criteria
        if max(each.thresholds_db.values(), default=-math.inf) > -math.inf
    }
    assert sums == {name: pairs(table) for name, table in published.get("thresholds", {}).items()}
    counts = {each.id: [each.count_allowed, each.most_allowed] for each in criteria if each.rule == "count"}
    assert counts == published.get("counts", {})
    above = {each.id: each.applies_above_db for each in criteria if each.applies_above_db is not None}
    assert above == published.get("applies_above_db", {})
    [terms] = {each.duration_terms for each in criteria if each.duration_terms} or {()}
    assert [list(term) for term in terms] == published.get("minutes_and_db", [])


def pairs(table):
    return dict(zip(table["hz"], table["db"], strict=True))


@pytest.mark.parametrize("name", PUBLISHED)
def test_shipped_guidelines_are_judged_only_if_what_decides_them_was_seen(name):
    criteria = criteria_of(read_guideline(name))
    if PUBLISHED[name]["how_known"] == "looked-up":
        assert all(each.source.verified for each in criteria)
    else:
        assert not any(each.source.verified and each.where == "inside" for each in criteria)


def test_every_shipped_guideline_is_checked_against_its_document():
    assert {entry.name for entry in shipped_profiles("guideline")} == set(PUBLISHED)


def test_every_shipped_guideline_says_where_and_which_edition():
    for name in PUBLISHED:
        profile = read_guideline(name)
        assert profile.edition
        assert profile.status


def test_what_is_permitted_over_the_underlying_level_meets_the_value_for_quiet_rooms():
    # 34 dB(A) up to an underlying 24 dB(A), and 31 up to 21, are 10 dB over it at the edge.
    for name, underlying_db in (("noise-act-1996", 24), ("ssi-2005-43", 21)):
        [each] = criteria_of(read_guideline(name))
        assert each.value_db == underlying_db + each.excess_db


def test_the_italian_waiver_depends_on_the_windows():
    [each] = criteria_of(read_guideline("it-dpcm-14-11-1997"))
    assert (each.applies_above_db, each.applies_above_open_db) == (25, 40)


def test_criteria_carry_their_profile_and_source():
    first = criteria_of(read_guideline("who-1999-bedroom"))[0]
    assert first.guideline.startswith("WHO 1999")
    assert "recommendation" in first.jurisdiction
    assert first.source.verified
    assert first.hours == 8


def test_a_loud_and_a_quiet_night_against_all_shipped_guidelines():
    words = {}
    for night, (level_db, peaks_db) in {"quiet": (15.0, []), "loud": (45.0, [60.0] * 20)}.items():
        history, events = with_peaks(recording(level_db), peaks_db)
        for name in PUBLISHED:
            for found in judge(
                criteria_of(read_guideline(name)),
                history,
                events,
                WINDOW,
                absolute=True,
                expanded_uncertainty_db=1.0,
            ):
                words.setdefault(found.criterion.id, {})[night] = found.word
    shown = {"quiet": "shown only", "loud": "shown only"}
    unsaid = {"quiet": "kept", "loud": "cannot tell"}
    expected = dict.fromkeys(words, shown)
    expected |= {key: {"quiet": "kept", "loud": "exceeded"} for key in FOR_EVERYTHING}
    # Made for one kind of source, for closed windows or for a listener's ear: nobody said so.
    expected |= {key: unsaid for key in FOR_SOME}
    # What tones and impulses add, or what the source adds, was not said either.
    never = ["ta_laerm_inside_loudest_hour", "fr_r1336_7_emergence", "fr_r1336_8_emergence_octaves"]
    expected |= {
        key: {"quiet": "cannot tell", "loud": "cannot tell"} for key in (*never, "it_differential_night")
    }
    assert words == expected


FOR_EVERYTHING = ["who1999_bedroom_laeq", "who1999_bedroom_lafmax", "who1999_bedroom_lafmax_count"]
FOR_SOME = [
    "bs8233_bedroom_laeq", "fohmfs_laeq", "fohmfs_laeq_tonal", "fohmfs_lafmax", "fohmfs_low_frequency",
    "ta_laerm_inside_peaks", "din4109_5_services", "dk_low_frequency_night", "fi_993_1992_inside",
    "nsw_sepp_bedroom", "jp_indoor_trunk_road",
]  # fmt: skip


# Levels that somebody else measured: not all quantities, and no events.


def judged_without(criterion, history, *, lacking=(), events=None):
    series = {name: each for name, each in series_of(history).items() if name not in lacking}
    [found] = judge_series([criterion], series, events, WINDOW, absolute=True, expanded_uncertainty_db=1.0)
    return found


@pytest.mark.parametrize(
    ("each", "what"),
    [
        (criterion(), "LAeq was not measured"),
        (highest(), "LAFmax was not measured"),
        (counted(3), "LAFmax was not measured"),
        (loudest_hour(), "LAeq was not measured"),
        (in_bands({50.0: 43.0}), "Third octaves were not measured"),
    ],
)
def test_what_was_not_measured_is_not_judged(each, what):
    found = judged_without(each, recording(80.0), lacking=("laeq", "lafmax", "lasmax", "band_leq"))
    assert found.word == "cannot tell"
    assert found.reason.startswith(what)
    assert math.isnan(found.measured_db)


@pytest.mark.parametrize(("peak_db", "word"), [(43.9, "kept"), (44.1, "cannot tell"), (70.0, "cannot tell")])
def test_a_rule_that_counts_is_kept_without_a_count_only_if_nothing_comes_near(peak_db, word):
    history, _ = with_peaks(recording(20.0), [peak_db])
    found = judged_without(counted(10), history)
    assert found.word == word
    assert found.count is None
    assert ("told apart" in found.reason) == (word != "kept")


def test_the_highest_level_needs_no_count():
    history, _ = with_peaks(recording(20.0), [60.0])
    found = judged_without(highest(), history)
    assert found.word == "exceeded"
    assert "event" not in found.reason
    assert judged_without(highest(), history, events=()).count == 0
