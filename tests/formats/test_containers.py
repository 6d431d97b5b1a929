"""What AIFF, W64, CAF, Ogg and MP3 files that were cut short or never closed still give."""

import io
import struct
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError
from sleepnoise.formats.containers import OGG_CHAINED, OGG_OPEN, KeptFile, Spliced
from sleepnoise.formats.riff import OPEN, SoundPlace
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration

START = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")

# The longest stretch of sound that is lost with what is not whole, in samples of 48 kHz.
UNIT = {"AIFF": 1, "W64": 1, "CAF": 1, "MP3": 2 * 1152, "VORBIS": 24_000, "OPUS": 50_000}
"""Pages of Ogg as the library writes them: 4 KiB of Vorbis, a second of Opus."""


@pytest.fixture(scope="module")
def files(tmp_path_factory, make_sound):
    """Return ten seconds of noise in every format: what a decoder makes of the whole, and the bytes."""
    samples = np.random.default_rng(1).standard_normal(480_000) * 0.05
    made = {}
    for name in UNIT:
        form = {"format": "OGG", "subtype": name} if name in ("VORBIS", "OPUS") else {"format": name}
        path = make_sound(tmp_path_factory.mktemp("whole") / "sound", samples, **form)
        made[name] = heard(open_audio(path))[0], path.read_bytes()
    return made


def heard(audio):
    stream = read_blocks(audio, UNITY, START)
    blocks = [block.pressure_pa for block in stream]
    return np.concatenate(blocks), stream


def opened(tmp_path, content):
    path = tmp_path / "night"
    path.write_bytes(content)
    return open_audio(path)


