"""The bext chunk is made byte by byte from the published layout (EBU Tech 3285)."""

import struct
import tomllib
from datetime import datetime
from pathlib import Path

import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.formats import bext, riff
from sleepnoise.formats.bext import Origination, read_origination

LAYOUT = tomllib.loads((Path(__file__).parents[1] / "published/ebu_tech_3285_bext.toml").read_text())
FIXED_BYTES = LAYOUT["chunk"]["fixed_bytes"]


def bext_chunk(date=b"2026-03-05", time=b"22:58:07", time_reference=0) -> bytes:
    data = bytearray(FIXED_BYTES)

    def put(field: str, content: bytes) -> None:
        offset, size = LAYOUT["field"][field]
        assert len(content) <= size
        data[offset : offset + len(content)] = content

    put("Description", b"Larch Court, flat 3, bedroom (invented)")
    put("OriginationDate", date)
    put("OriginationTime", time)
    put("TimeReferenceLow", struct.pack("<I", time_reference & 0xFFFFFFFF))
    put("TimeReferenceHigh", struct.pack("<I", time_reference >> 32))
    put("Version", struct.pack("<H", 1))
    return bytes(data)


def chunk(name: bytes, data: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(data) if size is None else size) + data + bytes(len(data) % 2)


FORMAT = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, 48_000, 96_000, 2, 16))
SOUND = chunk(b"data", bytes(2 * 480))


def wav(*chunks: bytes, kind=b"RIFF", size: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return kind + struct.pack("<I", len(body) if size is None else size) + body


def read(tmp_path, content: bytes) -> Origination | None:
    path = tmp_path / "night.wav"
    path.write_bytes(content)
    return read_origination(path)


EXPECTED = Origination(local=datetime(2026, 3, 5, 22, 58, 7), time_reference=0)


def test_the_layout_is_the_published_one():
    date, time, low = (
        LAYOUT["field"][n][0] for n in ("OriginationDate", "OriginationTime", "TimeReferenceLow")
    )
    assert date == bext.ORIGINATION_OFFSET
    assert time == date + 10
    assert low == time + 8
    assert bext.ORIGINATION_LAYOUT.size == LAYOUT["field"]["Version"][0] - date


def test_date_time_and_time_reference_are_read(tmp_path):
    # More than 2^32 samples since midnight: only 192 kHz gets there within a day.
    found = read(tmp_path, wav(chunk(b"bext", bext_chunk(time_reference=2**32 + 5)), FORMAT, SOUND))
    assert found == Origination(local=EXPECTED.local, time_reference=2**32 + 5)


def test_another_reader_finds_the_chunk_that_these_tests_make(tmp_path):
    path = tmp_path / "night.wav"
    path.write_bytes(wav(chunk(b"bext", bext_chunk()), FORMAT, SOUND))
    with soundfile.SoundFile(path) as file:
        assert "bext : 602" in file.extra_info
        assert file.frames == 480


@pytest.mark.parametrize("separator", [b"-", b":", b".", b"_", b" "])
def test_any_separator_will_do(tmp_path, separator):
    date, time = separator.join([b"2026", b"03", b"05"]), separator.join([b"22", b"58", b"07"])
    assert read(tmp_path, wav(FORMAT, chunk(b"bext", bext_chunk(date, time)), SOUND)) == EXPECTED


def test_the_chunk_is_found_behind_the_sound_and_behind_odd_chunks(tmp_path):
    odd = chunk(b"note", b"abc")
    assert read(tmp_path, wav(odd, FORMAT, SOUND, odd, chunk(b"bext", bext_chunk()))) == EXPECTED


def test_coding_history_and_later_versions_do_not_disturb(tmp_path):
    assert read(tmp_path, wav(chunk(b"bext", bext_chunk() + b"A=PCM,F=48000\r\n"), FORMAT, SOUND)) == EXPECTED


@pytest.mark.parametrize("kind", [b"RF64", b"BW64"])
@pytest.mark.parametrize("behind", [False, True])
def test_64_bit_files_are_walked_by_their_ds64_sizes(tmp_path, kind, behind):
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 5000, 960, 480, 0))
    sound = chunk(b"data", bytes(960), size=0xFFFFFFFF)
    origin = chunk(b"bext", bext_chunk())
    chunks = (ds64, FORMAT, sound, origin) if behind else (ds64, origin, FORMAT, sound)
    assert read(tmp_path, wav(*chunks, kind=kind, size=0xFFFFFFFF)) == EXPECTED


def test_a_recording_that_was_never_closed_still_tells_its_start(tmp_path):
    never_closed = wav(chunk(b"bext", bext_chunk()), FORMAT, chunk(b"data", bytes(960), size=0), size=0)
    assert read(tmp_path, never_closed) == EXPECTED


@pytest.mark.parametrize(
    ("date", "time"),
    [
        (bytes(10), bytes(8)),
        (b"0000-00-00", b"00:00:00"),
        (b"2026-02-30", b"22:58:07"),
        (b"2026-03-05", b"24:00:00"),
        (b"2026-03-05", b"22:60:00"),
        (b"05-03-2026", b"22:58:07"),
        (b"2026-03-05", b"22:58\0\0\0"),
        (b"\xff" * 10, b"\xff" * 8),
    ],
)
def test_an_empty_or_impossible_date_or_time_is_no_start(tmp_path, date, time):
    assert read(tmp_path, wav(chunk(b"bext", bext_chunk(date, time)), FORMAT, SOUND)) is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"RIFF",
        wav(FORMAT, SOUND),
        wav(chunk(b"bext", bext_chunk()[:340]), FORMAT, SOUND),
        wav(chunk(b"bext", bext_chunk())[:200]),
        wav(chunk(b"junk", b"", size=0xFFFFFFFF), chunk(b"bext", bext_chunk())),
        wav(
            chunk(b"ds64", struct.pack("<QQ", 2**64 - 1, 2**64 - 1)),
            chunk(b"data", b"", size=0xFFFFFFFF),
            kind=b"RF64",
        ),
        wav(chunk(b"ds64", b"\0"), kind=b"RF64"),
        b"fLaC" + bext_chunk(),
    ],
)
def test_files_without_a_whole_chunk_tell_nothing(tmp_path, content):
    assert read(tmp_path, content) is None


def test_a_file_that_cannot_be_read_tells_nothing(tmp_path):
    assert read_origination(tmp_path / "missing.wav") is None
    assert read_origination(tmp_path) is None
    assert read_origination(Path("night\0.wav")) is None


def test_endless_chunks_are_given_up(tmp_path):
    empty = chunk(b"xxxx", b"")
    assert read(tmp_path, wav(*[empty] * riff.MOST_CHUNKS, chunk(b"bext", bext_chunk()))) is None
    assert read(tmp_path, wav(*[empty] * (riff.MOST_CHUNKS - 1), chunk(b"bext", bext_chunk()))) == EXPECTED


@given(st.binary(max_size=400), st.sampled_from([b"RIFF", b"RF64"]))
def test_garbage_never_breaks_the_walk(tmp_path_factory, garbage, kind):
    path = tmp_path_factory.getbasetemp() / "garbage.wav"
    path.write_bytes(kind + b"\0\0\0\0WAVE" + garbage)
    assert read_origination(path) is None
