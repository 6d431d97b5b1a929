"""Night windows: texts, clock changes, and which night a recording belongs to."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.errors import SettingsError, StartTimeError
from sleepnoise.night.window import NightWindow

VIENNA = "Europe/Vienna"


def utc(*numbers):
    return datetime(*numbers, tzinfo=UTC)


@pytest.mark.parametrize("text", ["23:00-07:00", " 23:00 - 7:00 ", "23:00–07:00"])
def test_usual_spellings_of_a_window_are_read(text):
    assert NightWindow.parse(text, VIENNA).text == "23:00-07:00"


@pytest.mark.parametrize(
    "text",
    ["", "night", "23-7", "23:00", "23:00-24:00", "23:60-07:00", "1:00-2:00-3:00", "٢٣:٠٠-٠٧:٠٠"],
)
def test_nonsense_is_no_window_and_the_remedy_shows_one(text):
    with pytest.raises(SettingsError, match="night window") as error:
        NightWindow.parse(text, VIENNA)
    assert "23:00-07:00" in error.value.remedy


def test_a_window_of_no_length_is_refused():
    with pytest.raises(SettingsError, match="must differ"):
        NightWindow.parse("23:00-23:00", VIENNA)


@pytest.mark.parametrize("zone", ["", "Mars/Crater", "../passwd", "Europe", "\0", "CEST+1"])
def test_an_unknown_zone_is_refused_with_an_example(zone):
    with pytest.raises(StartTimeError) as error:
        NightWindow.parse("23:00-07:00", zone)
    assert VIENNA in error.value.remedy


@pytest.mark.parametrize(
    ("evening", "hours"),
    # Directive 2000/84/EC: clocks change at 01:00 UTC on the last Sundays of March and October (memory).
    [((2025, 3, 29), 7), ((2025, 10, 25), 9), ((2025, 6, 1), 8)],
)
def test_a_night_is_as_long_as_its_clock_changes_make_it(evening, hours):
    window = NightWindow.parse("23:00-07:00", VIENNA)
    start, end = window.overlapping(utc(*evening, 20), utc(*evening, 23))
    assert end - start == timedelta(hours=hours)
    assert start.astimezone(ZoneInfo(VIENNA)).hour == 23
    assert end.astimezone(ZoneInfo(VIENNA)).hour == 7


def test_the_night_that_is_covered_most_is_chosen():
    window = NightWindow.parse("23:00-07:00", VIENNA)
    two_days = window.overlapping(utc(2025, 2, 4, 4), utc(2025, 2, 5, 3))  # 2 h of one night, 5 h of the next
    assert two_days == (utc(2025, 2, 4, 22), utc(2025, 2, 5, 6))


def test_a_recording_after_midnight_belongs_to_the_evening_before():
    window = NightWindow.parse("23:00-07:00", VIENNA)
    assert window.overlapping(utc(2025, 2, 4, 0), utc(2025, 2, 4, 5))[0] == utc(2025, 2, 3, 22)


def test_a_window_within_one_day_stays_in_it():
    window = NightWindow.of_period(("01:00", "05:00"), ZoneInfo(VIENNA))
    assert window.overlapping(utc(2025, 2, 3, 20), utc(2025, 2, 4, 8)) == (
        utc(2025, 2, 4, 0),
        utc(2025, 2, 4, 4),
    )


def test_a_recording_by_day_is_refused_with_both_spans_and_the_remedy():
    window = NightWindow.parse("23:00-07:00", VIENNA)
    with pytest.raises(StartTimeError) as error:
        window.overlapping(utc(2025, 2, 4, 9), utc(2025, 2, 4, 15, 30))
    for part in ("2025-02-04 10:00", "2025-02-04 16:30", "23:00-07:00", VIENNA):
        assert part in error.value.complaint
    assert "--window" in error.value.remedy
    assert "--start" in error.value.remedy


def test_a_recording_that_only_touches_the_window_misses_it():
    window = NightWindow.parse("23:00-07:00", VIENNA)
    with pytest.raises(StartTimeError):
        window.overlapping(utc(2025, 2, 4, 6), utc(2025, 2, 4, 7))


def test_a_window_in_the_hour_that_is_skipped_has_no_instants_that_night():
    window = NightWindow.parse("02:00-03:00", VIENNA)
    start, _ = window.overlapping(utc(2025, 3, 29, 22), utc(2025, 3, 31, 6))
    assert start == utc(2025, 3, 31, 0)


@given(
    start=st.datetimes(datetime(2024, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC)),
    hours=st.floats(0.1, 30),
    zone=st.sampled_from(["Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns", VIENNA, "UTC"]),
)
def test_no_other_night_overlaps_more(start, hours, zone):
    end = start + timedelta(hours=hours)
    window = NightWindow.parse("23:00-07:00", zone)
    try:
        found = window.overlapping(start, end)
    except StartTimeError:
        clock = start.astimezone(window.zone)
        assert 7 <= clock.hour < 23
        return
    overlap = min(end, found[1]) - max(start, found[0])
    for day in (-1, 1):
        other = (found[0] + timedelta(days=day), found[1] + timedelta(days=day))
        # The next night may be an hour longer or shorter than this one.
        assert min(end, other[1]) - max(start, other[0]) <= overlap + timedelta(hours=1)
