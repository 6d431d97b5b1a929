"""Noise diaries as residents write them and spreadsheets export them."""

from datetime import UTC, datetime

import pytest

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.recognition.diary import read_diary

DOOR = datetime(2026, 2, 10, 22, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "time,words\n23:15,door\n",
        "time,words\n2026-02-10T23:15,door\n",
        "date;time;words\n10.02.2026;23:15;door\n",
        "\ufeffdate;time;words\r\n10.02.2026;23:15:00,0;door\r\n",
        "words\tdate\ttime\ndoor\t2/10/2026\t11:15 PM\n",
        "date,time,words\n2026-02-10,23:15,door\n",
        "date,time,words\n,23:15,door\n",
    ],
)
def test_one_evening_in_the_writing_of_many_spreadsheets(written, recorded, text):
    entry = read_diary(written(text), recorded).entries[0]
    assert (entry.time, entry.words) == (DOOR, "door")


def test_other_heads_can_be_named(written, recorded):
    path = written("Datum;Uhrzeit;Was\n10.02.2026;23:15;Tür\n")
    diary = read_diary(path, recorded, {"date": "Datum", "time": "Uhrzeit", "words": "Was"})
    assert (diary.entries[0].time, diary.entries[0].words) == (DOOR, "Tür")
    assert diary.remarks == ("night.csv: dates in figures were read day first.",)


def test_a_head_that_is_named_must_be_there(written, recorded):
    with pytest.raises(RecordingError, match="lacking Tag"):
        read_diary(written("time,words\n23:15,door\n"), recorded, {"date": "Tag"})


def test_a_column_that_diaries_do_not_have_cannot_be_named(written, recorded):
    with pytest.raises(SettingsError, match="date, time, words can be named, got loudness"):
        read_diary(written("time,words\n23:15,door\n"), recorded, {"loudness": "dB"})


def test_a_date_that_can_be_read_two_ways_is_asked_with_its_line(written, recorded):
    path = written("date;time;words\n03.04.2026;23:15;door\n")
    with pytest.raises(RecordingError, match=r"line 2: the date of '03\.04\.2026 23:15' may be") as refused:
        read_diary(path, recorded)
    assert "day or the month" in refused.value.remedy


def test_entries_of_other_nights_are_kept_and_all_are_in_order_of_time(written, recorded):
    diary = read_diary(
        written("date,time,words\n2026-02-11,02:00,b\n2026-02-01,03:00,a\n2026-02-10,23:15,door\n"), recorded
    )
    assert [(entry.words, entry.line) for entry in diary.entries] == [("a", 3), ("door", 4), ("b", 2)]


def test_every_mistake_is_named_with_its_line(written, recorded):
    path = written("time,words\n23:15,\nlate,door\n12:00,door\n23:20,door\n")
    with pytest.raises(RecordingError) as refused:
        read_diary(path, recorded)
    told = refused.value.complaint.split("\n")
    assert [each.partition(": ")[0] for each in told] == [f"{path}, line 2", "line 3", "line 4"]


def test_a_diary_without_entries_is_refused(written, recorded):
    with pytest.raises(RecordingError, match="has no entry"):
        read_diary(written("time,words\n"), recorded)
