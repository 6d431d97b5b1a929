"""Phones' files; noise and tones are coded by the same library that decodes them, or arrive byte by byte."""

import sys
import tracemalloc
from datetime import UTC, datetime
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError, StartTimeError
from sleepnoise.formats.phone import phone_format, stated_creation
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.timestamps import find_start

START = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")
FORMS = {
    "m4a": ("mp4", "aac", 48_000),
    "3gp": ("3gp", "libopencore_amrnb", 8_000),
    "amr": ("amr", "libopencore_amrnb", 8_000),
    "webm": ("webm", "libopus", 48_000),
    "aac": ("adts", "aac", 48_000),
}


def write(path, samples, name, *, options=None, pauses=None):
    """Code samples, shape (channels, frames); a pause shifts all time stamps from a sample on."""
    av = pytest.importorskip("av")
    container_format, codec, rate_hz = FORMS[name]
    if codec not in av.codecs_available:
        pytest.skip(f"this build of the library cannot write {codec}")
    layout = "mono" if len(samples) == 1 else "stereo"
    with av.open(path, "w", format=container_format, options=options or {}) as container:
        stream = container.add_stream(codec, rate=rate_hz, layout=layout)
        if "amr" in codec:
            stream.bit_rate = 12_200
        for first in range(0, samples.shape[1], 960):
            part = np.ascontiguousarray(samples[:, first : first + 960], dtype=np.float32)
            packed = (part.T.reshape(1, -1) * 32_767).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(packed, format="s16", layout=layout)
            frame.sample_rate, frame.time_base = rate_hz, Fraction(1, rate_hz)
            frame.pts = first + sum(frames for place, frames in pauses or () if first >= place)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def made_at(path, moment):
    """Code two seconds that say when they were made."""
    av = pytest.importorskip("av")
    plain = write(path.with_name("plain.m4a"), tone(2.0, 48_000), "m4a")
    with av.open(plain) as old, av.open(path, "w", format="mp4") as new:
        new.metadata["creation_time"] = moment
        stream = new.add_stream_from_template(old.streams.audio[0])
        for packet in old.demux(old.streams.audio[0]):
            if packet.dts is not None:
                packet.stream = stream
                new.mux(packet)
    return path


def test_a_files_moment_of_creation_is_offered_as_beginning_end_and_local_time_but_not_believed(tmp_path):
    path = made_at(tmp_path / "New recording 7.m4a", "2026-02-11T03:20:00Z")
    # Vienna is one hour before UTC in February.
    with pytest.raises(StartTimeError, match="made at 2026-02-11 04:20:00 local time") as caught:
        find_start(path, 48_000, given=None, zone="Europe/Vienna")
    for start in ("2026-02-11T04:20:00+01:00", "2026-02-11T04:19:58+01:00", "2026-02-11T03:20:00 "):
        assert f"--start {start}" in caught.value.remedy


def test_a_file_that_does_not_say_when_it_was_made_offers_nothing(tmp_path):
    path = write(tmp_path / "x.m4a", tone(2.0, 48_000), "m4a")
    assert stated_creation(path) is None
    assert stated_creation(tmp_path / "missing.m4a") is None


def tone(seconds, rate_hz, channels=1):
    one = 0.1 * np.sin(2 * np.pi * 1000 / rate_hz * np.arange(round(seconds * rate_hz)))
    return np.stack([one / (1 + channel) for channel in range(channels)])


def heard(audio, channel=1):
    stream = read_blocks(audio, UNITY, START, channel=channel)
    return np.concatenate([block.pressure_pa for block in stream]), stream


