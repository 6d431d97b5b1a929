import struct
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given as for_all
from hypothesis import strategies as st

from sleepnoise.errors import StartTimeError
from sleepnoise.formats.bext import Origination
from sleepnoise.recording import timestamps
from sleepnoise.recording.clock import ClockReading
from sleepnoise.recording.timestamps import find_start

VIENNA = "Europe/Vienna"  # 1 h ahead of UTC in winter, 2 h in summer
WINTER = datetime(2026, 3, 5, 21, 58, 7, tzinfo=UTC)  # 22:58:07 in Vienna


def start(name="night.wav", given=None, zone=VIENNA):
    return find_start(Path("/nowhere") / name, 48_000, given=given, zone=zone)


def refused(name="night.wav", given=None, zone=VIENNA):
    with pytest.raises(StartTimeError) as caught:
        start(name, given, zone)
    assert name in caught.value.complaint
    assert caught.value.remedy
    return caught.value


@pytest.fixture
def bext_says(monkeypatch):
    def say(local, time_reference=0):
        origination = Origination(local=local, time_reference=time_reference)
        monkeypatch.setattr(timestamps, "read_origination", lambda _: origination)

    return say


# Given


@pytest.mark.parametrize(
    "given",
    [
        "2026-03-05T22:58:07",
        "2026-03-05 22:58:07",
        "20260305T225807",
        "2026-03-05T21:58:07Z",
        "2026-03-05T21:58:07+00:00",
        "2026-03-05T16:58:07-05:00",
        " 2026-03-05T22:58:07 ",
    ],
)
def test_a_start_is_given_in_iso_8601_with_or_without_offset(given):
    found = start(given=given)
    assert found.utc == WINTER
    assert found.utc.tzinfo is UTC
    assert (found.zone, found.origin, found.zone_origin) == (VIENNA, "given (--start)", "given (--zone)")


def test_what_is_given_goes_before_bext_and_name(bext_says):
    bext_says(datetime(2020, 1, 1, 12))
    assert start("20210101_120000.wav", given="2026-03-05T22:58:07").utc == WINTER


@pytest.mark.parametrize(
    "given", ["yesterday", "", "05.03.2026 22:58", "2026-02-30T22:00:00", "2026-03-05T25:00"]
)
def test_anything_else_is_refused(given):
    assert "ISO 8601" in refused(given=given).complaint


@pytest.mark.parametrize("given", ["2026-03-05", "20260305", "2026-W10-4"])
def test_a_date_without_time_is_refused(given):
    assert "time of day" in refused(given=given).complaint


@pytest.mark.parametrize(
    "given", ["1970-01-01T00:00:00", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"]
)
def test_years_without_recorders_are_refused(given):
    assert "1990 to 2099" in refused(given=given).complaint


# Zone


@pytest.mark.parametrize("given", [None, "2026-03-05T22:58:07", "2026-03-05T21:58:07Z"])
def test_the_zone_is_asked_for_never_guessed(given):
    error = refused(given=given, zone=None)
    assert "time zone must be given" in error.complaint
    assert "--zone Europe/Vienna" in error.remedy


@pytest.mark.parametrize(
    "zone", ["", "Europe", "Mars/Olympus", "../../etc/passwd", "/etc/localtime", "CEST", "a\0b", "Ü"]
)
def test_an_unknown_zone_is_refused(zone):
    assert "IANA name" in refused(given="2026-03-05T22:58:07", zone=zone).complaint


@pytest.mark.parametrize(
    ("zone", "meant"), [("Berlin", "Europe/Berlin"), ("america/new york", "America/New_York")]
)
def test_a_zone_that_is_nearly_right_brings_the_right_one_as_remedy(zone, meant):
    assert f"--zone {meant}." in refused(given="2026-03-05T22:58:07", zone=zone).remedy


# Changes of clock: last Sunday of March and of October at 01:00 UTC (Directive 2000/84/EC, from memory).


@pytest.mark.parametrize("local", ["2024-03-31T02:00:00", "2024-03-31T02:30:00", "2024-03-31T02:59:59"])
def test_a_time_that_clocks_skipped_is_refused(local):
    error = refused(given=local)
    assert "never happened in Europe/Vienna" in error.complaint
    assert f"--start {local}+01:00 or --start {local}+02:00" in error.remedy


@pytest.mark.parametrize("local", ["2024-10-27T02:00:00", "2024-10-27T02:30:00", "2024-10-27T02:59:59"])
def test_a_time_that_came_twice_is_refused(local):
    error = refused(given=local)
    assert "happened twice in Europe/Vienna" in error.complaint
    assert f"--start {local}+02:00 or --start {local}+01:00" in error.remedy


@pytest.mark.parametrize(
    ("local", "utc"),
    [
        ("2024-03-31T01:59:59", "2024-03-31T00:59:59+00:00"),
        ("2024-03-31T03:00:00", "2024-03-31T01:00:00+00:00"),
        ("2024-10-27T01:59:59", "2024-10-26T23:59:59+00:00"),
        ("2024-10-27T03:00:00", "2024-10-27T02:00:00+00:00"),
        ("2024-10-27T02:30:00+02:00", "2024-10-27T00:30:00+00:00"),
        ("2024-10-27T02:30:00+01:00", "2024-10-27T01:30:00+00:00"),
    ],
)
def test_times_beside_the_change_and_times_with_offset_are_clear(local, utc):
    assert start(given=local).utc == datetime.fromisoformat(utc)


def test_times_in_files_are_refused_at_a_change_too(bext_says):
    assert "happened twice" in refused("20241027_023000.wav").complaint
    bext_says(datetime(2024, 3, 31, 2, 30))
    assert "never happened" in refused().complaint


@for_all(
    st.datetimes(datetime(1995, 1, 1), datetime(2037, 1, 1)).map(
        lambda moment: moment.replace(microsecond=0)
    ),
    st.sampled_from(
        [VIENNA, "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Apia", "UTC"]
    ),
)
def test_an_instant_is_found_again_from_its_local_time_or_refused(moment, zone):
    utc = moment.replace(tzinfo=UTC)
    local = utc.astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)
    twice = len({local.replace(tzinfo=ZoneInfo(zone), fold=fold).utcoffset() for fold in (0, 1)}) == 2
    if not twice:
        assert start(given=local.isoformat(), zone=zone).utc == utc
        return
    error = refused(given=local.isoformat(), zone=zone)
    assert "happened twice" in error.complaint
    offered = [word.rstrip(".") for word in error.remedy.split() if word.startswith(str(local.year))]
    assert utc in [datetime.fromisoformat(word) for word in offered]


