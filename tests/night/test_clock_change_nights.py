"""From the recorder's time stamp to the night window, on nights when clocks change.

Dates and hours of the changes: Directive 2000/84/EC for Vienna (01:00 UTC on the last Sundays of March and
October), and for New York 15 U.S.C. 260a (02:00 local, second Sunday of March, first of November); both
from memory, and the same as in the time zone database that the standard library reads.
"""

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sleepnoise.night.window import NightWindow
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.timestamps import find_start

NIGHTS = [
    ("Europe/Vienna", "2026-03-28", 7),
    ("Europe/Vienna", "2026-10-24", 9),
    ("Europe/Vienna", "2026-06-01", 8),
    ("America/New_York", "2026-03-07", 7),
    ("America/New_York", "2026-10-31", 9),
    ("Australia/Lord_Howe", "2026-04-04", 8.5),  # half an hour: ends at 02:00 on the first Sunday of April
]


def recorded(name, zone, hours, *clock):
    readings = [ClockReading.parse(text) for text in clock]
    start = find_start(Path(name), 48_000, given=None, zone=zone, clock=readings)
    window = NightWindow.parse("23:00-07:00", start.zone)
    return start, window.overlapping(start.utc, start.utc + timedelta(hours=hours))


@pytest.mark.parametrize(("zone", "evening", "hours"), NIGHTS)
def test_the_window_has_the_hours_that_went_by(zone, evening, hours):
    start, (begin, end) = recorded(f"{evening.replace('-', '')}_220000.wav", zone, 11)
    assert begin - start.utc == timedelta(hours=1)
    assert end - begin == timedelta(hours=hours)
    local = [instant.astimezone(ZoneInfo(zone)) for instant in (begin, end)]
    assert [(each.hour, each.minute) for each in local] == [(23, 0), (7, 0)]


@pytest.mark.parametrize(("zone", "evening", "hours"), NIGHTS)
def test_a_clock_that_knows_no_summer_time_is_right_at_both_ends_of_the_night(zone, evening, hours):
    # The recorder is 40 s slow and gains 1.8 s over the night; it shows hours that went by, not clock hours.
    evening_true = datetime.fromisoformat(f"{evening}T22:30:00")
    morning_true = evening_true.replace(hour=7, minute=30) + timedelta(days=1)
    elapsed = timedelta(hours=hours + 1)
    shown = [evening_true - timedelta(seconds=40), evening_true - timedelta(seconds=38.2) + elapsed]
    texts = [
        f"{one.isoformat()}={two.isoformat()}"
        for one, two in zip(shown, (evening_true, morning_true), strict=True)
    ]
    start, (begin, end) = recorded(f"{evening.replace('-', '')}_225920.wav", zone, 12, *texts)
    assert start.clock.drift_ppm == pytest.approx(1.8e6 / elapsed.total_seconds(), rel=1e-6)
    # Half an hour after the first reading a share of the 1.8 s has been gained: at most 0.13 s.
    assert abs(start.utc - begin) <= timedelta(seconds=0.13)
    assert end - begin == timedelta(hours=hours)


def test_a_recording_from_after_the_change_belongs_to_the_same_night():
    for evening, name, hours in (
        ("2026-03-28", "20260329_033000.wav", 7),
        ("2026-10-24", "20261025_033000.wav", 9),
    ):
        _, (begin, end) = recorded(name, "Europe/Vienna", 3)
        assert end - begin == timedelta(hours=hours)
        assert begin.astimezone(ZoneInfo("Europe/Vienna")).date().isoformat() == evening
