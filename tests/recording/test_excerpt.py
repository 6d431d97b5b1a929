"""Excerpts of a night: bit for bit what reading all of it gives at the same place."""

import tracemalloc
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.errors import RecordingError
from sleepnoise.formats import decoding
from sleepnoise.recording import audio_file
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.sequence import NightSound, open_night

RATE_HZ = 8000
ODD = Calibration(pascal_per_full_scale=1.2345678, absolute=True, expanded_uncertainty_db=1.0, origin="test")
START = datetime(2026, 3, 5, 21, 0, tzinfo=UTC)
"""22:00 in Vienna."""

FORMS = {
    "wav": {"format": "WAV", "subtype": "PCM_24"},
    "flac": {"format": "FLAC", "subtype": "PCM_16"},
    "mp3": {"format": "MP3", "subtype": "MPEG_LAYER_III"},
    "ogg": {"format": "OGG", "subtype": "VORBIS"},
}


def sound(seconds):
    rng = np.random.default_rng(round(seconds * 8))
    return rng.uniform(-0.4, 0.4, (round(seconds * RATE_HZ), 2))


@pytest.fixture(scope="module", params=FORMS)
def night(request, tmp_path_factory, make_sound) -> NightSound:
    """Return three stereo parts: the second follows the first, the third comes 4.5 s later."""
    folder = tmp_path_factory.mktemp("night")
    for name, seconds in {"20260305_220000": 10.0, "20260305_220010": 10.5, "20260305_220025": 6.0}.items():
        make_sound(folder / f"{name}.{request.param}", sound(seconds), RATE_HZ, **FORMS[request.param])
    return open_night(folder, zone="Europe/Vienna")


@pytest.fixture(scope="module")
def whole(night):
    return all_of(night)


def all_of(night, channel=2):
    return np.concatenate([block.pressure_pa for block in night.blocks(ODD, channel=channel)])


def at(seconds):
    return START + timedelta(seconds=seconds)


def check(night, whole, first, count):
    got = night.excerpt(ODD, at(first / RATE_HZ), count / RATE_HZ, channel=2)
    np.testing.assert_array_equal(got.pressure_pa, whole[max(first, 0) : first + count], strict=True)
    assert got.start == at(max(first, 0) / RATE_HZ)
    assert got.sample_rate_hz == RATE_HZ


@settings(max_examples=25, deadline=None)
@given(first=st.integers(-9_000, 243_000), count=st.integers(9_001, 120_000))
def test_an_excerpt_is_what_reading_all_gives_there(night, whole, first, count):
    check(night, whole, first, count)


@pytest.mark.parametrize(
    ("first_s", "seconds"),
    [(9.75, 0.5), (20.25, 1), (21, 2), (24.5, 1), (5, 21), (9.999875, 0.000125), (-1, 2), (30, 9), (0, 40)],
)
def test_joins_gaps_and_both_ends_are_crossed(night, whole, first_s, seconds):
    check(night, whole, round(first_s * RATE_HZ), round(seconds * RATE_HZ))


@pytest.mark.parametrize(("first_s", "seconds"), [(-3, 2), (40, 5), (5, 0), (5, -2)])
def test_a_stretch_outside_the_night_is_refused(night, first_s, seconds):
    with pytest.raises(RecordingError, match="lie outside"):
        night.excerpt(ODD, at(first_s), seconds)


def test_a_channel_that_is_not_there_is_refused(night):
    with pytest.raises(RecordingError, match="channel must be 1 to 2, got 3"):
        night.excerpt(ODD, at(1), 1, channel=3)


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_whole_files_are_not_decoded_up_to_the_place(tmp_path, write_sound, monkeypatch, kind):
    write_sound(tmp_path / f"20260305_220000.{kind}", sound(60), RATE_HZ, **FORMS[kind])
    night = open_night(tmp_path, zone="Europe/Vienna")
    frames = []
    read = decoding.Decoder.read

    def counting(self, out):
        got = read(self, out=out)
        frames.append(len(got))
        return got

    monkeypatch.setattr(decoding.Decoder, "read", counting)
    night.excerpt(ODD, at(50), 2)
    assert sum(frames) == 2 * RATE_HZ + 1


def cut(path: Path, size: float) -> None:
    path.write_bytes(path.read_bytes()[: round(size * path.stat().st_size)])


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg"])
@pytest.mark.parametrize("second", ["20260305_220010", "part_2"])
def test_parts_cut_short_are_where_reading_all_puts_them(tmp_path, write_sound, kind, second):
    first = "20260305_220000" if second != "part_2" else "part_1"
    write_sound(tmp_path / f"{first}.{kind}", sound(10), RATE_HZ, **FORMS[kind])
    write_sound(tmp_path / f"{second}.{kind}", sound(7), RATE_HZ, **FORMS[kind])
    cut(tmp_path / f"{first}.{kind}", 0.7)
    night = open_night(tmp_path, zone="Europe/Vienna", given="2026-03-05 22:00")
    whole = all_of(night)
    for first_s, seconds in [(1, 2), (5, 3), (8, 4), (0, 20)]:
        check(night, whole, round(first_s * RATE_HZ), round(seconds * RATE_HZ))


def test_a_sample_that_is_no_number_is_refused_only_where_it_lies(tmp_path, write_sound):
    samples = sound(10)
    samples[5 * RATE_HZ] = np.nan
    write_sound(tmp_path / "20260305_220000.wav", samples, RATE_HZ, format="WAV", subtype="FLOAT")
    night = open_night(tmp_path, zone="Europe/Vienna")
    assert night.excerpt(ODD, at(6), 1).seconds == 1
    with pytest.raises(RecordingError, match=r"the one at 5\.000 s is not"):
        night.excerpt(ODD, at(4.5), 1)


def test_the_stretch_before_takes_no_memory(tmp_path, write_sound, monkeypatch):
    monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", 4096)
    write_sound(tmp_path / "20260305_220000.ogg", sound(120), RATE_HZ, **FORMS["ogg"])
    night = open_night(tmp_path, zone="Europe/Vienna")
    tracemalloc.start()
    night.excerpt(ODD, at(115), 1)
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak_bytes < 1e6