@pytest.mark.parametrize("name", ["AIFF", "W64", "CAF"])
def test_a_plain_file_cut_in_half_says_what_is_missing(tmp_path, files, name):
    """Cases "AIFF cut in half", "W64 cut in half" and "CAF cut in half"; the decoder refuses the last."""
    samples, content = files[name]
    audio = opened(tmp_path, content[: len(content) // 2])
    got, _ = heard(audio)
    assert got.size == audio.frames
    np.testing.assert_array_equal(got, samples[: got.size])
    (remark,) = audio.remarks
    missing_s = float(remark.removeprefix("cut short: ").split()[0])
    # The length of an outermost chunk counts a header of some hundred bytes in, which is a millisecond.
    assert missing_s == pytest.approx((480_000 - got.size) / 48_000, abs=0.003)


@pytest.mark.parametrize("name", ["AIFF", "W64", "CAF", "MP3"])
def test_a_whole_file_says_nothing_of_its_end(tmp_path, files, name):
    audio = opened(tmp_path, files[name][1])
    _, stream = heard(audio)
    assert not [
        remark for remark in (*audio.remarks, *stream.remarks) if "cut" in remark or "closed" in remark
    ]


@pytest.mark.parametrize("ending", [0, 999])
def test_case_caf_data_size_minus_1_is_up_to_the_end_of_the_file(tmp_path, files, ending):
    samples, content = files["CAF"]
    place = content.index(b"data") + 4
    assert struct.unpack(">q", content[place : place + 8])[0] == 4 + 960_000
    content = content[:place] + struct.pack(">q", -1) + content[place + 8 : len(content) - ending]
    audio = opened(tmp_path, content)
    assert audio.remarks == (OPEN,)
    got, _ = heard(audio)
    np.testing.assert_array_equal(got, samples[: (960_000 - ending) // 2])


@pytest.mark.parametrize("name", ["VORBIS", "OPUS"])
def test_case_ogg_cut_in_half_gives_its_whole_pages_and_says_so(tmp_path, files, name):
    samples, content = files[name]
    whole = opened(tmp_path, content)
    assert OGG_OPEN not in whole.remarks
    audio = opened(tmp_path, content[: len(content) // 2])
    assert audio.remarks[0] == OGG_OPEN
    got, stream = heard(audio)
    assert got.size == audio.frames == stream.frames_read
    np.testing.assert_array_equal(got, samples[: got.size])


def test_case_mp3_cut_in_half_says_after_reading_what_its_header_promised(tmp_path, files):
    samples, content = files["MP3"]
    audio = opened(tmp_path, content[: len(content) // 2])
    assert audio.frames == 480_000
    got, stream = heard(audio)
    np.testing.assert_array_equal(got, samples[: got.size])
    missing_s = (480_000 - got.size) / 48_000
    assert stream.remarks[0] == f"cut short: {missing_s:.3f} s less could be decoded than expected"
    # The bit rate is that of what is there.
    rates = [remarks[-1].split(", ")[1].split()[0] for remarks in (audio.remarks, stream.remarks)]
    assert float(rates[1]) == pytest.approx(2 * float(rates[0]), rel=0.05)


@pytest.mark.parametrize("name", UNIT)
@settings(max_examples=15, deadline=None)
@given(share=st.floats(0, 1))
def test_cut_anywhere_nothing_but_the_last_unit_is_lost(tmp_path_factory, files, name, share):
    samples, content = files[name]
    path = tmp_path_factory.getbasetemp() / f"cut-{name}"
    path.write_bytes(content[: int(share * len(content))])
    try:
        got, _ = heard(open_audio(path))
    except RecordingError:
        got = np.zeros(0, np.float32)
    np.testing.assert_array_equal(got, samples[: got.size])
    # The header (4 KiB in CAF) comes out of the share too; rates of lossy files vary by a few percent.
    allowance = 4096 + (0.05 * 480_000 if name in ("MP3", "VORBIS", "OPUS") else 0)
    assert got.size > 480_000 * share - UNIT[name] - allowance


def test_a_header_of_our_own_is_followed_by_the_sound_and_nothing_else(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"wrong header" + b"the sound" + b"something else")
    place = SoundPlace(kind="RIFF", header=b"right", place=12, size=9, finding="", missing_share=0.0)
    for piece in (1, 3, 100):
        with io.BufferedReader(Spliced(KeptFile(path), place), piece) as stream:
            assert stream.read() == b"rightthe sound"
            assert stream.seek(-5, io.SEEK_END) == 9
            assert stream.read(100) == b"sound"
            assert stream.seek(3) == 3
            assert stream.read(5) == b"htthe"


def test_a_chunk_that_reaches_beyond_any_disk_is_refused(tmp_path):
    with pytest.raises(RecordingError, match="is no sound file"):
        opened(tmp_path, b"caff\0\1\0\0" + 3 * (b"free" + struct.pack(">q", 2**63 - 1)))


@given(st.binary(max_size=200))
def test_garbage_behind_a_beginning_never_breaks(tmp_path_factory, garbage):
    path = tmp_path_factory.getbasetemp() / "garbage"
    for beginning in (b"caff\0\1\0\0", b"FORM\0\0\0\0AIFF", b"riff", b"OggS"):
        path.write_bytes(beginning + garbage)
        with pytest.raises(RecordingError):
            open_audio(path)


@pytest.mark.filterwarnings("error::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("size", [2**63, 2**64 - 1, 2**62])
def test_a_size_that_sends_the_decoder_in_front_of_the_file_leaves_no_traceback(tmp_path, make_sound, size):
    """Errors below the decoder's library are printed by it, and no except sees them."""
    content = bytearray(make_sound(tmp_path / "whole", np.zeros(100), format="W64").read_bytes())
    place = content.index(b"data") + 16
    content[place : place + 8] = struct.pack("<Q", size)
    with suppress(RecordingError):
        assert heard(opened(tmp_path, bytes(content)))[0].size == 100


@pytest.mark.parametrize("name", ["VORBIS", "OPUS"])
def test_what_follows_a_closed_ogg_stream_is_not_read_and_that_is_said(tmp_path, files, make_sound, name):
    samples, content = files[name]
    other = make_sound(tmp_path / "other", np.zeros(48_000), format="OGG", subtype=name).read_bytes()
    serial = content[14:18]
    assert other[14:18] != serial
    audio = opened(tmp_path, content + other)
    assert OGG_CHAINED in audio.remarks
    assert heard(audio)[0].size <= samples.size
    assert OGG_CHAINED not in opened(tmp_path, content).remarks
