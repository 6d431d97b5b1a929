"""WAV, RF64 and BW64 files as recorders leave them, made byte by byte.

The cases are those of a table that was measured with soundfile 0.14.0 (libsndfile 1.2.2), which reads
several of them silently as nothing or as a remainder; each test names its case. Ten seconds of mono at
48 kHz, 16 bit, unless a case says otherwise. The layouts are those of EBU Tech 3285 and 3306.
"""

import struct
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError
from sleepnoise.formats.containers import open_bytes
from sleepnoise.formats.riff import OPEN, STALE, WRAPPED, riff_sound
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration

START = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
UNITY = Calibration(pascal_per_full_scale=1.0, absolute=True, expanded_uncertainty_db=0.0, origin="test")
ELSEWHERE = 0xFFFFFFFF

SAMPLES = (np.random.default_rng(20260305).standard_normal(480_000) * 2000).astype("<i2")
SOUND = SAMPLES.tobytes()
FORM = struct.pack("<HHIIHH", 1, 1, 48_000, 96_000, 2, 16)


def chunk(name: bytes, content: bytes, size: int | None = None) -> bytes:
    return (
        name + struct.pack("<I", len(content) if size is None else size) + content + bytes(len(content) % 2)
    )


def wav(*chunks: bytes, kind=b"RIFF", size: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return kind + struct.pack("<I", len(body) if size is None else size) + body


def ds64(riff_size: int, data_size: int, samples: int) -> bytes:
    return chunk(b"ds64", struct.pack("<QQQI", riff_size, data_size, samples, 0))


def opened(tmp_path, content: bytes):
    path = tmp_path / "night.wav"
    path.write_bytes(content)
    return open_audio(path)


def heard(audio) -> np.ndarray:
    blocks = [block.pressure_pa for block in read_blocks(audio, UNITY, START)]
    return np.concatenate(blocks) * np.float32(2**15)


def check(audio, expected: np.ndarray, *remarks: str) -> None:
    assert audio.frames == expected.size
    assert audio.remarks == remarks
    np.testing.assert_array_equal(heard(audio), expected)


FMT = chunk(b"fmt ", FORM)
DATA = chunk(b"data", SOUND)
NOTE = chunk(b"LIST", b"INFOICMT" + struct.pack("<I", 8) + b"bedroom\0")
JUNK = chunk(b"JUNK", bytes(28))
SIZES_THAT_TELL_NOTHING = {
    "WAV, RIFF and data sizes both 0 (never finalised)": (0, 0),
    "WAV, data size 0, RIFF right": (36 + len(SOUND), 0),
    "data size 0, RIFF size that of an empty recording": (36, 0),
    "WAV, both sizes 0xFFFFFFFF": (ELSEWHERE, ELSEWHERE),
    "WAV, both sizes 0x7FFFFFFF": (0x7FFFFFFF, 0x7FFFFFFF),
    "both sizes 0x7FFFFFFF less the header": (0x7FFFFFFF, 0x7FFFFFFF - 36),
    "both sizes 0x80000000": (0x80000024, 0x80000000),
    "WAV, data 0xFFFFFFFF, RIFF right": (36 + len(SOUND), ELSEWHERE),
}


def test_case_wav_pcm16_good_header(tmp_path):
    check(opened(tmp_path, wav(FMT, DATA)), SAMPLES)


@pytest.mark.parametrize("case", SIZES_THAT_TELL_NOTHING)
@pytest.mark.parametrize("before", [b"", JUNK, NOTE], ids=["", "JUNK before fmt", "LIST before fmt"])
def test_sizes_that_tell_nothing_are_taken_from_the_file(tmp_path, case, before):
    riff_size, data_size = SIZES_THAT_TELL_NOTHING[case]
    content = wav(before, FMT, chunk(b"data", SOUND, size=data_size), size=riff_size)
    check(opened(tmp_path, content), SAMPLES, OPEN)


def test_case_data_size_smaller_than_real(tmp_path):
    content = wav(FMT, chunk(b"data", SOUND, size=96_000))
    check(opened(tmp_path, content), SAMPLES, STALE)


def test_sizes_last_written_a_while_before_the_power_failed_do_not_hide_the_rest(tmp_path):
    content = wav(FMT, chunk(b"data", SOUND, size=96_000), size=36 + 96_000)
    check(opened(tmp_path, content), SAMPLES, STALE)


def test_an_odd_data_size_that_is_wrong_is_repaired(tmp_path):
    check(opened(tmp_path, wav(FMT, chunk(b"data", SOUND, size=95_999))), SAMPLES, STALE)


def test_an_odd_file_loses_only_the_sample_that_is_not_whole(tmp_path):
    content = wav(FMT, chunk(b"data", SOUND, size=0))[:-1]
    check(opened(tmp_path, content), SAMPLES[:-1], OPEN)


@pytest.mark.parametrize("pad", [b"\0", b""], ids=["pad", "no pad"])
def test_odd_sound_with_a_chunk_behind_it_is_right(tmp_path, pad):
    """24-bit mono with an odd number of samples; some writers forget the pad."""
    sound = bytes(3 * 999)
    form = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, 48_000, 144_000, 3, 24))
    data = b"data" + struct.pack("<I", len(sound)) + sound + pad
    check(opened(tmp_path, wav(form, data, NOTE)), np.zeros(999, np.float32))


