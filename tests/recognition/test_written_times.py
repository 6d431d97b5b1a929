"""Written times: the morning after midnight, clocks that change, dates that can be read two ways."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.errors import StartTimeError
from sleepnoise.recognition.written_times import RecordedNight

VIENNA = ZoneInfo("Europe/Vienna")


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


def night(start, end):
    return RecordedNight(start=start, end=end, zone=VIENNA)


AUTUMN = night(utc(2025, 10, 25, 20), utc(2025, 10, 26, 6))  # 03:00 became 02:00 at 01:00 UTC
SPRING = night(utc(2026, 3, 28, 21), utc(2026, 3, 29, 5))  # 02:00 became 03:00 at 01:00 UTC


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("23:15", utc(2026, 2, 10, 22, 15)),
        ("02:13:05", utc(2026, 2, 11, 1, 13, 5)),
        ("2.13", utc(2026, 2, 11, 1, 13)),
        ("02:13:05,5", utc(2026, 2, 11, 1, 13, 5, 500_000)),
        ("2:13 AM", utc(2026, 2, 11, 1, 13)),
        ("11:15:20 p.m.", utc(2026, 2, 10, 22, 15, 20)),
        ("12:05 am", utc(2026, 2, 10, 23, 5)),
        ("2026-02-11T02:13:05", utc(2026, 2, 11, 1, 13, 5)),
        ("2026-02-11 02:13", utc(2026, 2, 11, 1, 13)),
        ("2026-02-11T02:13:05Z", utc(2026, 2, 11, 2, 13, 5)),
        ("2026-02-11T02:13:05.25+02:00", utc(2026, 2, 11, 0, 13, 5, 250_000)),
        ("13.02.2026 02:13", utc(2026, 2, 13, 1, 13)),
        ("2/13/2026 2:13 AM", utc(2026, 2, 13, 1, 13)),
        ("11.11.2026, 02:13", utc(2026, 11, 11, 1, 13)),
    ],
)
def test_times_are_read_as_people_and_spreadsheets_write_them(recorded, text, instant):
    assert recorded.instant(text) == instant


@pytest.mark.parametrize(
    "text",
    ["", "noon", "25:00", "23:60", "13:05 am", "2026-02-30T01:00", "2026-02-11", "31.31.2026 01:00", "=A1",
     "1926-02-10T23:00", "10.02.26 23:15"],
)  # fmt: skip
def test_what_is_no_time_is_refused(recorded, text):
    with pytest.raises(StartTimeError, match="got") as refused:
        recorded.instant(text)
    assert refused.value.remedy


def test_a_clock_time_outside_the_recording_is_refused(recorded):
    with pytest.raises(StartTimeError, match=r"12:00 lies nowhere in the recording from 2026-02-10 22:00"):
        recorded.instant("12:00")


def test_a_clock_time_that_a_long_recording_has_twice_is_refused():
    long = night(utc(2026, 2, 10, 21), utc(2026, 2, 12, 6))
    with pytest.raises(StartTimeError, match="more than once"):
        long.instant("23:15")
    assert long.instant("2026-02-11T23:15") == utc(2026, 2, 11, 22, 15)


def test_the_hour_that_comes_twice_is_asked():
    with pytest.raises(StartTimeError, match="02:30:00 happened twice") as refused:
        AUTUMN.instant("02:30")
    assert "2025-10-26T02:30:00+01:00" in refused.value.remedy
    assert AUTUMN.instant("2025-10-26T02:30:00+01:00") == utc(2025, 10, 26, 1, 30)
    assert AUTUMN.instant("03:30") == utc(2025, 10, 26, 2, 30)


def test_the_hour_that_is_skipped_is_refused():
    with pytest.raises(StartTimeError, match="02:30:00 never happened"):
        SPRING.instant("02:30")
    assert SPRING.instant("03:30") == utc(2026, 3, 29, 1, 30)


def test_a_change_of_clocks_before_or_after_the_recording_is_no_matter():
    before = night(utc(2026, 3, 29, 20), utc(2026, 3, 30, 5))
    assert before.instant("02:30") == utc(2026, 3, 30, 0, 30)
    after = night(utc(2025, 10, 24, 20), utc(2025, 10, 25, 6))
    assert after.instant("02:30") == utc(2025, 10, 25, 0, 30)


def test_a_span_across_midnight_ends_the_next_morning(recorded):
    assert recorded.span("23:50", "00:10") == (utc(2026, 2, 10, 22, 50), utc(2026, 2, 10, 23, 10))
    assert recorded.span("2026-02-10T23:50", "00:10")[1] == utc(2026, 2, 10, 23, 10)
    assert recorded.span("00:10", "2026-02-11 00:20")[0] == utc(2026, 2, 10, 23, 10)


def test_a_span_may_begin_before_the_recording_and_end_after_it(recorded):
    assert recorded.span("21:30", "22:10") == (utc(2026, 2, 10, 20, 30), utc(2026, 2, 10, 21, 10))
    assert recorded.span("06:55", "08:00") == (utc(2026, 2, 11, 5, 55), utc(2026, 2, 11, 7))


def test_a_span_across_a_change_of_clocks_has_its_true_length():
    start, end = SPRING.span("01:30", "03:30")
    assert end - start == timedelta(hours=1)
    start, end = AUTUMN.span("01:30", "03:30")
    assert end - start == timedelta(hours=3)


@pytest.mark.parametrize(
    ("start", "end", "wrong"),
    [
        ("23:15", "23:15", "the end must come after the start"),
        ("23:15", "23:15:00", "the end must come after the start"),
        ("2026-02-11T03:00", "2026-02-11T02:00", "the end must come after the start"),
        ("2026-02-11T03:00", "2026-02-12T03:00", "within a day"),
        ("12:00", "13:00", "nowhere"),
    ],
)
def test_impossible_spans_are_refused(recorded, start, end, wrong):
    with pytest.raises(StartTimeError, match=wrong):
        recorded.span(start, end)


def test_a_date_that_can_be_read_two_ways_is_asked(recorded):
    with pytest.raises(StartTimeError, match=r"may be 2026-03-04 or 2026-04-03"):
        recorded.instant("03.04.2026 01:00")
    day_first = replace(recorded, date_order="day first")
    assert day_first.instant("03.04.2026 01:00") == utc(2026, 4, 2, 23)
    assert replace(recorded, date_order="month first").instant("03.04.2026 01:00") == utc(2026, 3, 4, 0)


def test_an_order_that_is_said_refuses_dates_of_the_other(recorded):
    with pytest.raises(StartTimeError, match="a time is needed"):
        replace(recorded, date_order="month first").instant("13.02.2026 01:00")


def test_one_date_that_can_be_read_one_way_tells_the_order_of_all(recorded):
    assert recorded.reading_dates(["03.04.2026 01:00", "13.04.2026 01:00"]).date_order == "day first"
    assert recorded.reading_dates(["03/04/2026 01:00", "03/14/2026 01:00"]).date_order == "month first"


def test_the_recorded_night_tells_the_order_if_only_one_order_meets_it(recorded):
    assert recorded.reading_dates(["10.02.2026 23:15", "03.02.2026 01:00"]).date_order == "day first"
    both = night(utc(2026, 3, 2, 21), utc(2026, 3, 3, 6))
    assert both.reading_dates(["02.03.2026 23:15", "03.02.2026 01:00"]).date_order is None
    assert recorded.reading_dates(["01.02.2026 23:15"]).date_order is None


def test_dates_that_contradict_each_other_leave_the_order_open(recorded):
    assert recorded.reading_dates(["13.02.2026 01:00", "02/14/2026 01:00"]).date_order is None
    assert recorded.reading_dates(["23:15", "2026-02-10T23:15"]).date_order is None


@given(st.integers(0, 9 * 3600 - 1))
def test_every_second_of_a_night_is_found_by_its_clock_time(second):
    start = utc(2026, 2, 10, 21)
    one = night(start, start + timedelta(hours=9))
    instant = start + timedelta(seconds=second)
    assert one.instant(f"{instant.astimezone(VIENNA):%H:%M:%S}") == instant
