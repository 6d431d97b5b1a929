from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.errors import StartTimeError
from sleepnoise.recording.clock import (
    MOST_DRIFT_PPM,
    READING_S,
    ClockCorrection,
    ClockReading,
    span_text,
    zone_named,
)

VIENNA = ZoneInfo("Europe/Vienna")
EVENING = datetime(2026, 1, 14, 22, 0, 0)  # what the recorder wrote


def correction(*texts, near=EVENING, zone=VIENNA):
    return ClockCorrection.from_readings([ClockReading.parse(text) for text in texts], zone, near)


def refused(*texts):
    with pytest.raises(StartTimeError, match="recorder clock") as caught:
        correction(*texts)
    assert caught.value.remedy
    return caught.value


def utc(*numbers):
    return datetime(*numbers, tzinfo=UTC)


# One reading: an offset


def test_a_clock_ninety_seconds_slow_is_put_right():
    found = correction("2026-01-14T22:58:30=2026-01-14T23:00:00")
    assert found.corrected(EVENING) == utc(2026, 1, 14, 21, 1, 30)
    assert found.slow == timedelta(seconds=90)
    assert found.text == "recorder clock 1 min 30 s slow"


@pytest.mark.parametrize(
    ("text", "shift_s"),
    [
        ("22:58:30=23:00:00", 90),
        ("23:00:00=22:58:30", -90),
        ("23:59:50=00:00:10", 20),
        ("00:00:10=23:59:50", -20),
        ("23:00:00=23:00:00", 0),
        ("22:58:30.5=23:00:00", 89.5),
    ],
)
def test_without_dates_the_shorter_way_round_midnight_is_meant(text, shift_s):
    assert correction(text).corrected(EVENING) == utc(2026, 1, 14, 21) + timedelta(seconds=shift_s)


def test_a_reading_without_a_date_may_be_of_the_morning_after():
    found = correction("06:58:30=07:00:00", near=datetime(2026, 1, 14, 23, 30))
    assert found.true == utc(2026, 1, 15, 6)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("23:00:00=22:59:55.5", "4.5 s fast"),
        ("23:00:00=23:00:00", "right"),
        ("2026-01-01T00:00:00=2026-01-14T22:00:00", "13 d 22 h 0 min 0 s slow"),
    ],
)
def test_the_offset_is_told_to_people(text, told):
    assert correction(text).text == f"recorder clock {told}"


def test_a_clock_that_shows_utc_needs_no_word_about_it():
    assert correction("22:00:05=23:00:00", near=datetime(2026, 1, 14, 21)).corrected(
        datetime(2026, 1, 14, 21, 0, 5)
    ) == utc(2026, 1, 14, 21)


def test_offsets_from_utc_are_understood_on_both_sides():
    one = correction("2026-01-14T21:58:30Z=2026-01-14T23:00:00")
    other = correction("2026-01-14T22:58:30=2026-01-14T22:00:00+00:00")
    assert one == other
    assert one.corrected(utc(2026, 1, 14, 21)) == one.corrected(EVENING) == utc(2026, 1, 14, 21, 1, 30)


def test_a_clock_left_on_summer_time_is_put_right_by_a_reading_in_summer():
    # Read at 18:00 on the eve of the change; the recorder then shows 23:30 when it is 22:30 winter time.
    found = correction("2026-10-24T18:00:00=2026-10-24T18:00:00", near=datetime(2026, 10, 25, 23, 30))
    assert found.corrected(datetime(2026, 10, 25, 23, 30)) == utc(2026, 10, 25, 21, 30)


def test_the_uncertainty_grows_with_the_time_since_the_reading():
    found = correction("2026-01-14T22:00:00=2026-01-14T22:00:00")
    assert found.uncertainty_s(EVENING) == READING_S
    # 20 ppm of ten days are 17.28 s.
    assert found.uncertainty_s(EVENING + timedelta(days=10)) == pytest.approx(17.29, abs=0.01)


# Two readings: offset and drift


def test_two_readings_give_offset_and_drift():
    # 100 ppm fast over 10 h: 3.6 s gained. Halfway, half of it.
    found = correction("2026-01-14T21:00:00=2026-01-14T21:00:10", "2026-01-15T07:00:03.6=2026-01-15T07:00:10")
    assert found.drift_ppm == pytest.approx(100.0, abs=1e-6)
    assert found.corrected(datetime(2026, 1, 15, 2, 0, 1, 800_000)) == utc(2026, 1, 15, 1, 0, 10)
    assert found.text == "recorder clock 10 s slow at first and running +100 ppm"