@pytest.mark.parametrize("name", FORMS)
def test_every_form_keeps_length_and_level(tmp_path, name):
    rate_hz = FORMS[name][2]
    samples = tone(10, rate_hz)
    audio = open_audio(write(tmp_path / f"night.{name}", samples, name))
    got, stream = heard(audio)
    assert (audio.sample_rate_hz, audio.channels) == (rate_hz, 1)
    # AMR and ADTS have no index: their packets are whole, and the lead-in of the coder is kept.
    exact = name in ("m4a", "3gp", "webm")
    assert got.size == pytest.approx(10 * rate_hz, abs=0 if exact else 2048)
    assert audio.frames == pytest.approx(got.size, abs=0 if name != "webm" else 480)
    assert stream.frames_read == got.size
    middle = got[2 * rate_hz : 8 * rate_hz]
    # A speech coder takes 0.53 dB off this tone, measured; the others keep it within 0.1 dB.
    assert 20 * np.log10(middle.std() / samples[0].std()) == pytest.approx(
        0, abs=0.6 if "amr" in FORMS[name][1] else 0.1
    )
    assert any("lossy coding" in remark for remark in audio.remarks)


def test_a_channel_of_a_stereo_file_is_chosen(tmp_path):
    samples = tone(3, 48_000, channels=2)
    audio = open_audio(write(tmp_path / "night.m4a", samples, "m4a"))
    left, right = (heard(audio, channel)[0].std() for channel in (1, 2))
    assert left / right == pytest.approx(2, rel=0.01)


def test_sound_is_where_it_was(tmp_path):
    """A click keeps its place to the sample, whatever the coder puts in front."""
    samples = np.zeros((1, 96_000))
    samples[0, 48_000] = 0.9
    for name in ("m4a", "webm"):
        got, _ = heard(open_audio(write(tmp_path / f"night.{name}", samples, name)))
        assert int(np.abs(got).argmax()) == pytest.approx(48_000, abs=1)


def test_a_pause_in_the_time_stamps_is_silence_and_is_said(tmp_path):
    path = write(tmp_path / "night.webm", tone(4, 48_000), "webm", pauses=[(96_000, 144_000)])
    audio = open_audio(path)
    got, stream = heard(audio)
    # Time stamps of this container are whole milliseconds.
    assert got.size == pytest.approx(7 * 48_000, abs=2 * 960)
    assert not got[110_000:230_000].any()
    assert any(r.startswith("a hole of 3.0") or r.startswith("a hole of 2.9") for r in stream.remarks)


def test_memory_does_not_grow_with_the_length(tmp_path):
    def peak_bytes(seconds):
        samples = np.broadcast_to(np.float32(0.0), (1, seconds * 8000))
        audio = open_audio(write(tmp_path / f"{seconds}.amr", samples, "amr"))
        tracemalloc.start()
        for _ in read_blocks(audio, UNITY, START):
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    # A block of 2^17 samples in packets, joined, scaled, and the one before it.
    assert peak_bytes(200) < 1.3 * peak_bytes(60) < 8 * 4 * 2**17


def test_without_the_extra_the_message_names_it(tmp_path, monkeypatch):
    path = write(tmp_path / "night.m4a", tone(1, 48_000), "m4a")
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(RecordingError, match="is a phone's recording") as caught:
        open_audio(path)
    assert "sleepnoise[phone]" in caught.value.remedy


def test_a_file_that_lost_its_index_is_refused(tmp_path):
    path = write(tmp_path / "night.m4a", tone(5, 48_000), "m4a")
    path.write_bytes(path.read_bytes()[:20_000])
    with pytest.raises(RecordingError, match="index is missing or damaged") as caught:
        open_audio(path)
    assert caught.value.remedy


def test_a_video_without_sound_is_refused(tmp_path):
    av = pytest.importorskip("av")
    with av.open(tmp_path / "night.mp4", "w", format="mp4") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width = stream.height = 32
        stream.pix_fmt = "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(RecordingError, match="no sound in it"):
        open_audio(tmp_path / "night.mp4")


