"""Faults put into invented sound are found where they are; clean sound has none."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.recording.quality import HOP, OVERLAP, SampleQuality, joined

START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
FULL_SCALE_PA = 2.83
RATE_HZ = 48_000


def flags_of(samples, *, cuts=(), rate_hz=RATE_HZ, coded_with_loss=False):
    quality = SampleQuality(FULL_SCALE_PA, coded_with_loss=coded_with_loss)
    pressure_pa = np.asarray(samples, dtype=np.float32) * np.float32(FULL_SCALE_PA)
    for piece in np.split(pressure_pa, sorted(cuts)):
        quality.update(PressureBlock(pressure_pa=piece, sample_rate_hz=float(rate_hz), start=START))
    return quality.result()


def noise(seconds, level, seed=1, slope=0.0, rate_hz=RATE_HZ):
    """Noise whose power falls with a power of frequency."""
    samples = round(seconds * rate_hz)
    lines = np.fft.rfft(np.random.default_rng(seed).standard_normal(samples))
    lines /= np.maximum(np.fft.rfftfreq(samples, 1 / rate_hz), 20) ** (slope / 2)
    sound = np.fft.irfft(lines, n=samples)
    return level * sound / sound.std()


def speech(seconds, peak):
    """Glottal pulses with a formant, in syllables: as asymmetric and peaky as a voice."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phase = 2 * np.pi * np.cumsum(120 + 20 * np.sin(4.4 * time_s)) / RATE_HZ
    voice = sum(np.sin(k * phase) / k**0.8 * np.exp(-(((k * 120 - 500) / 700) ** 2)) for k in range(1, 25))
    voice = voice * (0.1 + np.abs(np.sin(14 * time_s)))
    return peak * voice / np.abs(voice).max()


