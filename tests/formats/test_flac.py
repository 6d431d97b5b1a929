"""Lengths of FLAC files whose header is wrong; the files are written by the reference library."""

from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError
from sleepnoise.formats.flac import last_sample
from sleepnoise.formats.riff import OPEN, STALE
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration

START = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")
FRAME = 4096
"""Samples in a frame as the library writes them."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory, make_sound):
    """Return ten seconds at 48 kHz and the file that holds them: 117 frames of 4096 and one of 768."""
    samples = (np.random.default_rng(1).standard_normal(480_000) * 2000).astype(np.int16)
    path = make_sound(tmp_path_factory.mktemp("flac") / "sound.flac", samples)
    return samples / np.float32(2**15), path.read_bytes()


def with_count(content: bytes, count: int) -> bytes:
    """STREAMINFO: the low 4 bits of byte 21 and bytes 22 to 25 of the file count the samples; 0 = unknown."""
    data = bytearray(content)
    assert int.from_bytes(data[21:26], "big") & 0xF_FFFF_FFFF == 480_000
    data[21] = data[21] & 0xF0 | count >> 32
    data[22:26] = (count & 0xFFFF_FFFF).to_bytes(4, "big")
    return bytes(data)


def opened(tmp_path, content):
    path = tmp_path / "night.flac"
    path.write_bytes(content)
    return open_audio(path)


def heard(audio):
    stream = read_blocks(audio, UNITY, START)
    blocks = [block.pressure_pa for block in stream]
    return np.concatenate(blocks), stream


@pytest.mark.parametrize(("count", "finding"), [(0, OPEN), (100_000, STALE), (1, STALE)])
def test_a_count_that_is_unknown_or_too_small_is_read_off_the_last_frame(tmp_path, whole, count, finding):
    """Case "FLAC total samples = 0 (unknown, streamed)", which the decoder reports as 2^63 - 1."""
    samples, content = whole
    audio = opened(tmp_path, with_count(content, count))
    assert (audio.frames, audio.remarks) == (480_000, (finding,))
    got, stream = heard(audio)
    np.testing.assert_array_equal(got, samples)
    assert (stream.frames_read, stream.remarks) == (480_000, (finding,))


@pytest.mark.parametrize("count", [480_000, 0])
def test_case_cut_in_half_header_total_unchanged(tmp_path, whole, count):
    samples, content = whole
    audio = opened(tmp_path, with_count(content, count)[: len(content) // 2])
    assert 230_000 < audio.frames < 250_000
    assert audio.frames % FRAME == 0
    got, stream = heard(audio)
    # The last frame is not whole; all others are there.
    assert audio.frames - FRAME <= stream.frames_read == got.size <= audio.frames
    np.testing.assert_array_equal(got, samples[: got.size])
    if count == 480_000:
        missing_s = (480_000 - audio.frames) / 48_000
        assert audio.remarks == (f"cut short: {missing_s:.3f} s that its header counts are missing",)
    else:
        assert audio.remarks == (OPEN,)


@settings(max_examples=40, deadline=None)
@given(share=st.floats(0, 1))
def test_cut_anywhere_no_more_than_one_frame_is_lost(tmp_path_factory, whole, share):
    samples, content = whole
    kept = content[: int(share * len(content))]
    path = tmp_path_factory.getbasetemp() / "cut.flac"
    path.write_bytes(kept)
    try:
        got, _ = heard(open_audio(path))
    except RecordingError:
        got = np.zeros(0)
    np.testing.assert_array_equal(got, samples[: got.size])
    # Noise: all frames have about the same size, so the share of the bytes tells how many are there.
    assert got.size > 480_000 * share - 2 * FRAME


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000, 96_000, 88_200, 11_025])
@pytest.mark.parametrize("samples", [4096, 5000, 70_000, 300_001])
def test_the_last_frame_tells_the_length_at_any_rate(tmp_path, write_sound, rate_hz, samples):
    """Lengths that need sizes of one and of two bytes, and numbers of one to two bytes."""
    noise = np.random.default_rng(2).standard_normal((samples, 2)) * 0.05
    path = write_sound(tmp_path / "sound.flac", noise, rate_hz, subtype="PCM_24")
    with path.open("rb") as stream:
        assert last_sample(stream) == samples


def test_what_only_looks_like_a_frame_behind_the_last_one_is_passed_over(tmp_path, whole):
    _, content = whole
    frame = bytearray(content[content.index(b"\xff\xf8") :][:16])
    frame[4] = 0x7F  # frame 127; the check of the header is now wrong
    path = tmp_path / "night.flac"
    path.write_bytes(content + frame)
    with path.open("rb") as stream:
        assert last_sample(stream) == 480_000


@given(st.binary(max_size=200))
def test_garbage_tells_nothing_or_something_but_never_breaks(tmp_path_factory, garbage):
    path = tmp_path_factory.getbasetemp() / "garbage.flac"
    for beginning in (b"fLaC", b"fLaC\x80\0\0\x22" + bytes(34) + b"\xff\xf8\xc9\x08"):
        path.write_bytes(beginning + garbage)
        with suppress(RecordingError):
            heard(open_audio(path))