def test_case_riff_size_too_small_data_size_right(tmp_path):
    check(opened(tmp_path, wav(FMT, DATA, size=1000)), SAMPLES)


def test_case_right_header_file_cut_in_half(tmp_path):
    content = wav(FMT, DATA)[: 44 + 480_000]
    check(
        opened(tmp_path, content), SAMPLES[:240_000], "cut short: 5.000 s that its header counts are missing"
    )


def test_case_cut_in_half_and_sizes_0(tmp_path):
    content = wav(FMT, chunk(b"data", SOUND, size=0), size=0)[: 44 + 480_000]
    check(opened(tmp_path, content), SAMPLES[:240_000], OPEN)


@pytest.mark.parametrize("size", [0, 960_000, ELSEWHERE])
def test_case_cut_at_byte_44_holds_no_sound(tmp_path, size):
    with pytest.raises(RecordingError, match="holds no sound"):
        opened(tmp_path, wav(FMT, chunk(b"data", b"", size=size)))


def test_case_cut_inside_the_format_chunk(tmp_path):
    with pytest.raises(RecordingError, match="is no sound file"):
        opened(tmp_path, wav(FMT, DATA)[:30])


def test_case_preallocated_zero_tail_with_a_size_that_counts_it_is_read_as_it_is(tmp_path):
    check(
        opened(tmp_path, wav(FMT, chunk(b"data", SOUND + bytes(10_000)))), np.append(SAMPLES, np.zeros(5000))
    )


def test_room_that_was_never_used_is_no_sound(tmp_path):
    room = 2**17
    content = wav(FMT, DATA) + bytes(room)
    check(opened(tmp_path, content), SAMPLES, f"{room} bytes behind the end of the sound were left out")


def test_leftovers_of_a_memory_card_are_no_sound(tmp_path):
    content = wav(FMT, DATA) + SOUND[:4096]
    check(opened(tmp_path, content), SAMPLES, "4096 bytes behind the end of the sound were left out")


@pytest.mark.parametrize("behind", [NOTE, NOTE + JUNK, chunk(b"note", b"abc"), chunk(b"note", b"abc")[:-1]])
def test_chunks_behind_the_sound_are_no_sound(tmp_path, behind):
    check(opened(tmp_path, wav(FMT, DATA, behind)), SAMPLES)


def test_an_odd_chunk_behind_the_sound_leads_to_the_next(tmp_path):
    check(opened(tmp_path, wav(FMT, DATA, chunk(b"note", b"abc"), NOTE)), SAMPLES)


