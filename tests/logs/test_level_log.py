"""Level logs as instruments write them. All logs are invented."""

import csv
import io
import math
import os
import tracemalloc
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError, SleepNoiseError, StartTimeError
from sleepnoise.logs.level_log import read_level_log
from sleepnoise.logs.log_mapping import read_log_mapping

ZONE = "Europe/Vienna"
ELEVEN_PM = datetime(2026, 1, 14, 23, 0)
PLAIN = ("time=Time", "laeq=LAeq")


@pytest.fixture
def read(tmp_path):
    """Return a function that writes a text, or bytes, into a file and reads it as a log."""

    def read(text, *options, zone=ZONE, name="log.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_level_log(path, read_log_mapping(options or PLAIN), zone=zone)

    return read


def rows(levels, *, start=ELEVEN_PM, step_s=1.0, zone=None):
    """A plain log: time and one level a row; with *zone* the local times of a clock that follows it."""
    lines = ["Time,LAeq"]
    for number, level_db in enumerate(levels):
        moment = start + timedelta(seconds=step_s * number)
        if zone is not None:
            moment = moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        lines.append(f"{moment},{level_db}")
    return "\n".join(lines) + "\n"


def refused(read, kind, *arguments, **keys):
    with pytest.raises(kind) as caught:
        read(*arguments, **keys)
    assert caught.value.remedy
    return caught.value.complaint


def test_a_plain_log_becomes_steps_of_an_even_grid_in_utc(read):
    log = read(rows([30.0, 31.5, 29.0]))
    assert log.start == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
    assert log.step == timedelta(seconds=1)
    assert log.end == log.start + timedelta(seconds=3)
    assert log.columns["laeq"].tolist() == [30.0, 31.5, 29.0]
    assert log.nominal_hz == ()
    assert log.bands.shape == (0, 3)


# Every way to write the same table gives the same log.

STEPS_S = [0.1, 0.125, 0.2, 1.0, 5.0, 60.0, 300.0, 900.0]
LEVELS = st.one_of(st.integers(-500, 2000).map(lambda tenths: tenths / 10), st.just(math.nan))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    levels=st.lists(st.tuples(LEVELS, LEVELS), min_size=2, max_size=40),
    step_s=st.sampled_from(STEPS_S),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    newline=st.sampled_from(["\n", "\r\n"]),
    units=st.booleans(),
    lines_before=st.integers(0, 5),
    missing=st.sampled_from(["", "--", "-.-", "NaN", "n/a", "OVR"]),
    told=st.booleans(),
)
def test_whatever_separates_cells_and_decimals_the_log_is_the_same(
    read, levels, step_s, separator, decimal, encoding, newline, units, lines_before, missing, told
):
    levels = [(0.5, levels[0][1]), *levels[1:]]  # one number shows the decimal sign
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=newline)
    for number in range(lines_before):
        writer.writerow(["Größe µPa", number, "LAeq"][: number + 1])
    writer.writerow(["Nr", "Time", "LAeq [dB]", "LAFmax; 1"])
    if units:
        writer.writerow(["", "", "dB", "dB"])

    def cell(level_db):
        return missing if math.isnan(level_db) else f"{level_db:.1f}".replace(".", decimal)

    for number, pair in enumerate(levels):
        moment = ELEVEN_PM + timedelta(seconds=step_s * number)
        writer.writerow([number, moment.isoformat(sep=" "), *map(cell, pair)])
    options = ["time=Time", "laeq=LAeq [dB]", "lafmax=LAFmax; 1", "missing=OVR"]
    names = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
    if told:
        options += [f"separator={names[separator]}", f"decimal={decimal}", f"encoding={encoding}"]
    log = read(out.getvalue().encode(encoding), *options)
    assert log.step_s == step_s
    assert log.start == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
    for name, column in zip(("laeq", "lafmax"), zip(*levels, strict=True), strict=True):
        np.testing.assert_allclose(log.columns[name], np.float32(column))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(STEPS_S),
    st.lists(st.booleans(), min_size=3, max_size=60).filter(lambda kept: sum(kept) > 2),
    st.randoms(),
)
def test_missing_rows_are_gaps_and_rows_that_come_twice_count_once(read, step_s, kept, random):
    written = [number for number, stays in enumerate(kept) if stays]
    if np.median(np.diff(written)) != 1:
        return  # the step could not be told
    lines = [f"{ELEVEN_PM + timedelta(seconds=step_s * number)},{number / 10}" for number in written]
    lines.insert(twice := random.randrange(len(lines)), lines[twice])
    log = read("Time,LAeq\n" + "\n".join(lines))
    expected = [
        number / 10 if number in written else math.nan for number in range(written[0], written[-1] + 1)
    ]
    np.testing.assert_allclose(log.columns["laeq"], np.float32(expected))
    assert log.start == datetime(2026, 1, 14, 22, tzinfo=UTC) + timedelta(seconds=step_s * written[0])
    assert any("come twice" in remark for remark in log.remarks)
    assert any("are missing" in remark for remark in log.remarks) == (len(written) < len(expected))


