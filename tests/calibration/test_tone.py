import math

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.calibration.tone import calibration_from_tone, calibration_from_tones
from sleepnoise.errors import CalibrationError, RecordingError
from sleepnoise.recording import audio_file

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
    assert calibrated(tone(frequency_hz=1003.0)).origin == (
        "tone of 94 dB in tone.wav (6 s at 1003.0 Hz, from 1 s)"
    )


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
        assert repr(calibrated(sound)) == repr(whole)  # nan does not equal itself


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


# A stage before the converter overloads. What a cut sine has lost, by Fourier series: 0.33 dB cut to 90 %,
# 0.96 dB to 80 %, 4.3 dB to 50 %; the first two are pure by the measure of all other sound.
@pytest.mark.parametrize("left", [0.9, 0.8, 0.5, 0.1])
@pytest.mark.parametrize(("rate_hz", "frequency_hz"), [(48_000, 998.2), (44_100, 1000.0), (16_000, 250.0)])
def test_a_tone_clipped_below_full_scale_is_refused(refused, left, rate_hz, frequency_hz):
    sound = np.clip(tone(amplitude=0.5, frequency_hz=frequency_hz, rate_hz=rate_hz), -0.5 * left, 0.5 * left)
    error = refused(sound + noise(sound, 50), rate_hz=rate_hz, frequency_hz=round(frequency_hz, -1))
    assert "clipped below full scale" in error.complaint
    assert "less gain" in error.remedy


def test_one_half_wave_clipped_is_refused_too(refused):
    assert "clipped below" in refused(np.clip(tone(amplitude=0.5), -1.0, 0.42)).complaint


def test_a_tone_clipped_in_a_lossy_file_is_refused(calibrated):
    form = {"name": "tone.ogg", "subtype": "VORBIS"}
    assert error_db(calibrated(tone(frequency_hz=998.2), **form), 0.1, 94.0) == pytest.approx(0.0, abs=0.1)
    with pytest.raises(CalibrationError, match="clipped"):
        calibrated(np.clip(tone(amplitude=1.2, frequency_hz=998.2), -1.0, 1.0) * 0.9, **form)


@pytest.mark.parametrize("harmonic", [2, 3, 4, 5])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.0, 3.14])
def test_a_calibrators_own_distortion_of_three_percent_passes(calibrated, harmonic, phase):
    seconds = np.arange(8 * RATE_HZ) / RATE_HZ
    own = 0.003 * np.sin(2 * np.pi * 998.2 * harmonic * seconds + phase)
    assert error_db(calibrated(tone(frequency_hz=998.2) + own), 0.1, 94.0) == pytest.approx(0.0, abs=0.001)


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
    sound = tone() + tone(frequency_hz=3100.0, amplitude=0.1 * 10 ** (-below_db / 20))
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


# The tone inside a longer recording


def talk(seconds, seed=5):
    """Return invented speech: voiced syllables with gliding pitch and formants, louder than any tone here."""
    rng = np.random.default_rng(seed)
    size = round(seconds * RATE_HZ)
    clock = np.arange(size) / RATE_HZ
    steps = np.arange(0, seconds + 1, 0.2)
    glide = np.cumsum(np.interp(clock, steps, rng.uniform(90, 260, steps.size))) / RATE_HZ
    voiced = sum(np.sin(2 * np.pi * k * glide + k) / k for k in range(1, 12))
    syllables = np.clip(np.sin(2 * np.pi * 1.8 * clock + rng.uniform(0, 6)), 0.0, None)
    return 0.2 * syllables * (voiced + 0.3 * rng.standard_normal(size))


def test_the_tone_is_found_between_talk_that_is_louder(calibrated):
    found = calibrated(np.concatenate([talk(7), tone(12, 998.2, 0.05), talk(9, 6)]))
    assert error_db(found, 0.05, 94.0) == pytest.approx(0.0, abs=0.001)
    (span,) = found.tones
    assert (span.start_s, span.end_s) == (pytest.approx(7.0, abs=0.26), pytest.approx(19.0, abs=0.26))
    assert span.name == "tone.wav"
    assert f"from {span.start_s + 1.5:g} s)" in found.origin


def test_a_name_that_no_terminal_should_see_is_escaped(calibrated):
    found = calibrated(tone(), name="a\x1b[31m.wav")
    assert found.origin.isprintable()
    assert found.tones[0].name.isprintable()


def test_talk_over_the_tone_leaves_the_longer_part_of_it(calibrated):
    sound = tone(20, 998.2, 0.05)
    sound[4 * RATE_HZ : 6 * RATE_HZ] += talk(2)
    found = calibrated(sound)
    assert error_db(found, 0.05, 94.0) == pytest.approx(0.0, abs=0.001)
    assert found.tones[0].start_s == pytest.approx(6.0, abs=0.3)


