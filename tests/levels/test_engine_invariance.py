"""What must not matter to the engine does not, to the last bit; what must, does exactly so."""

from dataclasses import fields
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.levels.engine import LevelEngine, level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.statistics import level_statistics

RATE_HZ = 8000
SECONDS = 41.3
"""More than two sets of frames at the lowest rate."""

ARRAYS = [field.name for field in fields(LevelHistory) if field.name not in ("start", "nominal_hz")]

few = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
places = st.integers(0, round(SECONDS * RATE_HZ))


def assert_same(one, other):
    assert (one.start, one.nominal_hz) == (other.start, other.nominal_hz)
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)


@pytest.fixture(scope="module")
def sound(sounds):
    """Noise that swells, with a stretch of digital silence in it."""
    noise = sounds.pink(SECONDS, RATE_HZ) * np.linspace(0.001, 1, round(SECONDS * RATE_HZ), dtype=np.float32)
    noise[100_000:130_000] = 0.0
    return noise


@pytest.fixture(scope="module")
def whole(measure, sound):
    return measure(sound, RATE_HZ)


@few
@given(cuts=st.lists(places, max_size=8), threads=st.sampled_from([1, 2, 3]))
def test_cutting_the_recording_elsewhere_changes_nothing(measure, sound, whole, cuts, threads):
    """Empty blocks and repeated cuts are included on purpose."""
    assert_same(measure(sound, RATE_HZ, cuts=cuts, threads=threads), whole)


def test_blocks_of_a_few_samples_change_nothing(measure, sound):
    short = sound[-12_345:]
    assert_same(measure(short, RATE_HZ, cuts=range(7, short.size, 7)), measure(short, RATE_HZ))


@pytest.mark.parametrize("rate_hz", [11025, 44100, 48000])
def test_cuts_and_threads_change_nothing_at_other_rates(measure, sounds, rate_hz):
    noise = sounds.white(25, rate_hz)
    cuts = range(rate_hz // 3, noise.size, rate_hz // 3)
    assert_same(measure(noise, rate_hz, cuts=cuts, threads=2), measure(noise, rate_hz))


@pytest.mark.parametrize("threads", [2, 3])
def test_threads_keep_the_order_of_a_longer_sound(measure, sounds, threads):
    """More sets of frames than may wait at a time, each of them another one."""
    noise = sounds.white(150, RATE_HZ) * np.geomspace(0.01, 1, 150 * RATE_HZ, dtype=np.float32)
    assert_same(measure(noise, RATE_HZ, threads=threads), measure(noise, RATE_HZ))


@few
@given(cut=places, threads=st.sampled_from([1, 2]))
def test_asking_midway_changes_nothing_and_tells_the_first_part(block, measure, sound, whole, cut, threads):
    with LevelEngine(RATE_HZ, whole.start, threads=threads) as engine:
        engine.update(block(sound[:cut], RATE_HZ))
        midway, again = engine.result(), engine.result()
        engine.update(block(sound[cut:], RATE_HZ))
        end = engine.result()
    assert_same(again, midway)
    assert_same(midway, measure(sound[:cut], RATE_HZ))
    assert_same(end, whole)


def test_a_history_given_out_earlier_stays_as_it_was(block, sound, whole):
    engine = LevelEngine(RATE_HZ, whole.start)
    engine.update(block(sound[:100_000], RATE_HZ))
    midway = engine.result()
    before = {name: np.copy(getattr(midway, name)) for name in ARRAYS}
    engine.update(block(sound[100_000:], RATE_HZ))
    engine.finish()
    for name, array in before.items():
        np.testing.assert_array_equal(getattr(midway, name), array)


@pytest.mark.parametrize("expected_s", [0.0, 10.0, SECONDS, 3600.0])
def test_a_wrong_expectation_of_the_length_changes_nothing(block, sound, whole, expected_s):
    pieces = np.array_split(sound, 5)
    assert_same(level_history((block(p, RATE_HZ) for p in pieces), expected_s=expected_s), whole)


def test_twice_the_pressure_is_6_db_more_everywhere(measure, sound, whole):
    louder = measure(2 * sound, RATE_HZ)
    for name in ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands"):
        before = np.asarray(getattr(whole, name))
        kept = np.isfinite(before)
        np.testing.assert_allclose(
            np.asarray(getattr(louder, name))[kept],
            before[kept] + 20 * np.log10(2),
            rtol=0,
            # Bands are kept as whole hundredths.
            atol=0.0101 if name == "bands" else 1e-4,
        )


def test_the_sign_of_the_pressure_changes_nothing(measure, sound, whole):
    assert_same(measure(-sound, RATE_HZ), whole)


@pytest.mark.parametrize("later_ticks", [1, 37, 160])
def test_the_same_sound_later_has_the_same_levels_later(measure, sound, whole, later_ticks):
    """Frames lie elsewhere then: only rounding may differ, and what rings in the digital silence."""
    quiet = np.zeros(later_ticks * RATE_HZ // 8, dtype=np.float32)
    later = measure(np.concatenate([quiet, sound]), RATE_HZ)
    ringing = np.zeros(whole.ticks, dtype=bool)
    ringing[98:132] = True
    # Peaks: single samples of noise up to half the rate, where a weighting's phase has nowhere to go.
    for name, tolerance_db in (("laeq", 0.01), ("lceq", 0.01), ("lcpeak", 0.04)):
        before, after = getattr(whole, name), getattr(later, name)[later_ticks:]
        heard = (before > before.max() - 60) & ~ringing
        np.testing.assert_allclose(after[heard], before[heard], rtol=0, atol=tolerance_db, err_msg=name)
    for before, after in zip(whole.bands, later.bands[:, later_ticks:], strict=True):
        assert energy_mean(after[132:-8]) == pytest.approx(energy_mean(before[132:-8]), abs=0.01)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000])