# bext


def samples_since_midnight(hours, minutes, seconds):
    return round((hours * 3600 + minutes * 60 + seconds) * 48_000)


def test_bext_goes_before_the_name(bext_says):
    bext_says(datetime(2026, 3, 5, 22, 58, 7), samples_since_midnight(22, 58, 7))
    found = start("20210101_120000.wav")
    assert found.utc == WINTER
    assert found.origin == "bext chunk, date, time and time reference"


def test_bext_is_read_from_a_file(tmp_path):
    path = tmp_path / "20210101_120000.wav"
    data = (
        bytes(320)
        + b"2026-03-05"
        + b"22:58:07"
        + struct.pack("<Q", samples_since_midnight(22, 58, 7.25))
        + bytes(256)
    )
    path.write_bytes(b"RIFF\0\0\0\0WAVEbext" + struct.pack("<I", len(data)) + data)
    found = find_start(path, 48_000, given=None, zone=VIENNA)
    assert found.utc == WINTER + timedelta(seconds=0.25)


@pytest.mark.parametrize("offset_s", [-0.999, -0.5, 0.0, 0.123456, 0.999])
def test_a_time_reference_that_agrees_refines_the_seconds(bext_says, offset_s):
    bext_says(datetime(2026, 3, 5, 22, 58, 7), samples_since_midnight(22, 58, 7 + offset_s))
    # Half a sample of rounding above.
    assert abs(start().utc - WINTER - timedelta(seconds=offset_s)) <= timedelta(microseconds=12)


@pytest.mark.parametrize("reference", [0, 48_000, samples_since_midnight(21, 58, 7), 2**64 - 1])
def test_a_time_reference_that_disagrees_is_left_aside_and_said(bext_says, reference):
    bext_says(datetime(2026, 3, 5, 22, 58, 7), reference)
    assert start().utc == WINTER
    assert "disagrees" in start().origin


def test_agreement_holds_across_midnight(bext_says):
    bext_says(datetime(2026, 3, 6, 0, 0, 0), samples_since_midnight(23, 59, 59.75))
    assert start().utc == datetime(2026, 3, 5, 22, 59, 59, 750_000, tzinfo=UTC)


def test_a_clock_that_was_never_set_gives_way_to_the_name(bext_says):
    bext_says(datetime(1980, 1, 1, 0, 0, 0))
    assert start("20260305_225807.wav").utc == WINTER


# Names


@pytest.mark.parametrize(
    "name",
    [
        "20260305_225807.wav",
        "20260305-225807.flac",
        "bedroom_20260305_225807.wav",
        "larch-court-3_20260305_225807_part2.wav",
        "2026-03-05 22-58-07.wav",
        "2026-03-05_22.58.07.wav",
        "2026-03-05T22:58:07.wav",
        "20260305T225807.wav",
        "20260305T215807Z.wav",
        "20260305T225807+0100.wav",
        "20260305T165807-0500.wav",
        "20260305T225807+01:00.wav",
        "R20260305T225807.123.wav",
        "20260305_225807-20260306_070000.wav",
        "20269905_225807_20260305_225807.wav",
        "00012345_20260305_225807.wav",
        "20260305_215807Z.wav",
        "20260305_225807Zimmer.wav",
        "20260305_225807-0001.wav",  # a part number
        "20260305T225807-0001.wav",  # no zone is a minute off
        "20260305225807.wav",
        "bedroom-20260305225807_002.wav",
        "20260305215807Z.wav",
    ],
)
def test_date_and_time_are_found_in_a_file_name(name):
    found = start(name)
    assert found.utc == WINTER
    assert found.origin == f"file name {name}"


