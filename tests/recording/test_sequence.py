"""Nights in several files: ramps and constants whose every sample says which one it is."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError, StartTimeError
from sleepnoise.recording import audio_file, night_files, part_order, sequence
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.sequence import open_night

UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")
RATE_HZ = 8000
HOUR = 3600
PLACE = {"zone": "Europe/Vienna"}
START = datetime(2026, 3, 5, 21, 0, tzinfo=UTC)
"""22:00 in Vienna."""


@pytest.fixture
def write_parts(tmp_path, write_sound):
    """Return a writer of parts of one endless ramp, 1 step a sample: name -> first second, last second."""

    def write(parts, rate_hz=RATE_HZ):
        for name, (first_s, last_s) in parts.items():
            numbers = np.arange(round(first_s * rate_hz), round(last_s * rate_hz))
            write_sound(tmp_path / name, numbers / 2.0**24, rate_hz, format="WAV", subtype="FLOAT")
        return tmp_path

    return write


def heard(night, **options):
    """Return the numbers of the samples, after checking that the blocks follow each other."""
    stream = night.blocks(UNITY, **options)
    blocks = list(stream)
    done = 0
    for block in blocks:
        microsecond = timedelta(microseconds=1)
        assert (
            abs(block.start - night.start.utc - timedelta(seconds=done / night.sample_rate_hz)) <= microsecond
        )
        done += block.pressure_pa.size
    assert stream.frames_read == done
    return np.concatenate([block.pressure_pa for block in blocks]) * 2.0**24, stream


def ramp(first_s, last_s):
    return np.arange(round(first_s * RATE_HZ), round(last_s * RATE_HZ))


def at(seconds):
    return START + timedelta(seconds=seconds)


def test_a_single_file_is_a_night(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 30)})
    for where in (folder, folder / "20260305_220000.wav", [folder / "20260305_220000.wav"]):
        night = open_night(where, **PLACE)
        assert (night.start.utc, night.seconds, night.gaps, night.remarks) == (START, 30, (), ())
        got, stream = heard(night)
        np.testing.assert_array_equal(got, ramp(0, 30))
        assert (stream.gaps, stream.remarks) == ((), ())


@pytest.mark.parametrize("late_s", [-2, -1, 0, 1, 2])
def test_parts_within_the_steps_of_stamps_are_joined_to_the_sample(write_parts, late_s):
    second = f"202603052200{20 + late_s:02d}.wav"
    folder = write_parts({"20260305_220000.wav": (0, 20), second: (20, 33.5)})
    night = open_night(folder, **PLACE)
    assert (night.seconds, night.gaps, night.remarks) == (33.5, (), ())
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 33.5))


def test_files_in_any_order_give_the_same_night(write_parts):
    parts = {"20260305_220000.wav": (0, 20), "20260305_220020.wav": (20, 40), "20260305_220040.wav": (40, 60)}
    folder = write_parts(parts)
    paths = [folder / name for name in parts]
    for order in ([2, 0, 1], [1, 2, 0]):
        np.testing.assert_array_equal(heard(open_night([paths[k] for k in order], **PLACE))[0], ramp(0, 60))


def test_a_gap_is_silence_and_is_reported(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 20), "20260305_220030.wav": (30, 50)})
    night = open_night(folder, **PLACE)
    (gap,) = night.gaps
    assert (gap.start, gap.end, night.seconds) == (at(20), at(30), 50)
    assert night.remarks == ("20260305_220030.wav: begins 10.000 s after the sound before it ended",)
    got, stream = heard(night)
    expected = ramp(0, 50)
    expected[20 * RATE_HZ : 30 * RATE_HZ] = 0
    np.testing.assert_array_equal(got, expected)
    assert (stream.gaps, stream.remarks) == (night.gaps, night.remarks)


def test_a_long_gap_takes_no_more_memory_than_a_block(write_parts, monkeypatch):
    monkeypatch.setattr(sequence, "BLOCK_SAMPLES", 5000)
    folder = write_parts({"20260305_220000.wav": (0, 10), "20260305_230000.wav": (0, 10)})
    sizes = [block.pressure_pa.size for block in open_night(folder, **PLACE).blocks(UNITY)]
    assert sum(sizes) == 3610 * RATE_HZ
    # 3590 s of silence in blocks, around them the two parts.
    assert max(sizes[1:-1]) == 5000


@pytest.mark.parametrize("block_samples", [10_000, 2**17])
def test_an_overlap_is_left_out_of_the_later_part(write_parts, monkeypatch, block_samples):
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", block_samples)
    folder = write_parts({"20260305_220000.wav": (0, 20), "20260305_220015.wav": (15, 40)})
    night = open_night(folder, **PLACE)
    assert night.gaps == ()
    remark = "20260305_220015.wav: its first 5.000 s were left out, since the part before has them"
    assert night.remarks == (remark,)
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 40))


def test_a_part_that_another_covers_is_left_out(write_parts):
    folder = write_parts(
        {"20260305_220000.wav": (0, 40), "20260305_220010.wav": (10, 20), "20260305_220040.wav": (40, 50)}
    )
    night = open_night(folder, **PLACE)
    assert night.remarks == ("20260305_220010.wav: left out, since other parts cover all of it",)
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 50))


def test_small_losses_at_every_join_add_up_to_gaps(write_parts):
    """A recorder that loses a second at each join: no join shows it, the night does."""
    names = {f"20260305_22{s // 60:02d}{s % 60:02d}.wav": (s, s + 20) for s in range(0, 210, 21)}
    night = open_night(write_parts(names), **PLACE)
    assert 207 <= night.seconds <= 211
    assert night.gaps
    got, _ = heard(night)
    sounding = got[got > 0]
    late_s = np.abs(np.flatnonzero(got > 0) - sounding) / RATE_HZ
    assert late_s.max() <= part_order.JOIN_WITHIN_S + part_order.JOIN_DRIFT * 210


def test_the_longer_a_night_the_further_two_clocks_may_have_drifted_apart():
    """Four hours at 50 ppm each way: 1.44 s on top of the two."""
    assert part_order.joining_frames(0, 48_000) == 2 * 48_000
    assert part_order.joining_frames(4 * HOUR * 48_000, 48_000) == pytest.approx(3.44 * 48_000, abs=1)


def test_progress_is_told_up_to_the_end_of_the_night(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 20), "20260305_220030.wav": (30, 50)})
    told = []
    heard(open_night(folder, **PLACE), on_progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 50


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 39), max_size=5, unique=True), st.randoms())
def test_a_night_cut_anywhere_into_files_is_the_same_night(tmp_path_factory, make_sound, cuts, random):
    folder = tmp_path_factory.mktemp("cut")
    edges = [0, *sorted(cuts), 40]
    paths = [folder / f"part_20260305_2200{first:02d}.wav" for first in edges[:-1]]
    for path, first, last in zip(paths, edges, edges[1:], strict=False):
        make_sound(path, ramp(first, last) / 2.0**24, RATE_HZ, format="WAV", subtype="FLOAT")
    random.shuffle(paths)
    night = open_night(paths, **PLACE)
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 40))
    assert (night.gaps, night.remarks) == ((), ())


# Numbers


def test_numbers_order_parts_that_have_no_stamp(write_parts):
    parts = {f"REC{k:04d}.wav": (10 * k - 80, 10 * k - 70) for k in (8, 9, 10, 11)}
    night = open_night(write_parts(parts), given="2026-03-05T22:00:00", **PLACE)
    assert (night.start.utc, night.gaps) == (START, ())
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 40))
    assert night.remarks[0] == (
        "REC0009.wav: has no time stamp of its own; by its number it follows REC0008.wav"
    )


def test_a_number_that_is_missing_is_refused(write_parts):
    folder = write_parts({"REC0001.wav": (0, 10), "REC0003.wav": (20, 30)})
    with pytest.raises(StartTimeError, match=r"REC0003\.wav: "):
        open_night(folder, given="2026-03-05T22:00:00", **PLACE)


def test_parts_that_all_carry_the_stamp_of_the_first_follow_by_number(write_parts):
    """Some recorders write the beginning of the first part into all of them."""
    parts = {f"20260305_220000_{k:03d}.wav": (10 * k, 10 * k + 10) for k in range(3)}
    night = open_night(write_parts(parts), **PLACE)
    np.testing.assert_array_equal(heard(night)[0], ramp(0, 30))
    assert "by its number it follows 20260305_220000_001.wav" in night.remarks[-1]


def test_a_start_that_is_given_moves_all_stamps(write_parts):
    """The recorder's clock was a year and some hours off; the gap stays what it was."""
    folder = write_parts({"20250101_000000.wav": (0, 20), "20250101_000030.wav": (30, 50)})
    night = open_night(folder, given="2026-03-05T22:00:00", **PLACE)
    assert (night.start.utc, night.gaps[0].start, night.gaps[0].end) == (START, at(20), at(30))