def test_what_lies_behind_the_outermost_chunk_is_no_sound_if_chunks_lead_to_its_end(tmp_path):
    check(opened(tmp_path, wav(FMT, DATA, NOTE) + SOUND[:200_000]), SAMPLES)


def test_a_file_cut_inside_the_chunk_behind_its_sound_is_whole(tmp_path):
    check(opened(tmp_path, wav(FMT, DATA, chunk(b"LIST", bytes(3000)))[:-1000]), SAMPLES)


def test_a_size_of_0_with_chunks_behind_it_is_right(tmp_path):
    with pytest.raises(RecordingError, match="holds no sound"):
        opened(tmp_path, wav(FMT, chunk(b"data", b""), NOTE))


def test_a_list_chunk_filled_with_zeros_does_not_hide_the_sound(tmp_path):
    """A recorder's way of keeping room for a comment, which decoders have stumbled over."""
    check(opened(tmp_path, wav(FMT, chunk(b"LIST", bytes(4096)), DATA)), SAMPLES)


@pytest.mark.parametrize("tag", [3, 0xFFFE])
def test_float_and_extensible_files_are_repaired_too(tmp_path, tag):
    values = SAMPLES[:1000].astype("<f4") / np.float32(2**15)
    form = struct.pack("<HHIIHH", tag, 1, 48_000, 192_000, 4, 32)
    if tag == 0xFFFE:
        # KSDATAFORMAT_SUBTYPE_IEEE_FLOAT: the tag 3 in front of a fixed ending.
        guid = struct.pack("<H", 3) + bytes.fromhex("000000001000800000aa00389b71")
        form += struct.pack("<HHI", 22, 32, 4) + guid
    audio = opened(tmp_path, wav(chunk(b"fmt ", form), chunk(b"data", values.tobytes(), size=0), size=0))
    assert audio.container == ("WAV" if tag == 3 else "WAVEX")
    check(audio, SAMPLES[:1000], OPEN)


# 64-bit files


@pytest.mark.parametrize("kind", [b"RF64", b"BW64"])
def test_case_small_64_bit_file(tmp_path, kind):
    """Case "RF64 small, ok", and case "BW64 identifier instead of RF64", which the decoder refuses."""
    sizes = ds64(72 + len(SOUND), len(SOUND), SAMPLES.size)
    data = chunk(b"data", SOUND, size=ELSEWHERE)
    audio = opened(tmp_path, wav(sizes, FMT, data, NOTE, kind=kind, size=ELSEWHERE))
    assert audio.container == kind.decode()
    check(audio, SAMPLES)


def test_case_rf64_with_ds64_sizes_0(tmp_path):
    data = chunk(b"data", SOUND, size=ELSEWHERE)
    content = wav(ds64(0, 0, 0), FMT, data, kind=b"RF64", size=ELSEWHERE)
    check(opened(tmp_path, content), SAMPLES, OPEN)


def test_case_rf64_cut_in_half(tmp_path):
    data = chunk(b"data", SOUND, size=ELSEWHERE)
    content = wav(ds64(72 + len(SOUND), len(SOUND), 480_000), FMT, data, kind=b"RF64", size=ELSEWHERE)
    remark = "cut short: 5.000 s that its header counts are missing"
    check(opened(tmp_path, content[:-480_000]), SAMPLES[:240_000], remark)


def test_an_absurd_64_bit_size_is_no_count(tmp_path):
    data = chunk(b"data", SOUND, size=ELSEWHERE)
    content = wav(ds64(2**64 - 1, 2**64 - 1, 2**64 - 1), FMT, data, kind=b"RF64", size=ELSEWHERE)
    check(opened(tmp_path, content), SAMPLES, OPEN)


# Beyond 4 GiB, by files that take no room on the disk

HUGE = 2**32 + 96_000
FRAMES_OF_HUGE = HUGE // 2
MARK = b"".join(struct.pack("<h", value) for value in (12_345, -23_456))