def test_parquet_holds_the_same(tmp_path):
    moments = [ELEVEN_PM + timedelta(seconds=number) for number in range(5)]
    levels = [30.0, None, 31.0, math.nan, 29.5]
    for kind in (pa.timestamp("ns"), pa.timestamp("us", ZONE), pa.string()):
        times = [str(moment) for moment in moments] if kind == pa.string() else moments
        if kind == pa.timestamp("us", ZONE):
            times = [moment.replace(tzinfo=ZoneInfo(ZONE)) for moment in moments]
        table = pa.table({"t": pa.array(times, kind), "L": levels, "other": [[1.0]] * 5})
        path = tmp_path / "log.parquet"
        pq.write_table(table, path)
        log = read_level_log(path, read_log_mapping(["time=t", "laeq=L"]), zone=ZONE)
        assert log.start == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
        np.testing.assert_allclose(log.columns["laeq"], [30.0, math.nan, 31.0, math.nan, 29.5])


def test_a_date_may_stand_apart_and_in_any_order(read):
    text = "Datum;Zeit;L\n14.01.2026;23:00:00;30,5\n14.01.2026;23:00:01;31,0\n"
    log = read(text, "date=Datum", "time=Zeit", "laeq=L", "time_format=%d.%m.%Y %H:%M:%S")
    assert log.start == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
    assert log.columns["laeq"].tolist() == [30.5, 31.0]
    assert "decimal sign: comma" in log.remarks


def test_columns_may_go_by_their_place(read):
    text = "some words\n2026-01-14 23:00:00;x;30.5\n2026-01-14 23:00:01;x;31.0\n"
    log = read(text, "time=#1", "laeq=#3", "separator=semicolon")
    assert log.columns["laeq"].tolist() == [30.5, 31.0]
    assert any("'some words'" in remark for remark in log.remarks)


def test_without_times_rows_are_counted_from_a_start(read):
    log = read("LAeq\n30\n31\n", "laeq=LAeq", "start=2026-01-14T23:00:00", "step_s=0.125")
    assert log.start == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
    assert log.step_s == 0.125
    assert any("no gap can be seen" in remark for remark in log.remarks)


def test_a_stamp_may_be_that_of_the_end(read):
    assert read(rows([30, 31]), *PLAIN, "stamp=end").start == datetime(2026, 1, 14, 21, 59, 59, tzinfo=UTC)


def test_third_octaves_are_found_by_their_own_heads_and_by_a_pattern(read):
    text = "Time;LAeq;Z 50;Z 31,5;B\n2026-01-14 23:00:00;30;50;40;20\n2026-01-14 23:00:01;31;51;41;21\n"
    log = read(text, *PLAIN, "bands=Z {hz}", "1000=B")
    assert log.nominal_hz == (31.5, 50.0, 1000.0)
    assert log.bands.tolist() == [[40.0, 41.0], [50.0, 51.0], [20.0, 21.0]]
    assert any("without weighting" in remark for remark in log.remarks)


def test_the_mapping_that_was_used_is_told(read):
    told = "\n".join(read(rows([30, 31])).remarks)
    for part in (
        "separated by comma",
        "heads in line 1",
        "laeq from 'LAeq'",
        "local in Europe/Vienna",
        "step: 1 s",
    ):
        assert part in told