def test_a_file_that_tells_neither_time_nor_number_is_refused(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 10), "tone.wav": (0, 10)})
    with pytest.raises(StartTimeError, match=r"tone\.wav"):
        open_night(folder, **PLACE)


# Clock changes. Vienna 2026: 29 March 02:00 -> 03:00, 25 October 03:00 -> 02:00 (tz database).


@pytest.fixture
def hours(tmp_path, make_sound):
    """Return a writer of one-hour files; every one holds its own number."""

    def write(names):
        for number, name in enumerate(names, 1):
            make_sound(tmp_path / f"{name}.wav", np.full(HOUR * RATE_HZ, number, np.int16), RATE_HZ)
        return tmp_path

    return write


@pytest.mark.parametrize(
    "names",
    [
        ("20260329_010000", "20260329_030000", "20260329_040000"),
        ("20260329_010000", "20260329_020000", "20260329_030000"),
    ],
    ids=["the clock changes", "the clock does not"],
)
def test_parts_are_joined_across_the_change_in_spring(hours, names):
    night = open_night(hours(names), **PLACE)
    assert (night.start.utc, night.seconds, night.gaps) == (datetime(2026, 3, 29, tzinfo=UTC), 3 * HOUR, ())
    assert [part.audio.path.stem for part in night.parts] == list(names)


