import os

import pytest

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError, SettingsError, StartTimeError
from sleepnoise.portfolio.addresses import fetched
from sleepnoise.portfolio.gathering import gather

SETTINGS = AssessSettings(zone="Europe/Vienna", full_scale_level_db=100.0)


@pytest.fixture
def folder(tmp_path):
    """A bedroom with two nights as files and one as a folder of parts."""
    room = tmp_path / "flat 3"
    (room / "third").mkdir(parents=True)
    for name in ("first.wav", "second.flac", "third/a.wav", "third/b.wav", "notes.txt", ".hidden.wav"):
        (room / name).write_bytes(b"sound")
    return room


def names(tasks):
    return [(task.bedroom, task.night) for task in tasks]


def test_a_folder_is_a_bedroom_and_what_lies_in_it_are_its_nights(folder):
    tasks = gather([str(folder)], SETTINGS)
    assert names(tasks) == [("flat 3", "first"), ("flat 3", "second"), ("flat 3", "third")]
    assert tasks[2].recordings == (str(folder / "third"),)


def laid(root, *names):
    for name in names:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(b"sound")
    return [(task.bedroom, task.night) for task in gather([str(root)], SETTINGS)]


def test_a_folder_of_bedrooms_is_told_by_nights_on_different_days(tmp_path):
    found = laid(tmp_path / "all", "flat 1/20260210_230500.wav", "flat 1/20260211_230500.wav", "flat 2/x.wav")
    assert found == [("flat 1", "20260210_230500"), ("flat 1", "20260211_230500"), ("flat 2", "x")]


def test_a_folder_of_bedrooms_is_told_by_one_night_in_two_of_them(tmp_path):
    found = laid(tmp_path / "all", "flat 1/20260210_230500.wav", "flat 2/20260210_231000.wav")
    assert found == [("flat 1", "20260210_230500"), ("flat 2", "20260210_231000")]


def test_a_folder_of_bedrooms_is_told_by_folders_in_them(tmp_path):
    assert laid(tmp_path / "all", "flat 1/monday/a.wav", "flat 2/b.wav") == [
        ("flat 1", "monday"),
        ("flat 2", "b"),
    ]


def test_folders_with_the_parts_of_one_night_each_are_nights_of_one_bedroom(tmp_path):
    parts = [f"{day}/202602{day}_{hour}0000.wav" for day in (10, 11) for hour in (21, 23)]
    assert laid(tmp_path / "flat 1", *parts, "12/x.wav") == [
        ("flat 1", "10"),
        ("flat 1", "11"),
        ("flat 1", "12"),
    ]


@pytest.mark.parametrize(("zone", "complaint"), [("Europe/Wien", "--zone"), (None, "zone must be given")])
def test_a_zone_that_no_night_can_use_is_said_once_before_any_is_begun(folder, zone, complaint):
    with pytest.raises(StartTimeError, match=complaint):
        gather([str(folder)], AssessSettings(zone=zone))


def test_a_pattern_and_a_file_stand_for_nights_of_the_folder_around_them(folder):
    assert names(gather([f"{folder.parent}/*/f*.wav"], SETTINGS)) == [("flat 3", "first")]
    assert names(gather([str(folder / "second.flac")], SETTINGS)) == [("flat 3", "second")]


def test_an_address_stands_for_the_sound_files_there_and_is_copied_to_scratch_for_a_while(folder):
    pytest.importorskip("fsspec")
    tasks = gather([f"file://{folder}"], SETTINGS)
    assert names(tasks) == [("flat 3", "first"), ("flat 3", "second")]
    with fetched(tasks[0].recordings) as paths:
        assert paths[0].name == "first.wav"
        assert paths[0].read_bytes() == b"sound"
        assert paths[0].parent != folder
    assert not paths[0].exists()


@pytest.mark.parametrize("address", ["file:///no/such/place", "nosuch://x/y.wav"])
def test_an_address_where_nothing_is_gets_a_complaint(address):
    pytest.importorskip("fsspec")
    with pytest.raises(RecordingError, match=r"cannot be read|holds no sound"):
        gather([address], SETTINGS)


