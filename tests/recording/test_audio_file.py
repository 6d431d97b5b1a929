import os
import struct
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.errors import RecordingError
from sleepnoise.formats import containers
from sleepnoise.recording import audio_file
from sleepnoise.recording.audio_file import AudioFile, open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, calibration_from_sensitivity

START = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")

# Step of the encoding relative to full scale: what a written sample may lose.
LOSSLESS = [
    ("WAV", "PCM_16", 2**-15),
    ("WAV", "PCM_24", 2**-23),
    ("WAV", "PCM_32", 2**-24),  # read as float32: 24 bits remain
    ("WAV", "FLOAT", 2**-24),
    ("WAV", "DOUBLE", 2**-24),
    ("WAVEX", "PCM_24", 2**-23),
    ("RF64", "PCM_16", 2**-15),
    ("RF64", "FLOAT", 2**-24),
    ("W64", "PCM_24", 2**-23),
    ("AIFF", "PCM_16", 2**-15),
    ("AIFF", "FLOAT", 2**-24),
    ("CAF", "PCM_24", 2**-23),
    ("FLAC", "PCM_16", 2**-15),
    ("FLAC", "PCM_24", 2**-23),
]
LOSSY = [("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III")]


def heard(audio, calibration=UNITY, **options):
    return np.concatenate([block.pressure_pa for block in read_blocks(audio, calibration, START, **options)])


def cut(path: Path, share: float) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def spoil(path: Path) -> Path:
    """Overwrite a stretch in the middle of a file."""
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 20_000] = bytes(20_000)
    path.write_bytes(data)
    return path


def number(encoding: str, value: float) -> bytes:
    return struct.pack("<f" if encoding == "FLOAT" else "<d", value)


@pytest.mark.parametrize(("container", "encoding", "step"), LOSSLESS)
def test_every_lossless_format_gives_back_what_was_written(
    tmp_path, write_sound, noise, container, encoding, step
):
    path = write_sound(tmp_path / "sound", noise, format=container, subtype=encoding)
    audio = open_audio(path)
    assert (audio.container, audio.encoding) == (container, encoding)
    assert (audio.sample_rate_hz, audio.channels, audio.frames) == (48_000, 1, noise.size)
    np.testing.assert_allclose(heard(audio), noise, rtol=0, atol=step)


@pytest.mark.parametrize(("container", "encoding"), LOSSY)
def test_every_lossy_format_keeps_length_and_level(tmp_path, write_sound, container, encoding):
    tone = 0.1 * np.sin(2 * np.pi * 1000 / 48_000 * np.arange(96_000))
    audio = open_audio(write_sound(tmp_path / "sound", tone, format=container, subtype=encoding))
    samples = heard(audio)
    assert samples.size == audio.frames == tone.size
    middle = slice(20_000, 70_000)
    # 0.2 dB: measured 0.13 at most; no coder promises a figure.
    assert 20 * np.log10(samples[middle].std() / tone[middle].std()) == pytest.approx(0, abs=0.2)


@pytest.mark.parametrize(
    "rate_hz", [8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000]
)
def test_rates_from_8_to_192_khz_are_taken(tmp_path, write_sound, noise, rate_hz):
    path = write_sound(tmp_path / "sound.wav", noise[:9000], rate_hz)
    (block,) = read_blocks(open_audio(path), UNITY, START)
    assert block.sample_rate_hz == rate_hz
    assert block.seconds == 9000 / rate_hz


@pytest.mark.parametrize(("container", "encoding"), [("WAV", "PCM_16"), ("FLAC", "PCM_24"), *LOSSY])
@pytest.mark.parametrize("block_samples", [1000, 4096, 50_000])
def test_blocks_join_to_the_whole_file_however_large_they_are(
    tmp_path, write_sound, noise, monkeypatch, container, encoding, block_samples
):
    path = write_sound(tmp_path / "sound", noise, format=container, subtype=encoding)
    whole, _ = soundfile.read(path, dtype="float32")
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", block_samples)
    np.testing.assert_array_equal(heard(open_audio(path)), whole)