def huge(tmp_path, header: bytes, behind: bytes = b""):
    """Write a header, HUGE bytes that are zero but for a mark at their end, and what follows."""
    path = tmp_path / "huge.wav"
    with path.open("wb") as file:
        file.write(header)
        file.seek(len(header) + HUGE - len(MARK))
        file.write(MARK + behind)
    return path


def repaired(path):
    """Return where the sound is found to lie, after a look at its end."""
    with path.open("rb") as stream:
        place = riff_sound(stream)
        stream.seek(place.place + place.size - len(MARK))
        assert stream.read(len(MARK)) == MARK
    return place


@pytest.mark.parametrize("behind", [b"", NOTE], ids=["", "LIST behind"])
def test_case_rf64_beyond_4_gib(tmp_path, behind):
    header = wav(ds64(72 + HUGE + len(behind), HUGE, FRAMES_OF_HUGE), FMT, kind=b"RF64", size=ELSEWHERE)
    path = huge(tmp_path, header + b"data" + struct.pack("<I", ELSEWHERE), behind)
    audio = open_audio(path)
    assert (audio.container, audio.frames, audio.remarks) == ("RF64", FRAMES_OF_HUGE, ())
    assert repaired(path).header[:4] == b"RF64"


@pytest.mark.parametrize("behind", [b"", NOTE], ids=["", "LIST behind"])
def test_case_wav_beyond_4_gib_with_sizes_wrapped(tmp_path, behind):
    header = wav(FMT, size=(36 + HUGE) % 2**32) + b"data" + struct.pack("<I", HUGE % 2**32)
    path = huge(tmp_path, header, behind)
    audio = open_audio(path)
    assert (audio.container, audio.frames, audio.remarks) == ("WAV", FRAMES_OF_HUGE, (WRAPPED,))
    repaired(path)


def test_case_wav_beyond_4_gib_with_sizes_0xffffffff(tmp_path):
    path = huge(tmp_path, wav(FMT, size=ELSEWHERE) + b"data" + struct.pack("<I", ELSEWHERE))
    audio = open_audio(path)
    assert (audio.container, audio.frames, audio.remarks) == ("WAV", FRAMES_OF_HUGE, (OPEN,))
    repaired(path)


def test_the_decoder_takes_the_repaired_header_to_the_very_end(tmp_path):
    """A seek crosses 4 GiB, so that nothing has to be decoded before."""
    path = huge(tmp_path, wav(FMT, size=0) + b"data" + struct.pack("<I", 0))
    with open_bytes(path).stream as stream, soundfile.SoundFile(stream) as file:
        file.seek(FRAMES_OF_HUGE - 2)
        np.testing.assert_array_equal(file.read(5, dtype="int16"), [12_345, -23_456])


# Anything at all


@settings(max_examples=60, deadline=None)
@given(cut=st.integers(0, 9_999), size=st.integers(0, 2**32 - 1), riff_size=st.integers(0, 2**32 - 1))
def test_cut_anywhere_with_any_sizes_no_sample_is_lost_or_made_up(tmp_path_factory, cut, size, riff_size):
    """No more than the last 64 KiB can be taken for leftovers, and that is said; here the file is shorter."""
    content = wav(FMT, chunk(b"data", SOUND[:10_000], size=size), size=riff_size)[: 44 + cut]
    path = tmp_path_factory.getbasetemp() / "any.wav"
    path.write_bytes(content)
    if cut < 2:
        with pytest.raises(RecordingError):
            open_audio(path)
        return
    audio = open_audio(path)
    samples = heard(audio)
    np.testing.assert_array_equal(samples, SAMPLES[: samples.size])
    assert samples.size == cut // 2 or size // 2 == samples.size


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.sampled_from([b"RIFF", b"RF64", b"BW64"]))
def test_garbage_behind_a_beginning_is_read_or_refused_but_never_breaks(tmp_path_factory, garbage, kind):
    path = tmp_path_factory.getbasetemp() / "garbage.wav"
    path.write_bytes(kind + b"\0\0\0\0WAVE" + FMT + garbage)
    with suppress(RecordingError):
        heard(open_audio(path))