def test_talk_alone_holds_no_tone(refused):
    assert "no pure tone" in refused(talk(20)).complaint


def test_other_tones_beside_the_calibrators_do_not_matter(calibrated):
    found = calibrated(np.concatenate([tone(15, 440.0, 0.3), tone(6, 998.2), tone(15, 2000.0, 0.3)]))
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.001)


def test_a_calibrator_switched_to_its_other_level_is_refused_with_both_places(refused):
    complaint = refused(np.concatenate([tone(8, amplitude=0.02), tone(7, amplitude=0.2)])).complaint
    assert "one of 8 s from 0 s" in complaint
    assert "one of 7 s from 8 s that differs by +20.0 dB" in complaint


def test_seating_the_calibrator_at_another_level_is_no_second_tone(calibrated):
    found = calibrated(np.concatenate([tone(3.5, amplitude=0.02), tone(9)]))
    assert error_db(found, 0.1, 94.0) == pytest.approx(0.0, abs=0.001)


# Before and after


@pytest.fixture
def before_and_after(tmp_path, write_sound):
    def calibrate(drift_db, level_db=94.0, **options):
        paths = [
            write_sound(tmp_path / name, tone(frequency_hz=998.2, amplitude=amplitude), subtype="PCM_24")
            for name, amplitude in (("before.wav", 0.1), ("after.wav", 0.1 * 10 ** (drift_db / 20)))
        ]
        return calibration_from_tones(*paths, level_db=level_db, **options)

    return calibrate


@pytest.mark.parametrize("level_db", [94.0, 104.0, 114.0, 124.0])
@pytest.mark.parametrize("drift_db", [0.0, 0.49, -0.49])
def test_a_drift_within_half_a_decibel_is_shown_and_shared(before_and_after, drift_db, level_db):
    found = before_and_after(drift_db, level_db)
    assert found.drift_db == pytest.approx(drift_db, abs=0.001)
    assert f"drift {found.drift_db:+.2f} dB".replace("-", "\N{MINUS SIGN}") in found.origin
    assert error_db(found, 0.1, level_db) == pytest.approx(-drift_db / 2, abs=0.001)
    assert found.remarks == ()


@pytest.mark.parametrize("drift_db", [0.51, -0.51, 3.0])
def test_more_than_half_a_decibel_is_refused_with_the_standard_that_says_so(before_and_after, drift_db):
    with pytest.raises(CalibrationError, match=r"0\.5 dB at most \(ISO 1996-2:2017, 5\.2\)") as caught:
        before_and_after(drift_db)
    assert f"{drift_db:+.2f} dB".replace("-", "\N{MINUS SIGN}") in caught.value.complaint
    assert "--accept-drift" in caught.value.remedy


def test_a_drift_is_accepted_on_request_and_said(before_and_after):
    found = before_and_after(0.9, accept_drift=True)
    (remark,) = found.remarks
    assert "+0.90 dB" in remark
    assert "ISO 1996-2:2017" in remark


def test_a_drift_widens_the_uncertainty(before_and_after):
    # Rectangular, half of 1.2 dB wide: 0.346 dB beside the recorder's 1.5 dB, doubled.
    found = before_and_after(1.2, accept_drift=True)
    assert found.expanded_uncertainty_db == pytest.approx(2 * math.hypot(1.5, 0.6 / math.sqrt(3)), abs=1e-3)
    assert before_and_after(0.0).expanded_uncertainty_db == pytest.approx(3.0, abs=1e-3)


def test_one_recording_may_hold_both_tones(tmp_path, write_sound):
    room = 0.001 * np.random.default_rng(2).standard_normal(20 * RATE_HZ)
    sound = [tone(6, 998.2), room, tone(8, 998.2, 0.102), room[:RATE_HZ]]
    path = write_sound(tmp_path / "night.wav", np.concatenate(sound), subtype="PCM_24")
    found = calibration_from_tones(path, path)
    assert found.drift_db == pytest.approx(20 * math.log10(1.02), abs=0.001)
    assert [span.start_s for span in found.tones] == [0.0, 26.0]


def test_one_recording_with_one_tone_is_no_before_and_after(tmp_path, write_sound):
    path = write_sound(tmp_path / "night.wav", tone(), subtype="PCM_24")
    with pytest.raises(CalibrationError, match="two tones are needed in it") as caught:
        calibration_from_tones(path, path)
    assert "--tone-after" in caught.value.remedy


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