def test_block_times_are_counted_in_samples(tmp_path, write_sound, noise, monkeypatch):
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", 1001)
    audio = open_audio(write_sound(tmp_path / "sound.wav", noise, 44_100))
    blocks = list(read_blocks(audio, UNITY, START))
    for number_of_block, block in enumerate(blocks):
        exact_us = number_of_block * 1001 * 1_000_000 / 44_100
        assert abs((block.start - START) / timedelta(microseconds=1) - exact_us) <= 0.5
    assert all(second.start > first.start for first, second in pairwise(blocks))


def test_a_month_of_samples_still_gives_times_to_the_microsecond():
    audio = AudioFile(
        path=Path("x.wav"), container="WAV", encoding="PCM_16", sample_rate_hz=44_100, channels=1, frames=1
    )
    assert audio.time_at(31 * 86_400 * 44_100 + 22_050) == timedelta(days=31, seconds=0.5)


def test_blocks_are_scaled_to_pascal_and_cannot_be_written_to(tmp_path, write_sound):
    full_scale_sine = np.sin(2 * np.pi * 1000 / 48_000 * np.arange(48_000))
    audio = open_audio(write_sound(tmp_path / "sound.wav", full_scale_sine, subtype="FLOAT"))
    (block,) = read_blocks(audio, calibration_from_sensitivity(114.0), START)
    level_db = 20 * np.log10(np.sqrt(np.mean(block.pressure_pa.astype(np.float64) ** 2)) / 20e-6)
    assert level_db == pytest.approx(114.0, abs=1e-4)
    assert not block.pressure_pa.flags.writeable


def test_blocks_keep_their_samples_when_the_next_one_is_read(tmp_path, write_sound, noise, monkeypatch):
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", 8192)
    audio = open_audio(write_sound(tmp_path / "sound.wav", noise, subtype="DOUBLE"))
    kept = list(read_blocks(audio, UNITY, START))
    np.testing.assert_array_equal(np.concatenate([b.pressure_pa for b in kept]), noise.astype(np.float32))


@pytest.mark.parametrize("channel", [1, 2, 3])
def test_one_channel_is_chosen(tmp_path, write_sound, noise, channel):
    three = np.stack([noise, 2 * noise, 3 * noise], axis=1)
    audio = open_audio(write_sound(tmp_path / "sound.flac", three, subtype="PCM_24"))
    np.testing.assert_allclose(heard(audio, channel=channel), channel * noise, atol=2**-23)


@pytest.mark.parametrize("channel", [0, 3, -1])
def test_a_channel_that_is_not_there_is_refused_at_once(tmp_path, write_sound, noise, channel):
    audio = open_audio(write_sound(tmp_path / "sound.wav", np.stack([noise, noise], axis=1)))
    with pytest.raises(
        RecordingError, match=rf"sound\.wav: channel must be 1 to 2, got {channel}\."
    ) as caught:
        read_blocks(audio, UNITY, START, channel=channel)
    assert caught.value.remedy


def test_float_samples_beyond_full_scale_are_kept(tmp_path, write_sound):
    audio = open_audio(write_sound(tmp_path / "sound.wav", np.full(100, 3.5), subtype="FLOAT"))
    np.testing.assert_array_equal(heard(audio), np.full(100, 3.5, np.float32))


def test_progress_is_told_in_seconds_up_to_the_end(tmp_path, write_sound, noise, monkeypatch):
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", 40_000)
    audio = open_audio(write_sound(tmp_path / "sound.wav", noise))
    told = []
    heard(audio, on_progress=told.append)
    assert told == [40_000 / 48_000, 80_000 / 48_000, 2.0]


def test_memory_does_not_grow_with_the_length(tmp_path, write_sound):
    def peak_bytes(seconds):
        path = write_sound(tmp_path / f"{seconds}.wav", np.zeros((seconds * 8000, 2), np.int16), 8000)
        audio = open_audio(path)
        tracemalloc.start()
        for _ in read_blocks(audio, UNITY, START):
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    long, short = peak_bytes(1200), peak_bytes(60)
    assert long < 1.05 * short
    # The block of all channels, one channel of it twice (the last is still held), and the read-ahead.
    assert long < 4 * (audio_file.BLOCK_SAMPLES * 2 + containers.READ_AHEAD_BYTES)


