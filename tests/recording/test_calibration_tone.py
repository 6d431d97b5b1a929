import math

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.errors import CalibrationError, RecordingError
from sleepnoise.recording import audio_file, calibration_tone
from sleepnoise.recording.calibration_tone import calibration_from_tone

RATE_HZ = 48_000


def tone(seconds=8.0, frequency_hz=1000.0, amplitude=0.1, rate_hz=RATE_HZ):
    # Half a radian: no sample lies on a peak by accident.
    return amplitude * np.sin(2 * np.pi * frequency_hz / rate_hz * np.arange(round(seconds * rate_hz)) + 0.5)


def noise(like, below_db, seed=1):
    """Return white noise whose level lies so far below that of a signal."""
    return np.random.default_rng(seed).standard_normal(like.size) * like.std() * 10 ** (-below_db / 20)


@pytest.fixture
def calibrated(tmp_path, write_sound):
    def calibrate(samples, rate_hz=RATE_HZ, subtype="PCM_24", name="tone.wav", **stated):
        return calibration_from_tone(
            write_sound(tmp_path / name, samples, rate_hz, subtype=subtype), **stated
        )

    return calibrate


@pytest.fixture
def refused(calibrated):
    def refuse(samples, **stated):
        with pytest.raises(CalibrationError) as caught:
            calibrated(samples, **stated)
        assert "tone.wav" in caught.value.complaint
        assert caught.value.remedy
        return caught.value

    return refuse


def error_db(calibration, amplitude, level_db):
    """Return what the calibration makes of the tone, less what it should be."""
    effective_pa = amplitude / math.sqrt(2) * calibration.pascal_per_full_scale
    return float(pressure_level(effective_pa**2)) - level_db


# A tone that does not fit the pieces' bins, like every real one.
@pytest.mark.parametrize(
    ("stated_hz", "frequency_hz"), [(1000.0, 1000.0), (1000.0, 1003.7), (250.0, 249.1), (250.0, 251.19)]
)
@pytest.mark.parametrize("level_db", [94.0, 104.0, 114.0, 124.0])
def test_a_clean_tone_is_found_within_a_hundredth_of_a_decibel(calibrated, stated_hz, frequency_hz, level_db):
    found = calibrated(tone(frequency_hz=frequency_hz), level_db=level_db, frequency_hz=stated_hz)
    assert error_db(found, 0.1, level_db) == pytest.approx(0.0, abs=0.001)
    assert found.absolute


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 16_000, 44_100, 96_000, 192_000])
@pytest.mark.parametrize("frequency_hz", [250.3, 998.2])
def test_every_sampling_rate_will_do(calibrated, rate_hz, frequency_hz):
    found = calibrated(tone(4, frequency_hz, rate_hz=rate_hz), rate_hz, frequency_hz=round(frequency_hz, -1))
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_noise_40_db_below_changes_it_by_less_than_a_hundredth(calibrated, seed):
    clean = tone(frequency_hz=1002.5)
    found = calibrated(clean + noise(clean, 40, seed))
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.01)


def test_rumble_and_offset_below_the_calibrator_do_not_matter(calibrated):
    found = calibrated(tone() + tone(frequency_hz=23.0, amplitude=0.2) + 0.3)
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.01)


def test_one_pascal_is_94_db(calibrated):
    # 94 dB re 20 µPa is 1.0024 Pa; a sine of that effective value that fills a tenth of the scale.
    assert calibrated(tone()).pascal_per_full_scale == pytest.approx(10 * math.sqrt(2) * 1.00237, rel=1e-5)


def test_the_origin_says_what_was_found(calibrated):
    assert calibrated(tone(frequency_hz=1003.0)).origin == "tone of 94 dB in tone.wav (6 s at 1003.0 Hz)"


def test_the_middle_is_taken_however_the_file_begins_and_ends(calibrated):
    room = 0.001 * np.random.default_rng(2).standard_normal(5 * RATE_HZ)
    knock = 0.5 * np.random.default_rng(3).standard_normal(RATE_HZ // 4)
    found = calibrated(np.concatenate([room, knock, room[:40_000], tone(), room[:30_000], knock, room]))
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.01)


def test_cutting_the_recording_into_other_blocks_changes_nothing(calibrated, monkeypatch):
    room = 0.001 * np.random.default_rng(2).standard_normal(100_000)
    sound = np.concatenate([room, tone(frequency_hz=1003.7), room])
    whole = calibrated(sound)
    for block_samples in (1000, 12_001):
        monkeypatch.setattr(audio_file, "BLOCK_SAMPLES", block_samples)
        assert calibrated(sound) == whole


def test_twenty_decibels_more_gain_are_twenty_decibels_less_pressure(calibrated):
    quiet, loud = calibrated(tone(amplitude=0.05)), calibrated(tone(amplitude=0.5))
    assert 20 * math.log10(quiet.pascal_per_full_scale / loud.pascal_per_full_scale) == pytest.approx(
        20.0, abs=1e-3
    )


def test_a_float_recording_may_go_beyond_full_scale(calibrated):
    found = calibrated(tone(amplitude=3.0), subtype="FLOAT")
    assert error_db(found, 3.0, 94.0) == pytest.approx(0.0, abs=0.001)


def test_a_channel_is_chosen(calibrated):
    both = np.stack([np.zeros(8 * RATE_HZ), tone()], axis=1)
    assert error_db(calibrated(both, channel=2), 0.1, 94.0) == pytest.approx(0.0, abs=0.001)
    with pytest.raises(CalibrationError, match="is silent"):
        calibrated(both, channel=1)
    with pytest.raises(RecordingError, match="channel must be 1 to 2"):
        calibrated(both, channel=3)


