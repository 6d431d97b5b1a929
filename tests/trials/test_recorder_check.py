"""A minute's test tells what a recorder can do; each invented recorder fails at one thing."""

from fractions import Fraction

import numpy as np
import pytest
import soundfile

from sleepnoise.errors import RecordingError
from sleepnoise.recording.calibration import calibration_from_sensitivity
from sleepnoise.trials.recorder_check import check_recorder

RATE_HZ = 48_000
FULL_SCALE_SINE_DB = 110.0
FULL_SCALE_PA = 20e-6 * 10 ** (FULL_SCALE_SINE_DB / 20) * np.sqrt(2)


def room(seconds=60, level_db=27.0, rate_hz=RATE_HZ):
    """A quiet room: pink noise whose LA90 is about 4 dB less than its unweighted level, Pa."""
    samples = round(seconds * rate_hz)
    lines = np.fft.rfft(np.random.default_rng(1).standard_normal(samples))
    lines /= np.sqrt(np.maximum(np.fft.rfftfreq(samples, 1 / rate_hz), 20))
    sound = np.fft.irfft(lines, n=samples)
    return 20e-6 * 10 ** (level_db / 20) * sound / sound.std()


def clap(seconds, rate_hz=RATE_HZ, at_s=20, level_db=80.0):
    sound = np.zeros(round(seconds * rate_hz))
    time_s = np.arange(rate_hz) / rate_hz
    burst = np.exp(-15 * time_s) * np.random.default_rng(2).standard_normal(rate_hz)
    sound[at_s * rate_hz : (at_s + 1) * rate_hz] = 20e-6 * 10 ** (level_db / 20) * burst
    return sound


@pytest.fixture
def check(tmp_path):
    def _check(pressure_pa, rate_hz=RATE_HZ, *, name="test.wav", calibrated=True, channel=1, **form):
        form.setdefault("subtype", "PCM_24")
        samples = np.asarray(pressure_pa) / FULL_SCALE_PA
        channels = 1 if samples.ndim == 1 else samples.shape[1]
        with soundfile.SoundFile(tmp_path / name, "w", rate_hz, channels, **form) as file:
            for first in range(0, len(samples), 4800):
                file.write(samples[first : first + 4800])
        calibration = calibration_from_sensitivity(FULL_SCALE_SINE_DB) if calibrated else None
        return check_recorder(tmp_path / name, calibration=calibration, channel=channel)

    return _check


def abilities(found):
    """The points that are not simply fine."""
    return {point.topic: point.ability for point in found.points if point.ability != "can"}


def test_a_good_recorder_can(check):
    found = check(room() + clap(60))
    assert abilities(found) == {}
    assert found.ability == "can"
    assert found.absolute
    assert 15 < found.la90 < 30
    assert found.range_db == pytest.approx(FULL_SCALE_SINE_DB + 3.0 - found.la90, abs=0.02)


def test_every_point_has_a_reason_and_every_weakness_but_an_offset_a_remedy(check):
    found = check(room(level_db=50, rate_hz=8000), 8000, subtype="PCM_U8")
    assert all(point.reason for point in found.points)
    assert all(point.change for point in found.points if point.ability != "can")


def test_without_calibration_the_floor_cannot_be_told(check):
    found = check(room() + clap(60), calibrated=False)
    assert abilities(found) == {"quiet sounds": "cannot tell"}
    assert found.ability == "cannot tell"
    assert not found.absolute


def test_without_a_clap_the_gain_cannot_be_told(check):
    assert abilities(check(room())) == {"fixed gain": "cannot tell"}


def test_a_gain_that_moves_cannot(check):
    sound = room() + clap(60)
    gain_db = np.zeros(60 * RATE_HZ)
    since_s = np.arange(40 * RATE_HZ - 4800) / RATE_HZ
    gain_db[20 * RATE_HZ + 4800 :] = -12 * np.exp(-since_s / 4)
    found = check(sound * 10 ** (gain_db / 20))
    assert abilities(found) == {"fixed gain": "cannot"}
    assert found.ability == "cannot"


@pytest.mark.parametrize(("level_db", "ability"), [(33.0, "can with limits"), (48.0, "cannot")])
def test_own_noise_like_a_phones_is_a_limit_and_more_is_too_much(check, level_db, ability):
    assert abilities(check(room(level_db=level_db) + clap(60)))["quiet sounds"] == ability


@pytest.mark.parametrize(("rate_hz", "ability"), [(16_000, "can with limits"), (8_000, "cannot")])
def test_a_low_sampling_rate_limits(check, rate_hz, ability):
    found = check(room(rate_hz=rate_hz) + clap(60, rate_hz), rate_hz)
    assert abilities(found) == {"sampling rate": ability}