def test_many_channels_take_no_more_memory_than_one(tmp_path, write_sound):
    audio = open_audio(write_sound(tmp_path / "sound.wav", np.zeros((100_000, 16), np.int16)))
    first = next(iter(read_blocks(audio, UNITY, START)))
    assert first.pressure_pa.size == audio_file.BLOCK_SAMPLES // 16


@pytest.mark.parametrize("encoding", ["FLOAT", "DOUBLE"])
@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_sample_that_is_no_number_is_refused_with_its_time(tmp_path, write_sound, noise, encoding, value):
    # The library refuses nothing on writing, but the bytes are put in by hand to be sure.
    path = write_sound(tmp_path / "sound.wav", noise, subtype=encoding)
    data = bytearray(path.read_bytes())
    size = len(number(encoding, 0.0))
    place = len(data) - (noise.size - 72_000) * size
    data[place : place + size] = number(encoding, value)
    path.write_bytes(data)
    with pytest.raises(
        RecordingError, match=r"sound\.wav: every sample must be a finite .* at 1\.500 s is not"
    ):
        heard(open_audio(path))


@pytest.mark.parametrize("value", [1001.0, -1001.0, 1e38])
def test_a_sample_beyond_any_recorder_is_refused_like_an_infinite_one(tmp_path, write_sound, value):
    """Squares of the largest floats overflow: levels would be infinite, with warnings instead of words."""
    samples = np.zeros(10)
    samples[6] = value
    audio = open_audio(write_sound(tmp_path / "sound.wav", samples, 8000, subtype="FLOAT"))
    with pytest.raises(RecordingError, match=r"at most 1000 times full scale; the one at 0\.001 s is not"):
        heard(audio, calibration_from_sensitivity(140.0))


def test_a_sample_far_above_full_scale_is_taken(tmp_path, write_sound):
    audio = open_audio(write_sound(tmp_path / "sound.wav", np.full(10, 999.0), subtype="FLOAT"))
    assert heard(audio).max() == 999.0


def test_a_bad_sample_in_another_channel_does_not_matter(tmp_path, write_sound, noise):
    both = np.stack([noise, np.full_like(noise, np.nan)], axis=1)
    audio = open_audio(write_sound(tmp_path / "sound.wav", both, subtype="FLOAT"))
    assert heard(audio).size == noise.size


# Bad input


def refused(path: Path) -> RecordingError:
    with pytest.raises(RecordingError) as caught:
        open_audio(path)
    assert str(path) in caught.value.complaint
    assert caught.value.remedy.endswith(".")
    return caught.value


def test_a_missing_file_is_refused(tmp_path):
    assert "no such file" in refused(tmp_path / "night.wav").complaint


def test_a_folder_is_refused(tmp_path):
    assert "is a folder" in refused(tmp_path).complaint


def test_a_device_is_refused():
    assert "device" in refused(Path("/dev/null")).complaint


def test_a_path_that_cannot_exist_is_refused():
    assert "cannot be opened" in refused(Path("night\0.wav")).complaint
    assert "cannot be opened" in refused(Path("n" * 5000)).complaint