@pytest.mark.parametrize(
    "names",
    [
        ("20261025_000000", "20261025_010000", "20261025_020000 a", "20261025_020000 b", "20261025_030000"),
        ("20261025_000000", "20261025_010000", "20261025_020000", "20261025_030000", "20261025_040000"),
    ],
    ids=["the clock changes", "the clock does not"],
)
def test_parts_are_joined_across_the_change_in_autumn(hours, names):
    night = open_night(hours(names), **PLACE)
    assert (night.start.utc, night.seconds) == (datetime(2026, 10, 24, 22, tzinfo=UTC), 5 * HOUR)
    assert night.gaps == ()
    assert [part.audio.path.stem for part in night.parts] == list(names)
    assert any("its stamp was read as" in remark for remark in night.remarks)


def test_a_first_part_in_the_doubled_hour_must_be_given(hours):
    folder = hours(("20261025_023000", "20261025_033000"))
    with pytest.raises(StartTimeError, match="happened twice"):
        open_night(folder, **PLACE)
    night = open_night(folder, given="2026-10-25T02:30:00+01:00", **PLACE)
    assert (night.seconds, night.gaps) == (2 * HOUR, ())


# What is refused, and what is damaged


def test_different_rates_and_channels_are_refused_with_both_named(write_parts, write_sound):
    folder = write_parts({"20260305_220000.wav": (0, 5)})
    write_sound(folder / "20260305_220005.wav", np.zeros((44_100, 2)), 44_100)
    with pytest.raises(RecordingError) as caught:
        open_night(folder, **PLACE)
    assert (
        "has 44100 Hz in 2 channels, 20260305_220000.wav has 8000 Hz in 1 channel" in caught.value.complaint
    )
    assert caught.value.remedy


def test_two_nights_in_a_folder_are_refused(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 5), "20260306_220000.wav": (0, 5)})
    with pytest.raises(RecordingError, match=r"begins 24\.0 h after"):
        open_night(folder, **PLACE)


def test_a_folder_without_sound_is_refused_and_shadows_are_passed_over(write_parts):
    folder = write_parts({})
    (folder / "._20260305_220000.wav").write_bytes(b"shadow")
    (folder / "notes.txt").write_text("window tilted")
    with pytest.raises(RecordingError, match="no sound file in this folder"):
        open_night(folder, **PLACE)
    write_parts({"20260305_220000.wav": (0, 5)})
    assert open_night(folder, **PLACE).seconds == 5