def test_a_list_says_of_each_night_what_is_its_own(folder):
    path = folder.parent / "nights.csv"
    path.write_text(
        "bedroom,night,recording,start,clock,calibration,channel\n"
        "flat 3,one,flat 3/first.wav,2026-02-01T23:00,22:58:30=23:00:00,kept.json,2\n"
        '"flat 4",,flat 3/third/a.wav;flat 3/third/b.wav,,,,\n'
    )
    one, other = gather([str(path)], SETTINGS)
    assert names([one, other]) == [("flat 3", "one"), ("flat 4", "a")]
    assert (one.settings.start, one.settings.channel) == ("2026-02-01T23:00", 2)
    assert one.settings.calibration_file == folder.parent / "kept.json"
    assert one.settings.full_scale_level_db is None
    assert len(one.settings.clock) == 1
    assert other.settings == SETTINGS
    assert other.recordings == (str(folder / "third/a.wav"), str(folder / "third/b.wav"))


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("bedroom\nx\n", "no column 'recording'"),
        ("bedroom,recording,colour\nx,y,z\n", "'colour' is not known"),
        ("bedroom,recording,recording\nx,y,z\n", "twice"),
        ("bedroom,recording\nx\n", "line 2: has not as many cells"),
        ("bedroom,recording\nx,y,z\n", "line 2: has not as many cells"),
        ("bedroom,recording\nx,\n", "line 2: names no recording"),
        ("bedroom,recording\n../x,y\n", "line 2: a name must"),
        ("bedroom,recording,channel\nx,y,left\n", "line 2: invalid literal"),
        ("bedroom,recording,clock\nx,y,noon\n", "clock"),
    ],
)
def test_a_mistake_in_a_list_is_told_with_its_line_before_anything_is_heard(tmp_path, text, complaint):
    path = tmp_path / "nights.csv"
    path.write_text(text)
    with pytest.raises((SettingsError, ValueError), match=complaint):
        gather([str(path)], SETTINGS)


def test_two_nights_of_one_name_are_refused_whatever_the_capitals(folder):
    (folder / "First.flac").write_bytes(b"sound")
    with pytest.raises(SettingsError, match=r"first\.wav"):
        gather([str(folder)], SETTINGS)


@pytest.mark.parametrize("where", ["/no/such/folder", "/no/such/*.wav"])
def test_what_is_not_there_gets_a_complaint(where):
    with pytest.raises(RecordingError, match="no such file"):
        gather([where], SETTINGS)


def test_an_empty_folder_or_list_gets_a_complaint(tmp_path):
    with pytest.raises(RecordingError, match="holds no night"):
        gather([str(tmp_path)], SETTINGS)
    (tmp_path / "nights.csv").write_text("bedroom,recording\n")
    with pytest.raises(RecordingError, match="lists no night"):
        gather([str(tmp_path / "nights.csv")], SETTINGS)


@pytest.mark.parametrize(
    "raw",
    [
        b"bedroom,recording\nflat 3,a\0.wav\n", b"bedroom,recording\nflat 3,\xff.wav\n",
        b'bedroom,recording\nflat 3,"a.wav\n', b"bedroom,recording\nflat 3," + b"x" * 200_000,
    ],
)  # fmt: skip
def test_a_list_that_is_no_table_is_refused_with_what_to_do(tmp_path, raw):
    (tmp_path / "nights.csv").write_bytes(raw)
    with pytest.raises(RecordingError, match=r"nights\.csv: cannot be read as a list of nights") as caught:
        gather([str(tmp_path / "nights.csv")], SETTINGS)
    assert "CSV" in caught.value.remedy


def test_a_column_without_end_is_told_shortly(tmp_path):
    (tmp_path / "nights.csv").write_text(f"bedroom,recording,{'x' * 10_000}\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="is not known") as caught:
        gather([str(tmp_path / "nights.csv")], SETTINGS)
    assert len(caught.value.complaint) < 400


def test_a_pipe_is_no_list_of_nights(tmp_path):
    os.mkfifo(tmp_path / "nights.csv")
    with pytest.raises(RecordingError, match="no plain file"):
        gather([str(tmp_path / "nights.csv")], SETTINGS)


@pytest.mark.parametrize("cell", ["..", "../x", "a/b", "a\\b", "~", ".x", "a:b", "a\nb", "x" * 101])
def test_no_name_in_a_list_leads_out_of_the_folder_of_results(tmp_path, cell):
    for line in (f'"{cell}",a.wav,one', f'flat 3,a.wav,"{cell}"'):
        (tmp_path / "nights.csv").write_text(f"bedroom,recording,night\n{line}\n", encoding="utf-8")
        with pytest.raises(SettingsError, match=r"nights\.csv, line \d+: a name must be"):
            gather([str(tmp_path / "nights.csv")], SETTINGS)


@pytest.mark.parametrize(
    "address", ["file://\0", "nowhere://x", "::", "zip://a::b", "file://" + "x/" * 9000, "a://[::"]
)
def test_an_address_that_is_none_is_refused(address):
    pytest.importorskip("fsspec")
    with pytest.raises((RecordingError, SettingsError)):
        gather([address], SETTINGS)