@pytest.mark.parametrize(
    ("name", "readings"),
    [
        ("260305_225807.wav", ["2026-03-05", "2005-03-26"]),
        ("REC_260305-225807_01.wav", ["2026-03-05", "2005-03-26"]),
        ("050326_225807.wav", ["2005-03-26", "2026-03-05"]),
        ("260305225807.wav", ["2026-03-05", "2005-03-26"]),
        ("05.03.26 22-58-07.wav", ["2005-03-26", "2026-03-05", "2026-05-03"]),
        ("311226_225807.wav", ["2026-12-31"]),
    ],
)
def test_a_two_digit_year_is_asked_for_with_every_date_that_it_may_mean(name, readings):
    error = refused(name)
    assert "two digits for the year" in error.complaint
    for day in readings:
        assert f"--start {day}T22:58:07" in error.remedy
        assert start(name, given=f"{day}T22:58:07").utc.year == int(day[:4])


def test_seconds_since_1970_in_a_name_are_offered_not_believed():
    # 0x69A9FCCF = 1772747983 s: 2026-03-05 21:59:43 UTC, by the calendar of the standard library.
    error = refused("69A9FCCF.wav")
    assert "neither a bext chunk nor the file name" in error.complaint
    assert "--start 2026-03-05T21:59:43+00:00" in error.remedy


@pytest.mark.parametrize("name", ["00012345.wav", "20260305.wav", "x69A9FCCF.wav", "69A9FCCF0.wav"])
def test_other_digits_are_not_offered_as_seconds(name):
    assert "1970" not in refused(name).remedy


@pytest.mark.parametrize(
    "name",
    [
        "night.wav",
        "REC00012.wav",
        "20260230_225807.wav",
        "20260305_245807.wav",
        "20260305_225860.wav",
        "20261305_225807.wav",
        "18990305_225807.wav",
        "20260305.wav",
        "120260305_225807.wav",
        "20260305_2258071.wav",
        "2026-0305_225807.wav",
        "260305_995807.wav",
        "flat-12345678901234.wav",
        "260305_0007.wav",
        "20260305_0007.wav",
    ],
)
def test_impossible_or_incomplete_dates_in_a_name_are_no_start(name):
    error = refused(name)
    assert "neither a bext chunk nor the file name" in error.complaint
    assert "--start" in error.remedy


# bext and name that disagree


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("20260305_225809.wav", None),
        ("20260305_225805.wav", None),
        ("20260305T215807Z.wav", None),
        ("REC00012.wav", None),
        ("20260305_225810.wav", "3 s later"),
        ("20260305_215800.wav", "1 h 0 min 7 s earlier"),
        ("20260305T215804Z.wav", "3 s earlier"),
    ],
)
def test_a_name_that_disagrees_with_bext_by_over_two_seconds_is_said(bext_says, name, told):
    bext_says(datetime(2026, 3, 5, 22, 58, 7), samples_since_midnight(22, 58, 7))
    found = start(name)
    assert found.utc == WINTER
    assert [f"a start {told} than the bext chunk" in remark for remark in found.remarks] == [True] * bool(
        told
    )


# A recorder's clock that is wrong


def by_clock(name, *texts):
    readings = [ClockReading.parse(text) for text in texts]
    return find_start(Path("/nowhere") / name, 48_000, given=None, zone=VIENNA, clock=readings)


def test_a_start_is_corrected_by_a_reading_of_the_clock():
    found = by_clock("20260305_225637.wav", "22:58:30=23:00:00")
    assert found.utc == WINTER
    assert (
        found.origin == "file name 20260305_225637.wav; corrected, recorder clock 1 min 30 s slow (--clock)"
    )
    assert found.uncertainty_s == pytest.approx(0.6, abs=0.01)
    assert found.remarks == ()


def test_bext_is_corrected_like_a_name(bext_says):
    bext_says(datetime(2026, 3, 5, 22, 56, 37), samples_since_midnight(22, 56, 37.5))
    assert by_clock("night.wav", "22:58:30=23:00:00").utc == WINTER + timedelta(seconds=0.5)


def test_a_clock_that_ran_over_a_change_is_said():
    found = by_clock("20251026_233000.wav", "2025-10-25T18:00:00=2025-10-25T18:00:00")
    assert found.utc == datetime(2025, 10, 26, 21, 30, tzinfo=UTC)
    assert "run on without a change" in found.remarks[0]


def test_a_reading_settles_a_start_that_came_twice():
    found = by_clock("20251026_023000.wav", "2025-10-25T22:00:00=2025-10-25T22:00:00")
    assert found.utc == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)


def test_a_start_that_is_given_needs_no_clock():
    with pytest.raises(StartTimeError, match="both were given") as caught:
        find_start(
            Path("night.wav"),
            48_000,
            given="2026-03-05T22:58:07",
            zone=VIENNA,
            clock=[ClockReading.parse("22:58:30=23:00:00")],
        )
    assert "--clock" in caught.value.remedy


def test_a_start_without_correction_claims_no_uncertainty():
    assert start("20260305_225807.wav").uncertainty_s != start("20260305_225807.wav").uncertainty_s