def test_an_empty_list_is_refused():
    with pytest.raises(RecordingError, match="no recording was given"):
        open_night([], **PLACE)


def test_a_channel_that_is_not_there_is_refused_at_once(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 5), "20260305_220005.wav": (5, 10)})
    with pytest.raises(RecordingError, match="channel must be 1 to 1"):
        open_night(folder, **PLACE).blocks(UNITY, channel=2)


def test_the_zone_is_asked_for(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 5), "20260305_220005.wav": (5, 10)})
    with pytest.raises(StartTimeError, match="zone"):
        open_night(folder)


def test_a_part_that_was_cut_short_leaves_a_gap_and_the_rest_in_its_place(write_parts):
    folder = write_parts({"20260305_220000.wav": (0, 20), "20260305_220020.wav": (20, 40)})
    first = folder / "20260305_220000.wav"
    first.write_bytes(first.read_bytes()[: -10 * 4 * RATE_HZ])
    night = open_night(folder, **PLACE)
    assert [(gap.start, gap.end) for gap in night.gaps] == [(at(10), at(20))]
    assert night.remarks[0].startswith("20260305_220000.wav: cut short: 10.0")
    np.testing.assert_array_equal(heard(night)[0][20 * RATE_HZ :], ramp(20, 40))


def test_a_loss_that_only_reading_shows_becomes_a_gap(tmp_path, write_sound):
    noise = np.random.default_rng(1).standard_normal(20 * RATE_HZ) * 0.05
    first = write_sound(tmp_path / "20260305_220000.mp3", noise, RATE_HZ, format="MP3")
    second = write_sound(tmp_path / "20260305_220020.mp3", noise, RATE_HZ, format="MP3")
    whole = heard(open_night(second, **PLACE))[0]
    first.write_bytes(first.read_bytes()[: first.stat().st_size // 2])
    night = open_night(tmp_path, **PLACE)
    assert night.gaps == ()
    got, stream = heard(night)
    (gap,) = stream.gaps
    assert gap.end == at(20)
    assert at(9) < gap.start < at(11)
    assert any("less could be decoded" in remark for remark in stream.remarks)
    np.testing.assert_array_equal(got[20 * RATE_HZ :], whole)


def test_more_files_than_a_night_can_have_are_refused_before_any_is_opened(tmp_path, monkeypatch):
    monkeypatch.setattr(night_files, "MOST_PARTS", 2)
    for name in ("1.wav", "2.wav", "3.wav"):
        (tmp_path / name).touch()
    for where in (tmp_path, sorted(tmp_path.iterdir())):
        with pytest.raises(RecordingError, match="may have 2 sound files at most, got 3"):
            open_night(where, **PLACE)


def test_the_place_of_a_part_is_looked_up_not_searched_among_all_the_others(monkeypatch, write_parts):
    """Searching took minutes for thousands of parts, as sound-triggered recorders write them."""
    seconds = range(0, 60, 2)
    folder = write_parts({f"20260305_2200{second:02d}.wav": (second, second + 2) for second in seconds})
    placed = []
    counted = part_order._frame_at
    monkeypatch.setattr(part_order, "_frame_at", lambda *of: placed.append(of) or counted(*of))
    assert len(open_night(folder, **PLACE).parts) == len(seconds)
    assert len(placed) < 2 * len(seconds)


def test_a_night_of_days_is_refused_before_it_is_heard(monkeypatch, write_parts):
    """A small file can hold weeks of silence, whose levels would fill any memory."""
    monkeypatch.setattr(sequence, "LONGEST_NIGHT_S", 20.0)
    folder = write_parts({"20260305_220000.wav": (0, 10), "20260305_220010.wav": (10, 20)})
    assert open_night(folder, **PLACE).seconds == 20
    write_parts({"20260305_220020.wav": (20, 21)})
    with pytest.raises(
        RecordingError, match=r"220000\.wav: with all its parts it lasts .* h; a night may last"
    ):
        open_night(folder, **PLACE)