def test_more_channels_than_the_library_can_hand_out_are_refused(tmp_path):
    """Broken bytes of AAC made 55 of them, and the library read where nothing was: the program died."""
    av = pytest.importorskip("av")
    path = tmp_path / "night.webm"
    with av.open(path, "w", format="matroska") as container:
        stream = container.add_stream("pcm_f32le", rate=8000, layout="hexadecagonal")
        samples = np.zeros((1, 16 * 1000), dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(samples, format="flt", layout="hexadecagonal")
        frame.sample_rate = 8000
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(RecordingError, match="it has 16 channels, 8 at most are read"):
        heard(open_audio(path))


@pytest.mark.parametrize(
    ("name", "coding", "reason"),
    [
        ("webm", [b"A_OPUS"], "there is no sound in it"),
        ("m4a", [b"mp4a", b"esds"], "its coding is not known here"),
    ],
)
def test_a_coding_that_nobody_knows_is_refused(tmp_path, name, coding, reason):
    path = write(tmp_path / f"night.{name}", tone(0.1, 48_000), name)
    content = path.read_bytes()
    for word in coding:
        content = content.replace(word, b"X" * len(word))
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=reason) as caught:
        open_audio(path)
    assert caught.value.remedy


@pytest.mark.parametrize("name", ["webm", "aac", "amr"])
@settings(max_examples=12, deadline=None)
@given(share=st.floats(0, 1))
@example(share=0.4604773100022227)  # Within the header of a packet.
def test_cut_anywhere_nothing_but_the_last_packets_are_lost(tmp_path_factory, name, share):
    rate_hz = FORMS[name][2]
    folder = tmp_path_factory.getbasetemp()
    whole = folder / f"whole.{name}"
    if not whole.exists():
        write(whole, np.random.default_rng(1).standard_normal((1, 10 * rate_hz)) * 0.05, name)
    content = whole.read_bytes()
    path = folder / f"cut.{name}"
    path.write_bytes(content[: int(share * len(content))])
    try:
        got, _ = heard(open_audio(path))
    except RecordingError:
        got = np.zeros(0)
    # Rates vary by a few percent over a file; the longest unit is a cluster of a second.
    assert got.size > (share - 0.05) * 10 * rate_hz - rate_hz


def test_an_index_in_front_of_a_file_that_was_cut_says_what_is_missing(tmp_path):
    samples = np.random.default_rng(1).standard_normal((1, 480_000)) * 0.05
    path = write(tmp_path / "night.m4a", samples, "m4a", options={"movflags": "faststart"})
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    audio = open_audio(path)
    got, stream = heard(audio)
    assert audio.frames == 480_000
    assert 0.4 * 480_000 < got.size < 0.55 * 480_000
    missing_s = (480_000 - got.size) / 48_000
    assert f"cut short: {missing_s:.3f} s less could be decoded than expected" in stream.remarks


@pytest.mark.parametrize(
    ("head", "demuxer"),
    [
        (b"\0\0\0\x1cftypM4A ", "mov"),
        (b"#!AMR-WB\nxxx", "amr"),
        (b"\x1a\x45\xdf\xa3\x01\0\0\0", "matroska"),
        (b"\xff\xf1\x4c\x80", "aac"),
        (b"\xff\xfb\x90\x64", None),  # MPEG layer 3
        (b"RIFF\0\0\0\0WAVE", None),
        (b"", None),
        (b"#EXTM3U\nfile", None),
    ],
)
def test_the_first_bytes_tell_a_phones_file(tmp_path, head, demuxer):
    (tmp_path / "night").write_bytes(head)
    assert phone_format(tmp_path / "night") == demuxer


@settings(max_examples=60, deadline=None)
@given(
    beginning=st.sampled_from([b"\0\0\0\x1cftypM4A ", b"#!AMR\n", b"\x1a\x45\xdf\xa3", b"\xff\xf1\x4c\x80"]),
    garbage=st.binary(max_size=300),
)
def test_garbage_behind_a_beginning_is_read_or_refused(tmp_path_factory, beginning, garbage):
    pytest.importorskip("av")
    path = tmp_path_factory.getbasetemp() / "garbage"
    path.write_bytes(beginning + garbage)
    try:
        heard(open_audio(path))
    except RecordingError as error:
        remedy = error.remedy
    else:
        remedy = "none needed"
    assert remedy