def test_separators_at_the_end_of_rows_are_no_cells(read):
    text = "Time;LAeq\n2026-01-14 23:00:00;30;;\n2026-01-14 23:00:01;31;;\n"
    assert read(text).columns["laeq"].tolist() == [30.0, 31.0]


def test_a_last_row_that_is_cut_off_is_dropped(read):
    log = read("Time,x,LAeq\n2026-01-14 23:00:00,1,30\n2026-01-14 23:00:01,1,31\n2026-01-14 23:0")
    assert log.steps == 2


# Clocks that change.


@pytest.mark.parametrize("step_s", [60.0, 900.0, 10.0])
@pytest.mark.parametrize(
    ("evening", "hours"),
    [(datetime(2025, 10, 25, 20, 0, tzinfo=UTC), 11), (datetime(2026, 3, 28, 21, 0, tzinfo=UTC), 9)],
)
def test_local_times_are_followed_through_both_clock_changes(read, evening, hours, step_s):
    levels = np.arange(round(hours * 3600 / step_s)) % 50 + 0.5
    log = read(rows(levels, start=evening, step_s=step_s, zone=ZONE))
    assert log.start == evening
    assert log.end == evening + timedelta(hours=hours)
    np.testing.assert_allclose(log.columns["laeq"], levels)


@pytest.mark.parametrize(("first", "last"), [(0, 150), (170, 400), (190, 400), (130, 300)])
def test_part_of_such_a_night_is_told_by_what_lies_beside_it(read, first, last):
    # Minutes from 00:00 on 26 October 2025, local; 02:00 comes after 120 and again after 180 minutes.
    midnight = datetime(2025, 10, 25, 22, 0, tzinfo=UTC)
    start = midnight + timedelta(minutes=first)
    log = read(rows([30.0] * (last - first), start=start, step_s=60, zone=ZONE))
    assert (log.start, log.steps) == (start, last - first)


def test_an_hour_that_comes_twice_and_stands_alone_is_refused(read):
    start = datetime(2025, 10, 26, 0, 5, tzinfo=UTC)
    complaint = refused(read, StartTimeError, rows([30.0] * 20, start=start, step_s=60, zone=ZONE))
    assert "row 2" in complaint
    assert "happened twice" in complaint
    fixed = read(rows([30.0] * 20, start=start, step_s=60, zone=ZONE), *PLAIN, "clock=+02:00")
    assert fixed.start == start


@pytest.mark.parametrize(
    ("start", "word"),
    [(datetime(2025, 10, 26, 0, 0), "passed it once"), (datetime(2026, 3, 29, 0, 0), "never happened")],
)
def test_a_clock_that_was_not_changed_is_found_out(read, start, word):
    text = rows([30.0] * 360, start=start, step_s=60)
    assert word in refused(read, StartTimeError, text)
    assert read(text, *PLAIN, "clock=+01:00").start == start.replace(tzinfo=UTC) - timedelta(hours=1)


def test_offsets_from_utc_settle_everything(read):
    start = datetime(2025, 10, 25, 23, 30, tzinfo=UTC)
    lines = [(start + timedelta(minutes=n)).astimezone(ZoneInfo(ZONE)).isoformat() for n in range(120)]
    log = read("Time,LAeq\n" + "\n".join(f"{line},30" for line in lines))
    assert (log.start, log.steps) == (start, 120)
    mixed = "Time,LAeq\n2026-01-14T23:00:00+01:00,30\n2026-01-14T23:00:01,30\n"
    assert "others have none" in refused(read, StartTimeError, mixed)


# What is wrong is said, with its place.


@pytest.mark.parametrize(
    ("cell", "options"),
    [("loud", ()), ("1_0", ()), ("1e9", ()), ("inf", ()), ("-51", ()), ("3,5", ()), ("3.5", ("decimal=,",))],
)
def test_what_is_no_level_is_refused_with_row_and_column(read, cell, options):
    sign = "," if options else "."
    text = f"Time;LAeq\n2026-01-14 23:00:00;30{sign}5\n2026-01-14 23:00:01;{cell}\n"
    complaint = refused(read, RecordingError, text, *PLAIN, *options)
    assert "log.csv, row 3, column of laeq" in complaint