def test_a_file_that_may_not_be_read_is_refused(tmp_path, write_sound, noise, monkeypatch):
    path = write_sound(tmp_path / "sound.wav", noise)

    def forbidden(_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(containers, "KeptFile", forbidden)
    assert "cannot be opened: Permission denied" in refused(path).complaint


def test_an_empty_file_is_refused(tmp_path):
    path = tmp_path / "night.wav"
    path.touch()
    assert "is empty" in refused(path).complaint


@pytest.mark.parametrize("name", ["night.wav", "night.flac", "night.mp3", "night.raw", "night.txt"])
def test_text_is_refused_whatever_its_name(tmp_path, name):
    path = tmp_path / name
    path.write_text("The tram passed at 00:12 and again at 00:27.\n" * 200)
    assert "is no sound file" in refused(path).complaint


def test_a_header_without_anything_behind_it_is_refused(tmp_path):
    path = tmp_path / "night.wav"
    path.write_bytes(b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00")
    assert "is no sound file" in refused(path).complaint


def test_a_format_that_is_not_taken_is_refused(tmp_path, write_sound, noise):
    path = write_sound(tmp_path / "sound.wav", noise, format="SVX", subtype="PCM_16")
    assert "format SVX" in refused(path).complaint


def test_a_file_without_samples_is_refused(tmp_path, write_sound):
    path = write_sound(tmp_path / "night.wav", np.zeros(0))
    assert "counts 0 samples" in refused(path).complaint


@pytest.mark.parametrize("rate_hz", [4000, 7999, 192_001, 384_000])
def test_an_unusual_sampling_rate_is_refused(tmp_path, write_sound, noise, rate_hz):
    path = write_sound(tmp_path / "sound.wav", noise[:100], rate_hz)
    assert f"8000 to 192000 Hz, got {rate_hz}" in refused(path).complaint


def test_a_length_that_cannot_be_believed_is_refused(tmp_path, write_sound, noise):
    path = write_sound(tmp_path / "sound.aiff", noise, format="AIFF")
    audio = open_audio(path)
    with pytest.raises(RecordingError, match="more than a month"):
        audio_file._check_header(replace(audio, frames=2**63 - 1))


# Damage


@pytest.mark.parametrize(
    ("container", "encoding"),
    [(c, e) for c, e, _ in LOSSLESS if c != "CAF"] + LOSSY,
)
def test_a_recording_cut_short_gives_what_it_still_holds(tmp_path, write_sound, container, encoding):
    sound = np.random.default_rng(1).standard_normal(480_000) * 0.05
    path = write_sound(tmp_path / "sound", sound, format=container, subtype=encoding)
    whole, _ = soundfile.read(path, dtype="float32")
    samples = heard(open_audio(cut(path, 0.5)))
    # Opus packs whole seconds into a page, so it loses most.
    assert 0.35 * whole.size < samples.size <= 0.51 * whole.size
    np.testing.assert_array_equal(samples, whole[: samples.size])


@pytest.mark.parametrize("block_samples", [4096, 5000, 2**17])
def test_a_flac_cut_short_loses_no_whole_frame(tmp_path, write_sound, monkeypatch, block_samples):
    sound = np.random.default_rng(1).standard_normal(480_000) * 0.05
    path = write_sound(tmp_path / "sound.flac", sound)
    audio = open_audio(cut(path, 0.5))
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", block_samples)
    # Frames of 4096 samples of like size: half of 118, less the one that was cut.
    assert heard(audio).size == 58 * 4096


@pytest.mark.parametrize("encoding", ["FLAC", "OGG", "MP3"])
def test_a_recording_damaged_in_the_middle_is_refused_after_its_good_part(tmp_path, write_sound, encoding):
    sound = np.random.default_rng(1).standard_normal(480_000) * 0.05
    audio = open_audio(spoil(write_sound(tmp_path / "sound", sound, format=encoding)))
    good = []
    with pytest.raises(RecordingError, match=r"(is damaged at \d\.\d+ s|\d+\.\d+ s are missing)") as caught:
        good.extend(block.pressure_pa.size for block in read_blocks(audio, UNITY, START))
    assert sum(good) > 0.4 * sound.size
    assert caught.value.remedy


def test_a_medium_that_fails_while_reading_is_named(tmp_path, write_sound, monkeypatch):
    opened = []

    class Noted(containers.KeptFile):
        def __init__(self, path):
            super().__init__(path)
            opened.append(self)

    sound = np.random.default_rng(1).standard_normal(480_000) * 0.05
    audio = open_audio(write_sound(tmp_path / "sound.wav", sound))
    monkeypatch.setattr(containers, "KeptFile", Noted)
    blocks = read_blocks(audio, UNITY, START)
    next(blocks)
    # The system itself refuses to read on: the number of the open file now stands for a folder.
    folder = os.open(tmp_path, os.O_RDONLY)
    os.dup2(folder, opened[0].fileno())
    os.close(folder)
    with pytest.raises(RecordingError, match=r"sound\.wav: cannot be read beyond \d\.\d+ s: Is a directory"):
        list(blocks)


def test_a_file_that_vanishes_before_reading_is_refused(tmp_path, write_sound, noise):
    path = write_sound(tmp_path / "sound.wav", noise)
    audio = open_audio(path)
    path.unlink()
    with pytest.raises(RecordingError, match="no such file"):
        heard(audio)
