"""Sound files: whole or not at all, never over what is there, in bounded memory."""

import tracemalloc

import numpy as np
import pytest
import soundfile

from sleepnoise.errors import OutputError, SettingsError
from sleepnoise.trials.sound_file import check_sound_path, write_sound_file

RATE_HZ = 8_000


def blocks(count, channels=2):
    return (np.full((RATE_HZ, channels), 0.25) for _ in range(count))


def write(path, count, frames=None, **more):
    form = {"channels": 2, "sample_rate_hz": RATE_HZ, "subtype": "PCM_24", "force": True, **more}
    write_sound_file(path, blocks(count), frames=count * RATE_HZ if frames is None else frames, **form)


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "A.WAV"])
def test_what_was_given_is_in_the_file(name, tmp_path):
    shares = []
    write(tmp_path / name, 3, on_progress=shares.append)
    samples, rate_hz = soundfile.read(tmp_path / name)
    assert rate_hz == RATE_HZ
    assert samples.shape == (3 * RATE_HZ, 2)
    assert samples == pytest.approx(0.25)
    assert shares == pytest.approx([1 / 3, 2 / 3, 1.0])
    assert soundfile.info(tmp_path / name).subtype == "PCM_24"
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_file_that_is_not_whole_does_not_stay(tmp_path):
    (tmp_path / "a.wav").write_text("mine")
    with pytest.raises(OutputError, match="incomplete"):
        write(tmp_path / "a.wav", 2, frames=3 * RATE_HZ)

    def failing():
        yield np.zeros((8, 2))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_sound_file(
            tmp_path / "a.wav",
            failing(),
            frames=16,
            channels=2,
            sample_rate_hz=RATE_HZ,
            subtype="PCM_24",
            force=True,
        )
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]
    assert (tmp_path / "a.wav").read_text() == "mine"


def test_what_a_wav_file_cannot_hold_is_refused_before_it_is_begun(tmp_path):
    with pytest.raises(SettingsError, match="at most 4 GB") as raised:
        write(tmp_path / "a.wav", 1, frames=800_000_000)
    assert "FLAC" in raised.value.remedy
    assert list(tmp_path.iterdir()) == []


def test_memory_does_not_grow_with_the_length(tmp_path):
    def peak(count):
        tracemalloc.start()
        write(tmp_path / "a.wav", count)
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    assert peak(40) < 1.2 * peak(4)


def test_places_that_cannot_take_a_file_are_refused(tmp_path):
    (tmp_path / "mine.wav").write_text("mine")
    for name, complaint in (
        ("a.mp3", "must end in .wav or .flac"),
        ("none/a.wav", "no folder"),
        ("mine.wav", "is there already"),
    ):
        with pytest.raises((SettingsError, OutputError), match=complaint) as raised:
            check_sound_path(tmp_path / name, (".wav", ".flac"), force=False)
        assert raised.value.remedy
    check_sound_path(tmp_path / "mine.wav", (".wav",), force=True)
    (tmp_path / "folder.wav").mkdir()
    with pytest.raises(OutputError, match="no plain file"):
        write(tmp_path / "folder.wav", 1)
