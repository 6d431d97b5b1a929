"""Test sounds as files: what they hold, that they repeat without a seam, and what is refused."""

import tracemalloc

import numpy as np
import pytest
import soundfile

from sleepnoise.errors import OutputError, SettingsError
from sleepnoise.trials.test_sound import INSTRUCTIONS, LOOP_S, REST_S, TestSound, write_test_sound

RATE_HZ = 8_000
BAND_HZ = (100.0, 3000.0)


def made(path, kind="pink", seconds=10.0, **more):
    sound = TestSound(kind=kind, seconds=seconds, band_hz=BAND_HZ, sample_rate_hz=RATE_HZ, **more)
    length_s = write_test_sound(sound, path, force=True)
    samples, rate_hz = soundfile.read(path)
    assert rate_hz == RATE_HZ
    assert length_s == pytest.approx(samples.size / RATE_HZ)
    return samples


def third_octave_db(samples, centre_hz):
    power = np.abs(np.fft.rfft(samples)) ** 2
    frequency_hz = np.fft.rfftfreq(samples.size, 1 / RATE_HZ)
    inside = (frequency_hz >= centre_hz * 10**-0.05) & (frequency_hz < centre_hz * 10**0.05)
    return 10 * np.log10(power[inside].sum())


@pytest.mark.parametrize(("kind", "slope_db"), [("pink", 0.0), ("white", 3.0)])
def test_noise_has_its_colour_and_a_peak_6_db_below_full_scale(kind, slope_db, tmp_path):
    samples = made(tmp_path / "a.wav", kind)
    assert samples.size == 10 * RATE_HZ
    assert np.abs(samples).max() == pytest.approx(0.5, abs=1e-3)
    levels = [third_octave_db(samples, hz) for hz in (250.0, 500.0, 1000.0, 2000.0)]
    assert np.diff(levels) == pytest.approx([slope_db] * 3, abs=0.15)


def test_the_end_of_noise_joins_its_beginning(tmp_path):
    samples = made(tmp_path / "a.wav")
    # A seam would spread over all frequencies; above the band there is only rounding, a hundredth of a step.
    twice = np.concatenate([samples, samples])
    spectrum = np.abs(np.fft.rfft(twice * np.hanning(twice.size))) ** 2
    frequency_hz = np.fft.rfftfreq(twice.size, 1 / RATE_HZ)
    outside = (
        spectrum[frequency_hz > 3200].mean() / spectrum[(frequency_hz > 500) & (frequency_hz < 1000)].mean()
    )
    assert 10 * np.log10(outside) < -60.0


def test_long_noise_is_a_shorter_one_over_and_over(tmp_path):
    samples = made(tmp_path / "a.wav", seconds=2.5 * LOOP_S)
    assert samples.size == 150 * RATE_HZ
    first, *others = samples.reshape(3, -1)
    assert all(np.array_equal(first, other) for other in others)


def test_memory_does_not_grow_with_the_length(tmp_path):
    def peak(seconds):
        tracemalloc.start()
        made_sound = TestSound(kind="pink", seconds=seconds, band_hz=BAND_HZ, sample_rate_hz=RATE_HZ)
        write_test_sound(made_sound, tmp_path / "a.wav", force=True)
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    assert peak(10 * LOOP_S) < 1.1 * peak(LOOP_S)


def test_sweeps_are_followed_by_silence(tmp_path):
    samples = made(tmp_path / "a.wav", "sweep", seconds=4.0, sweeps=2)
    one, two = samples.reshape(2, -1)
    assert np.array_equal(one, two)
    assert one.size == (4 + REST_S) * RATE_HZ
    assert not one[4 * RATE_HZ :].any()
    assert np.abs(one).max() == pytest.approx(0.5, abs=1e-3)


def test_the_seed_decides_which_noise_it_is(tmp_path):
    one, again, other = (made(tmp_path / "a.wav", seed=seed) for seed in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize(
    ("changed", "complaint"),
    [
        ({"seconds": 0.5}, "length must be 1 to 3600 s"),
        ({"seconds": 3601.0}, "length must be"),
        ({"seconds": float("nan")}, "length must be"),
        ({"kind": "sweep", "seconds": 61.0}, "length must be 1 to 60 s"),
        ({"sweeps": 0}, "1 to 20 sweeps"),
        ({"sample_rate_hz": 7000}, "sampling rate must be 8000"),
        ({"band_hz": (40.0, 5000.0)}, "band must rise"),
        ({"seed": -1}, "seed must be"),
    ],
)
def test_what_makes_no_sense_is_refused(changed, complaint, tmp_path):
    asked = {"kind": "pink", "seconds": 10.0, "sample_rate_hz": RATE_HZ, "band_hz": BAND_HZ, **changed}
    with pytest.raises(SettingsError, match=complaint) as raised:
        write_test_sound(TestSound(**asked), tmp_path / "a.wav", force=False)
    assert raised.value.remedy
    assert list(tmp_path.iterdir()) == []


def test_places_that_cannot_take_a_file_are_refused_and_nothing_is_left(tmp_path):
    sound = TestSound(kind="pink", seconds=2.0, band_hz=BAND_HZ, sample_rate_hz=RATE_HZ)
    (tmp_path / "mine.wav").write_text("mine")
    for place, complaint in (
        ("a.mp3", "must end in .wav"),
        ("none/a.wav", "no folder"),
        ("mine.wav", "is there already"),
    ):
        with pytest.raises((SettingsError, OutputError), match=complaint):
            write_test_sound(sound, tmp_path / place, force=False)
    (tmp_path / "folder.wav").mkdir()
    with pytest.raises(OutputError, match="no plain file"):
        write_test_sound(sound, tmp_path / "folder.wav", force=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder.wav", "mine.wav"]
    assert (tmp_path / "mine.wav").read_text() == "mine"


def test_instructions_speak_of_ears_neighbours_and_loudspeakers():
    assert [name for name, _ in INSTRUCTIONS] == ["Ears", "Neighbours", "Loudspeaker", "Level"]