def test_silence_is_a_level(read):
    assert read(rows([30.0, "-inf"])).columns["laeq"].tolist() == [30.0, -math.inf]


@pytest.mark.parametrize("stamp", ["yesterday", "23:00:01", "1014-01-14 23:00:01", "2026-02-30 23:00:01", ""])
def test_what_is_no_time_is_refused_with_its_row(read, stamp):
    text = f"Time,LAeq\n2026-01-14 23:00:00,30\n{stamp},30\n2026-01-14 23:00:02,30\n"
    assert "log.csv, row 3: the time" in refused(read, StartTimeError, text)


@pytest.mark.parametrize(
    ("text", "options", "kind", "complaint"),
    [
        ("", PLAIN, RecordingError, "is empty (0 bytes)"),
        ("Time,LAeq\n2026-01-14 23:00:00,30,5\n", PLAIN, RecordingError, "row 2: has more cells"),
        ("a,b\n1,2\n", PLAIN, RecordingError, "has no column 'Time', 'LAeq'; the nearest line has 'a', 'b'"),
        ("Time,LAeq,LAeq\n", PLAIN, RecordingError, "more than one column is called 'LAeq'"),
        ("Time,LAeq\n", PLAIN, RecordingError, "no rows with levels"),
        ("Time,LAeq\n" + "x" * 30_000, PLAIN, RecordingError, "line 2: is longer than"),
        ("Time,x,LAeq\n2026-01-14 23:00:00,1,30\n2026-01-14 23:00:01\n2026-01-14 23:00:02,1,30\n",
         PLAIN, RecordingError, "row 3: has fewer cells"),
        ('Time,LAeq\n2026-01-14 23:00:00,30\n2026-01-14 23:00:01,"30' + "\n1,2" * 60_000,
         PLAIN, RecordingError,
         "is no row of a table"),
        (rows([30, 31])[:-1] + "\n2026-01-14 22:00:00,30\n",
         PLAIN, StartTimeError, "row 4: the time lies before"),
        (rows([30] * 9, step_s=0.05), PLAIN, StartTimeError, "0.1 to 900 s are allowed"),
        (rows([30] * 9, step_s=1800), PLAIN, StartTimeError, "0.1 to 900 s are allowed"),
        (rows([30] * 9, step_s=0), PLAIN, StartTimeError, "do not tell how long"),
        (rows([30]), PLAIN, StartTimeError, "do not tell how long"),
        ("Time,LAeq\n" + "".join(f"2026-01-14 23:00:{n // 8:02},30\n" for n in range(80)),
         PLAIN, StartTimeError,
         "coarser than the step"),
        (rows([30] * 9), (*PLAIN, "step_s=0.5"), StartTimeError, "rows are 1 s apart, but a step of 0.5 s"),
        (rows([30] * 9) + "2036-01-14 23:00:00,30\n",
         PLAIN, RecordingError, "steps of 1 s, 1000000 are allowed"),
        ("30;31\n", ("time=#1", "laeq=#2"), RecordingError, "separator must be given"),
        ("LAeq\n30\n",
         ("laeq=LAeq", "start=eleven", "step_s=1"), StartTimeError, "the start must be an ISO 8601"),
        ("LAeq\n30\n",
         ("laeq=LAeq", "start=2025-10-26T02:30:00", "step_s=1"), StartTimeError, "happened twice"),
        (b"Time,LAeq\n2026-01-14 23:00:00,\xff\n",
         (*PLAIN, "encoding=utf-8"), RecordingError, "is not utf-8 text"),
        (bytes(range(256)) * 40, PLAIN, RecordingError, "log.csv"),
        (rows([30, 31]), ("time=Time", "laeq=#9"), RecordingError, "fewer cells than the 9"),
        ("1\n", ("laeq=#0", "start=2026-01-14", "step_s=1", "separator=;"), RecordingError, "no column '#0'"),
        ("1\n", ("time=#1", "laeq=#" + "9" * 5000), RecordingError, "no column '#999"),
    ],
)  # fmt: skip
def test_a_log_that_cannot_be_told_is_refused_with_a_remedy(read, text, options, kind, complaint):
    assert complaint in refused(read, kind, text, *options)