def test_too_little_gain_for_16_bits_hides_the_room_in_the_steps(check):
    # Rounding noise is -98.1 dB re a full-scale sine (computed): here 12 dB(Z), 9 dB(A).
    points = abilities(check(room(level_db=17.0) + clap(60), subtype="PCM_16"))
    assert points["fine steps"] == "can with limits"


def test_16_bits_in_a_24_bit_file_are_seen(check):
    step = 2.0**-15 * FULL_SCALE_PA
    found = check(np.round((room() + clap(60)) / step) * step)
    (point,) = (point for point in found.points if point.topic == "fine steps")
    assert "About 16 bits" in point.reason


def test_a_clap_that_overloads_is_a_limit(check):
    found = check(room() + clap(60, level_db=120.0))
    assert abilities(found)["loud sounds"] == "can with limits"


@pytest.mark.parametrize(("gain_db", "ability"), [(25, "can with limits"), (35, "cannot")])
def test_too_much_gain_leaves_no_room_for_loud_sounds(check, gain_db, ability):
    found = check((room() + clap(60, level_db=50.0)) * 10 ** (gain_db / 20), calibrated=False)
    assert abilities(found)["loud sounds"] == ability


def test_lossy_coding_is_a_limit_and_too_much_at_rates_that_drop_the_room(check):
    sound = room() + clap(60)
    kept = check(sound, name="a.mp3", format="MP3", subtype="MPEG_LAYER_III", compression_level=0.0)
    assert abilities(kept)["file format"] == "can with limits"
    dropped = check(sound, name="b.mp3", format="MP3", subtype="MPEG_LAYER_III", compression_level=0.9)
    assert abilities(dropped)["file format"] == "cannot"


def test_a_phone_whose_coder_nobody_tried_at_its_rate_is_not_sent_away(tmp_path):
    av = pytest.importorskip("av")
    sound = ((room() + clap(60)) / FULL_SCALE_PA * 32_767).astype(np.int16)
    with av.open(tmp_path / "a.m4a", "w", format="mp4") as file:
        stream = file.add_stream("aac", rate=RATE_HZ, layout="mono")
        stream.bit_rate = 48_000
        for first in range(0, len(sound), 960):
            frame = av.AudioFrame.from_ndarray(sound[None, first : first + 960], format="s16", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, first, Fraction(1, RATE_HZ)
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    [coding] = [each for each in check_recorder(tmp_path / "a.m4a").points if each.topic == "file format"]
    assert coding.ability == "cannot tell"
    assert "was not tried" in coding.reason


def test_what_was_coded_before_it_was_stored_as_wav_cannot_be_told(check):
    lines = np.fft.rfft(room() + clap(60))
    lines[np.fft.rfftfreq(60 * RATE_HZ, 1 / RATE_HZ) > 7000] = 0
    assert abilities(check(np.fft.irfft(lines))) == {"file format": "cannot tell"}


@pytest.mark.parametrize("subtype", ["PCM_U8", "ULAW"])
def test_coarse_samples_cannot(check, subtype):
    assert abilities(check(room(level_db=60) + clap(60), subtype=subtype))["file format"] == "cannot"


def test_missing_sound_cannot(check):
    sound = room() + clap(60)
    sound[30 * RATE_HZ : 31 * RATE_HZ] = 0
    assert abilities(check(sound))["missing sound"] == "cannot"


def test_an_offset_is_a_limit(check):
    found = check(room() + clap(60) + 0.02 * FULL_SCALE_PA)
    assert abilities(found) == {"missing sound": "can with limits"}


def test_a_dead_channel_cannot_and_the_other_can(check):
    both = np.stack([np.zeros(60 * RATE_HZ), room() + clap(60)], axis=1)
    assert abilities(check(both))["quiet sounds"] == "cannot"
    assert check(both, channel=2).ability == "can"


def test_stereo_twins_are_said(check):
    sound = room() + clap(60)
    (twins,) = (each for each in check(np.stack([sound, sound], 1)).points if each.topic == "channels")
    (pair,) = (each for each in check(np.stack([sound, sound[::-1]], 1)).points if each.topic == "channels")
    assert "same samples" in twins.reason
    assert "differ" in pair.reason


@pytest.mark.parametrize("seconds", [30, 601])
def test_a_test_of_another_length_is_refused(check, seconds):
    with pytest.raises(RecordingError, match="45 to 600 s") as caught:
        check(np.zeros(seconds * 8000), 8000)
    assert caught.value.remedy