@given(
    st.floats(-MOST_DRIFT_PPM + 1, MOST_DRIFT_PPM - 1),
    st.integers(-40_000, 40_000),
    st.integers(5 * 3600, 80 * 3600),
    st.floats(-1, 2),
)
def test_any_clock_with_offset_and_drift_is_put_right(drift_ppm, offset_s, span_s, share):
    begin = utc(2026, 1, 14, 21)

    def shown(true):
        elapsed = (true - begin) * (1 + drift_ppm * 1e-6)
        return datetime(2026, 1, 14, 22) - timedelta(seconds=offset_s) + elapsed

    end, moment = (begin + timedelta(seconds=seconds) for seconds in (span_s, share * span_s))
    readings = [ClockReading(shown=shown(true), true=true) for true in (end, begin)]
    found = ClockCorrection.from_readings(readings, VIENNA, EVENING)
    # Microseconds of rounding, in one reading of 18 000 s or more and stretched at most threefold.
    assert abs(found.corrected(shown(moment)) - moment) <= timedelta(microseconds=10)
    assert found.drift_ppm == pytest.approx(drift_ppm, abs=1e-3)


def test_between_two_readings_the_time_is_known_better_than_from_either():
    found = correction("2026-01-14T21:00:00=2026-01-14T21:00:00", "2026-01-15T07:00:00=2026-01-15T07:00:00")
    assert found.uncertainty_s(datetime(2026, 1, 15, 2)) == pytest.approx(READING_S / 2**0.5)
    assert found.uncertainty_s(datetime(2026, 1, 14, 21)) == READING_S
    assert found.uncertainty_s(datetime(2026, 1, 15, 17)) == pytest.approx(READING_S * 5**0.5)


def test_a_night_of_nine_hours_is_no_drift():
    found = correction("2026-10-24T22:00:00=2026-10-24T22:00:00", "2026-10-25T08:00:01=2026-10-25T07:00:01")
    assert found.drift_ppm == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("gained_s", "drift_ppm"), [(6, "\\+208"), (-6, "\N{MINUS SIGN}208"), (3600, "\\+125000")]
)
def test_more_drift_than_any_clock_has_is_refused(gained_s, drift_ppm):
    shown = datetime(2026, 1, 15, 6) + timedelta(seconds=gained_s)
    with pytest.raises(StartTimeError, match=f"200 ppm .* {drift_ppm} ppm"):
        correction("2026-01-14T22:00:00=2026-01-14T22:00:00", f"{shown.isoformat()}=2026-01-15T06:00:00")


# Refused


@pytest.mark.parametrize(
    "text",
    [
        "",
        "=",
        "23:00:00",
        "23:00=23:00",
        "23:00:00=2026-01-14T23:00:00",
        "2026-01-14T23:00:00=23:00:00",
        "23:00:00Z=23:00:00",
        "a=b",
        "1=2=3",
        "２3:00:00=23:00:00",
    ],
)
def test_what_is_no_pair_of_times_is_refused_and_the_remedy_shows_one(text):
    error = refused(text)
    assert "SHOWN=TRUE is needed" in error.complaint
    assert "--clock 22:58:30=23:00:00" in error.remedy


@pytest.mark.parametrize("text", ["25:00:00=23:00:00", "2026-02-30T23:00:00=2026-03-01T23:00:00"])
def test_times_that_do_not_exist_are_refused(text):
    assert "no such date or time" in refused(text).complaint


def test_a_clock_that_was_never_set_is_a_matter_for_start():
    error = refused("1970-01-01T00:00:10=2026-01-14T23:00:00")
    assert "1990 to 2099" in error.complaint
    assert "--start" in error.remedy


def test_a_true_time_that_came_twice_is_refused_with_both_offsets():
    error = refused("2026-10-25T02:30:00=2026-10-25T02:30:00")
    assert "the true time 2026-10-25 02:30:00 happened twice" in error.complaint
    assert "2026-10-25T02:30:00+02:00 or 2026-10-25T02:30:00+01:00" in error.remedy


def test_readings_must_be_hours_apart_dated_and_at_most_two():
    late = "2026-01-14T23:00:00=2026-01-14T23:00:00"
    assert "4 h apart" in refused(late, "2026-01-15T02:59:59=2026-01-15T02:59:59").complaint
    assert "need dates" in refused("22:00:00=22:00:00", "07:00:00=07:00:00").complaint
    assert "got 3" in refused(late, late, late).complaint


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (0.04, "0 s"),
        (59.96, "1 min 0 s"),
        (-3600, "1 h 0 min 0 s"),
        (90_061.5, "1 d 1 h 1 min 1.5 s"),
    ],
)
def test_lengths_of_time_are_told_in_the_units_that_they_need(seconds, text):
    assert span_text(timedelta(seconds=seconds)) == text


def test_a_zone_name_as_deep_as_a_shell_allows_is_refused_shortly():
    with pytest.raises(StartTimeError, match="must be an IANA name") as caught:
        zone_named("Europe/Vienna" * 2000, "night")
    assert len(caught.value.complaint) < 200
    assert caught.value.remedy