def music(seconds, peak):
    """Notes of five partials that die away, one every 0.3 s."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tune = np.zeros(time_s.size)
    for number, start_s in enumerate(np.arange(0, seconds - 0.1, 0.3)):
        since_s = np.maximum(time_s - start_s, 0)
        pitch_hz = 220 * 2 ** ((5 * number % 24) / 12)
        tune += sum(np.sin(2 * np.pi * pitch_hz * k * since_s) / k for k in range(1, 6)) * np.exp(
            -3 * since_s
        )
    return peak * tune / np.abs(tune).max()


def in_steps(samples, bits=16):
    return np.clip(np.round(samples * 2 ** (bits - 1)), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1) / 2 ** (
        bits - 1
    )


def only(flags, kind):
    assert {flag.kind for flag in flags} == {kind}
    return flags


def covers(flags, first_s, last_s, within_s=0.01):
    """Whether a flag begins and ends there."""
    edges = [((flag.start - START).total_seconds(), (flag.end - START).total_seconds()) for flag in flags]
    return any(abs(a - first_s) <= within_s and abs(b - last_s) <= within_s for a, b in edges)


@settings(max_examples=25, deadline=None)
@given(
    level_db=st.floats(-140, 20),
    rate_hz=st.sampled_from([8_000, 11_025, 16_000, 44_100, 48_000, 96_000, 192_000]),
    slope=st.sampled_from([0.0, 1.0, 2.0]),
    seed=st.integers(0, 1000),
)
def test_gaussian_noise_has_no_fault_at_any_level_and_rate(level_db, rate_hz, slope, seed):
    sound = noise(min(2.0, 40_000 / rate_hz), 10 ** (level_db / 20), seed, slope, rate_hz)
    assert flags_of(sound, rate_hz=rate_hz) == ()


@pytest.mark.parametrize("steps", [0.7, 1, 3, 30, 1000, 6000])
@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_noise_in_16_bit_has_no_fault_down_to_one_step(steps, slope):
    assert flags_of(in_steps(noise(6, steps / 2**15, slope=slope))) == ()


@pytest.mark.parametrize("bits", [8, 16, 24])
@pytest.mark.parametrize("make", [speech, music])
def test_speech_and_music_that_nearly_reach_full_scale_are_not_clipped(make, bits):
    sound = make(6, 0.97) + noise(6, 2.0**-bits)
    assert flags_of(in_steps(sound, bits)) == ()


@pytest.mark.parametrize("frequency_hz", [20, 50, 250, 997, 1000, 4000])
def test_a_made_tone_just_below_full_scale_is_neither_clipped_nor_repeated(frequency_hz):
    tone = 0.99 * np.sin(2 * np.pi * frequency_hz / RATE_HZ * np.arange(6 * RATE_HZ) + 0.3)
    assert flags_of(in_steps(tone)) == ()


@pytest.mark.parametrize("ceiling", [1.0, 0.9, 0.5])
@pytest.mark.parametrize("make", [speech, music])
def test_peaks_cut_off_at_any_ceiling_are_clipping_and_levels_lower_bounds(make, ceiling):
    sound = np.clip(make(6, 1.0) * 10 ** (1 / 20), -1, 1) * ceiling
    for flag in only(flags_of(in_steps(sound)), "clipping"):
        assert flag.effect == "lower bound"


def test_only_the_time_in_which_it_overloads_is_flagged():
    sound = noise(8, 0.01)
    burst = noise(1, 0.5, seed=2)
    sound[3 * RATE_HZ : 4 * RATE_HZ] = np.clip(burst, -0.8, 0.8)
    (flag,) = only(flags_of(in_steps(sound)), "clipping")
    assert covers([flag], 3, 4, within_s=0.2)


@pytest.mark.parametrize(("ceiling", "found"), [(0.99, {"clipping"}), (0.7, set())])
def test_one_cut_off_peak_is_enough_at_the_very_top_only(ceiling, found):
    sound = noise(3, 0.001)
    sound[96_000:96_480] = ceiling * np.minimum(1.2 * np.sin(np.pi * np.arange(480) / 480), 1)
    assert {flag.kind for flag in flags_of(sound)} == found


def test_an_analogue_stage_that_overloads_before_the_converter_is_seen_by_its_blunt_peaks():
    # Its own noise lies on the cut-off tops, so no two samples need be equal.
    sound = np.clip(4 * speech(6, 1.0), -1, 1) * 0.6 + noise(6, 0.003)
    only(flags_of(sound), "clipping")


def test_far_beyond_full_scale_a_decoder_tells_of_clipping_and_a_float_recorder_does_not():
    sound = noise(4, 0.25, slope=1.0)
    sound[100_000] = 1.5
    assert flags_of(sound) == ()
    only(flags_of(sound, coded_with_loss=True), "clipping")
    sound[100_000] = 1.05
    assert flags_of(sound, coded_with_loss=True) == ()


@pytest.mark.parametrize(
    ("container", "encoding", "compression"),
    [("MP3", "MPEG_LAYER_III", 0.7), ("OGG", "VORBIS", 0.8), ("OGG", "OPUS", 0.9)],
)
@pytest.mark.parametrize(("over_db", "found"), [(0, set()), (12, {"clipping"})])
def test_clipping_is_found_behind_lossy_coding(
    tmp_path, write_sound, container, encoding, compression, over_db, found
):
    sound = np.clip((speech(6, 0.95) + noise(6, 0.001)) * 10 ** (over_db / 20), -0.999, 0.999)
    path = write_sound(
        tmp_path / "night",
        sound.astype(np.float32),
        format=container,
        subtype=encoding,
        compression_level=compression,
    )
    decoded, _ = soundfile.read(path, dtype="float32")
    assert {flag.kind for flag in flags_of(decoded, coded_with_loss=True)} == found


@pytest.mark.parametrize("samples", [64, 480, 4000])
def test_zeros_within_sound_are_a_dropout(samples):
    sound = in_steps(noise(5, 0.01))
    sound[100_000 : 100_000 + samples] = 0.0
    (flag,) = only(flags_of(sound), "dropout")
    assert covers([flag], 100_000 / RATE_HZ, (100_000 + samples) / RATE_HZ, within_s=3 / RATE_HZ)
    assert flag.effect == "left out"


@pytest.mark.parametrize("held", [0.0, 0.013])
@pytest.mark.parametrize("seconds", [0.1, 0.5, 4.0])
def test_a_long_time_without_change_is_silence_whatever_its_value(held, seconds):
    sound = noise(7, 0.01)
    sound[2 * RATE_HZ : 2 * RATE_HZ + round(seconds * RATE_HZ)] = held
    (flag,) = only(flags_of(sound), "silence")
    assert covers([flag], 2, 2 + seconds, within_s=3 / RATE_HZ)


def test_slow_sound_that_rests_at_zero_is_no_dropout():
    slow = 5 * np.sin(2 * np.pi * 20 / RATE_HZ * np.arange(4 * RATE_HZ)) / 2**15
    assert np.count_nonzero(in_steps(slow) == 0) > 10_000
    assert flags_of(in_steps(slow + noise(4, 0.05 / 2**15))) == ()


@pytest.mark.parametrize("buffer", [64, 128, 256, 512, 1024, 1111, 4096, 8192])
@pytest.mark.parametrize("steps", [2, 300])
def test_a_buffer_that_comes_twice_is_a_repeat(buffer, steps):
    sound = in_steps(noise(5, steps / 2**15, slope=1.0))
    first = 123_456
    sound[first + buffer : first + 2 * buffer] = sound[first : first + buffer]
    (flag,) = only(flags_of(sound), "repeat")
    assert covers([flag], (first + buffer) / RATE_HZ, (first + 2 * buffer) / RATE_HZ, within_s=20 / RATE_HZ)
    assert flag.effect == "left out"


@pytest.mark.parametrize("seconds", [0.33, 1.03, 1.71])
@pytest.mark.parametrize("frequency_hz", [440, 480, 620, 1000])
def test_a_beep_made_by_a_program_is_no_repeat(frequency_hz, seconds):
    # 440 Hz at 48 kHz comes again, to the bit, every 1200 samples.
    sound = np.zeros(4 * RATE_HZ) + in_steps(noise(4, 0.001))
    samples = round(seconds * RATE_HZ)
    beep = in_steps(0.2 * np.sin(2 * np.pi * frequency_hz / RATE_HZ * (np.arange(samples) % 2400)))
    sound[RATE_HZ : RATE_HZ + samples] = beep
    assert flags_of(sound) == ()


def test_spans_are_joined_over_short_gaps_and_across_others_inside_them():
    spans = np.array([[500, 510], [0, 100], [10, 20], [105, 110], [300, 301]])
    assert joined(spans, 10).tolist() == [[0, 110], [300, 301], [500, 510]]


def test_a_buffer_that_sticks_five_times_is_one_repeat():
    sound = noise(5, 0.01)
    sound[100_000:105_120] = np.tile(sound[98_976:100_000], 5)
    (flag,) = only(flags_of(sound), "repeat")
    assert covers([flag], 100_000 / RATE_HZ, 105_120 / RATE_HZ, within_s=20 / RATE_HZ)


@pytest.mark.parametrize("offset", [-0.1, -0.011, 0.011, 0.1])
def test_an_offset_is_noted_over_the_whole_recording(offset):
    (flag,) = only(flags_of(noise(6, 0.01) + offset), "offset")
    assert covers([flag], 0, 6)
    assert flag.effect == "noted"
    assert f"{100 * offset:+.1f} %" in flag.what


def test_a_small_offset_is_not():
    assert flags_of(noise(6, 0.01) + 0.009) == ()


def faulty():
    """Twelve seconds with a fault of each kind, some across the edges of windows."""
    sound = in_steps(noise(12, 0.02, slope=1.0) + 0.02)
    sound[HOP - 300 : HOP + 300] = 0.0
    sound[HOP + OVERLAP - 600 : HOP + OVERLAP + 424] = sound[HOP + OVERLAP - 1624 : HOP + OVERLAP - 600]
    sound[2 * HOP + OVERLAP - 100 :][:30_000] = 0.0
    sound[400_000:410_000] = in_steps(np.clip(30 * sound[400_000:410_000], -0.7, 0.7))
    return sound


FAULTY = faulty()
WHOLE = flags_of(FAULTY)


def test_every_kind_is_found_in_one_recording():
    assert sorted({flag.kind for flag in WHOLE}) == ["clipping", "dropout", "offset", "repeat", "silence"]
    assert list(WHOLE) == sorted(WHOLE, key=lambda flag: flag.start)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, FAULTY.size), max_size=8))
def test_cutting_the_recording_elsewhere_changes_nothing(cuts):
    assert flags_of(FAULTY, cuts=cuts) == WHOLE


def test_asking_early_and_again_changes_nothing():
    quality = SampleQuality(FULL_SCALE_PA)
    for piece in np.split(FAULTY.astype(np.float32) * np.float32(FULL_SCALE_PA), [100_000, 300_000]):
        quality.update(PressureBlock(pressure_pa=piece, sample_rate_hz=float(RATE_HZ), start=START))
        quality.result()
    assert quality.result() == quality.result() == WHOLE


def test_nothing_heard_has_no_fault():
    assert SampleQuality(FULL_SCALE_PA).result() == ()
    assert flags_of(np.empty(0)) == ()
    assert flags_of(noise(0.001, 0.1)) == ()


def test_times_are_counted_from_the_start_of_the_recording():
    sound = noise(2, 0.01)
    sound[48_000:58_000] = 0.0
    (flag,) = flags_of(sound)
    assert flag.start == START + timedelta(seconds=1)
    assert flag.seconds == pytest.approx(10_000 / RATE_HZ, abs=1e-6)