@pytest.mark.parametrize(
    "silence", [np.zeros(4 * RATE_HZ), 1e-5 * np.random.default_rng(1).standard_normal(4 * RATE_HZ)]
)
def test_silence_is_refused(refused, silence):
    assert "is silent" in refused(silence).complaint


@pytest.mark.parametrize("too_loud", [1.05, 1.5, 4.0, 100.0])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("frequency_hz", [250.3, 998.2])
def test_a_clipped_tone_is_refused(refused, too_loud, subtype, frequency_hz):
    clipped = np.clip(tone(amplitude=too_loud, frequency_hz=frequency_hz), -1.0, 1.0)
    error = refused(clipped, subtype=subtype, frequency_hz=round(frequency_hz, -1))
    assert "clipped" in error.complaint
    assert "less gain" in error.remedy


def test_a_tone_clipped_by_no_more_than_a_hundredth_of_a_decibel_at_most_passes(calibrated):
    for too_loud in (1.0, 1.005):
        found = calibrated(np.clip(tone(amplitude=too_loud, frequency_hz=998.2), -1.0, 1.0))
        assert error_db(found, too_loud, 94.0) == pytest.approx(0.0, abs=0.01)


def test_a_tone_clipped_below_full_scale_is_impure(refused):
    # A stage before the converter overloads: 3 dB too much.
    assert "no pure tone" in refused(np.clip(tone(amplitude=0.5), -0.2, 0.2)).complaint


@pytest.mark.parametrize(
    ("stated_hz", "frequency_hz"), [(1000.0, 250.0), (250.0, 1000.0), (1000.0, 1021.0), (1000.0, 979.0)]
)
def test_a_wrong_frequency_is_refused_and_said(refused, stated_hz, frequency_hz):
    complaint = refused(tone(frequency_hz=frequency_hz), frequency_hz=stated_hz).complaint
    assert f"within 2% of {stated_hz:g} Hz, got {frequency_hz:.1f} Hz" in complaint


@pytest.mark.parametrize("frequency_hz", [981.0, 1019.0])
def test_a_frequency_within_two_percent_is_taken(calibrated, frequency_hz):
    assert error_db(calibrated(tone(frequency_hz=frequency_hz)), 0.1, 94.0) == pytest.approx(0.0, abs=0.001)


def test_noise_without_a_tone_is_refused(refused):
    assert "no pure tone" in refused(noise(tone(), 0)).complaint


@pytest.mark.parametrize(("below_db", "pure"), [(17, False), (23, True)])
def test_a_tone_must_stand_20_db_above_the_rest(calibrated, refused, below_db, pure):
    # Another tone, so that no noise adds to the wanted one.
    sound = tone() + tone(frequency_hz=3000.0, amplitude=0.1 * 10 ** (-below_db / 20))
    if pure:
        assert error_db(calibrated(sound), 0.1, 94.0) == pytest.approx(0.0, abs=0.01)
    else:
        assert "17.0 dB above all other sound" in refused(sound).complaint


def test_a_drifting_level_is_refused(refused):
    drifting = tone() * np.linspace(1.0, 0.85, 8 * RATE_HZ)
    assert "unsteady" in refused(drifting).complaint


def test_a_step_in_the_middle_is_refused(refused):
    assert "unsteady" in refused(np.concatenate([tone(4), tone(4, amplitude=0.08)])).complaint


def test_a_slow_drift_of_a_quarter_decibel_passes(calibrated):
    assert calibrated(tone() * np.linspace(1.0, 0.97, 8 * RATE_HZ)).absolute


@pytest.mark.parametrize("seconds", [0.1, 1.0, 1.99])
def test_a_short_file_is_refused(refused, seconds):
    assert "at least 2 s" in refused(tone(seconds)).complaint


def test_a_short_tone_in_a_long_file_is_refused(refused):
    room = 0.0005 * np.random.default_rng(2).standard_normal(5 * RATE_HZ)
    assert "at least 2 s" in refused(np.concatenate([room, tone(1.8), room])).complaint


def test_two_seconds_without_the_ends_are_enough(calibrated):
    assert error_db(calibrated(tone(2.5)), 0.1, 94.0) == pytest.approx(0.0, abs=0.001)


def test_a_whole_night_is_not_taken_for_a_tone(refused, monkeypatch):
    monkeypatch.setattr(calibration_tone, "LONGEST_S", 7.0)
    assert "may last 7 s at most, got 8 s" in refused(tone()).complaint


@pytest.mark.parametrize(
    "stated",
    [
        {"level_db": 9.4},
        {"level_db": 940.0},
        {"level_db": math.nan},
        {"frequency_hz": 1.0},
        {"frequency_hz": 10_000.0},
    ],
)
def test_what_no_calibrator_gives_is_refused(calibrated, stated):
    with pytest.raises(CalibrationError, match="calibration tone must be") as caught:
        calibrated(tone(), **stated)
    assert "94 dB and 1000 Hz" in caught.value.remedy


def test_a_file_that_cannot_be_read_is_a_matter_of_the_recording(tmp_path, calibrated):
    with pytest.raises(RecordingError, match="no such file"):
        calibration_from_tone(tmp_path / "tone.wav")
    with pytest.raises(RecordingError, match="finite"):
        calibrated(np.full(4 * RATE_HZ, np.nan), subtype="FLOAT")