def test_files_that_are_none_are_refused(tmp_path):
    mapping = read_log_mapping(PLAIN)
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "bad.parquet").write_bytes(b"PAR1 and no more")
    for name in ("none.csv", "none.parquet", "folder.csv", "bad.parquet"):
        with pytest.raises(RecordingError, match=name):
            read_level_log(tmp_path / name, mapping, zone=ZONE)
    pq.write_table(pa.table({"Time": ["2026-01-14 23:00:00"], "LAeq": [[1.0]]}), tmp_path / "list.parquet")
    with pytest.raises(RecordingError, match="must hold numbers"):
        read_level_log(tmp_path / "list.parquet", mapping, zone=ZONE)
    with pytest.raises(RecordingError, match="has no column 'L'"):
        read_level_log(tmp_path / "list.parquet", read_log_mapping(["time=Time", "laeq=L"]), zone=ZONE)


@pytest.mark.parametrize(
    "times",
    [
        pa.array([2**62], pa.timestamp("us")),
        pa.array([0], pa.timestamp("us", "Nowhere/At_All")),
        pa.Array.from_buffers(
            pa.string(), 1, [None, pa.py_buffer(bytes([0, 0, 0, 0, 2, 0, 0, 0])), pa.py_buffer(b"\xff\xfe")]
        ),
    ],
)
def test_times_of_parquet_that_are_none_are_refused(tmp_path, times):
    pq.write_table(pa.table({"Time": times, "LAeq": [30.0]}), tmp_path / "log.parquet")
    with pytest.raises(RecordingError, match="column of time: holds what cannot be understood"):
        read_level_log(tmp_path / "log.parquet", read_log_mapping(PLAIN), zone=ZONE)


def test_a_log_needs_a_zone(read):
    assert "zone must be given" in refused(read, StartTimeError, rows([30, 31]), zone=None)
    assert "IANA name" in refused(read, StartTimeError, rows([30, 31]), zone="Vienna time")


def test_rows_of_one_instant_that_differ_are_a_gap(read):
    text = rows([30, 31, 32, 33, 34])
    line = text.splitlines()[2]
    log = read(text.replace(line, f"{line}\n{line.replace(',31', ',41')}"))
    np.testing.assert_allclose(log.columns["laeq"], [30, math.nan, 32, 33, 34])


def test_an_endless_log_is_refused_without_being_read_whole(read, monkeypatch):
    monkeypatch.setattr("sleepnoise.logs.log_table.MOST_ROWS", 10_000)
    text = rows([30.0] * 60_000)
    tracemalloc.start()
    assert "more than 10000 rows" in refused(read, RecordingError, text)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 12e6


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300))
def test_no_file_ends_in_anything_but_a_log_or_a_complaint(read, garbage):
    for text in (garbage, b"Time,LAeq\n2026-01-14 23:00:00,30\n" + garbage):
        try:
            log = read(text)
        except SleepNoiseError as error:
            assert error.remedy  # noqa: PT017 - any deliberate error will do
        else:
            assert log.steps > 0


def test_a_complaint_stays_short_however_long_a_name_is(read):
    assert len(refused(read, RecordingError, rows([30]), "time=Time", "laeq=" + "n" * 5000)) < 1500


def test_a_parquet_log_may_have_a_name_that_is_not_utf_8(tmp_path):
    try:
        path = tmp_path / os.fsdecode(b"log\xff.parquet")
        path.touch()
    except (OSError, UnicodeError):
        pytest.skip("this file system takes no such names")
    with path.open("wb") as file:
        pq.write_table(
            pa.table({"Time": ["2026-01-14 23:00:00", "2026-01-14 23:00:01"], "LAeq": [30.0, 31.0]}), file
        )
    assert read_level_log(path, read_log_mapping(PLAIN), zone=ZONE).steps == 2