def test_a_sound_rings_on_in_digital_silence_only_far_below_itself(measure, sounds, rate_hz):
    """Worst case: white noise up to half the rate, switched off and on between two samples."""
    noise = sounds.white(12, rate_hz)
    noise[4 * rate_hz : 8 * rate_hz] = 0.0
    history = measure(noise, rate_hz)
    silence = slice(33, 63)
    for name in ("laeq", "lceq"):
        levels = getattr(history, name)
        assert (levels[silence] < levels[:30].mean() - 40).all(), name


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_digital_silence_is_minus_infinity_everywhere(measure, rate_hz):
    history = measure(np.zeros(20 * rate_hz), rate_hz)
    for name in ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands"):
        assert np.isneginf(getattr(history, name)).all(), name
    statistics = level_statistics(history)
    assert statistics.laeq == statistics.lae == statistics.la1 == statistics.lafmax == -np.inf


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_a_recorder_s_offset_is_no_sound(measure, rate_hz):
    """Steady pressure, once it is there, has no level: 1 Pa of it reads less than -20 dB."""
    history = measure(np.ones(40 * rate_hz), rate_hz)
    steady = history.between(80, 240)
    for name in ("laeq", "lceq", "lzeq", "bands"):
        assert (np.asarray(getattr(steady, name)) < -20).all(), name


@pytest.mark.parametrize("seconds", [0.6, 20.0])
def test_an_offset_neither_begins_nor_ends_with_a_bang(measure, seconds):
    """1 Pa of steady pressure, which is 94 dB of sound where it is switched, stays below 20 dB(A)."""
    history = measure(np.ones(round(seconds * RATE_HZ)), RATE_HZ)
    for name in ("laeq", "lafmax", "lasmax"):
        assert (getattr(history, name) < 20).all(), name


def test_an_offset_does_not_change_the_level_of_a_sound(measure, sounds):
    noise = sounds.pink(20, 48_000)
    with_offset, without = (
        measure(noise + 1, 48_000).between(80, 120),
        measure(noise, 48_000).between(80, 120),
    )
    for name in ("laeq", "lceq", "lzeq"):
        np.testing.assert_allclose(getattr(with_offset, name), getattr(without, name), rtol=0, atol=0.001)


def test_the_order_of_levels_holds_in_every_tick(whole):
    assert (whole.lafmin <= whole.laf).all()
    assert (whole.laf <= whole.lafmax).all()
    # LZ of a tick may lie under LA or LC: it has no delay. Not so over a stretch.
    assert energy_mean(whole.lzeq) >= energy_mean(whole.lceq) - 0.2
    heard = whole.lcpeak > -np.inf
    assert (whole.lcpeak >= whole.lceq)[heard].all()


def test_the_history_covers_whole_ticks_and_says_what_is_left_over(sound, whole):
    assert whole.ticks == int(SECONDS * 8)
    assert whole.seconds + whole.left_over_s == pytest.approx(sound.size / RATE_HZ, abs=1e-9)
    assert whole.end == whole.start + timedelta(milliseconds=125 * whole.ticks)
    assert not whole.left_out.any()


@pytest.mark.parametrize("samples", [0, 1, 999, 1000, 1001])
def test_a_sound_shorter_than_a_tick_is_all_left_over(measure, samples):
    history = measure(np.ones(samples), RATE_HZ)
    assert history.ticks == samples // 1000
    assert history.left_over_s == pytest.approx(samples % 1000 / RATE_HZ)


def test_a_block_of_another_rate_is_refused(block, whole):
    engine = LevelEngine(RATE_HZ, whole.start)
    with pytest.raises(RecordingError, match="sampling rate must stay 8000 Hz, got 16000 Hz"):
        engine.update(block(np.zeros(10), 16000))


@pytest.mark.parametrize("rate_hz", [7999, 192_001, 44_100.5])
def test_a_rate_that_cannot_be_analysed_is_refused(whole, rate_hz):
    with pytest.raises(RecordingError, match="whole number of Hz from 8000 to 192000") as caught:
        LevelEngine(rate_hz, whole.start)
    assert caught.value.remedy


def test_no_threads_and_no_blocks_are_refused(whole):
    with pytest.raises(SettingsError, match="threads must be 1 or more, got 0"):
        LevelEngine(RATE_HZ, whole.start, threads=0)
    with pytest.raises(RecordingError, match="holds no sound"):
        level_history([])


def test_a_block_that_nobody_may_write_to_is_not_kept(sound, whole):
    """The engine copies what it needs: the reader may fill the same memory again."""
    engine = LevelEngine(RATE_HZ, whole.start)
    for piece in np.array_split(sound, 4):
        reused = piece.copy()
        reused.flags.writeable = False
        engine.update(PressureBlock(pressure_pa=reused, sample_rate_hz=RATE_HZ, start=whole.start))
        reused.flags.writeable = True
        reused[:] = 99.0
    assert_same(engine.finish(), whole)
