"""What levels tell of a recording, and what flags do to levels; invented sound through the real engine."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.signal import lfilter

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.statistics import level_statistics
from sleepnoise.night.events import find_events
from sleepnoise.night.quality import (
    LOWER_BOUND,
    at_most,
    gain_dips_db,
    history_flags,
    left_out_mask,
    under_range_flags,
    with_lower_bounds,
    without_faults,
)
from sleepnoise.recording.quality import QualityFlag

RATE_HZ = 8_000


def pink(seconds, level_db, rate_hz=RATE_HZ, seed=1, slope=1.0):
    """Noise of an unweighted level whose power falls with a power of frequency from 5 Hz on, Pa."""
    samples = round(seconds * rate_hz)
    lines = np.fft.rfft(np.random.default_rng(seed).standard_normal(samples))
    lines /= np.maximum(np.fft.rfftfreq(samples, 1 / rate_hz), 5) ** (slope / 2)
    sound = np.fft.irfft(lines, n=samples)
    return 20e-6 * 10 ** (level_db / 20) * sound / sound.std()


def with_claps(sound, at_s, level_db=70, rate_hz=RATE_HZ):
    sound = sound.copy()
    rng = np.random.default_rng(5)
    for start_s in at_s:
        time_s = np.arange(rate_hz) / rate_hz
        clap = np.exp(-time_s * 15) * rng.standard_normal(rate_hz) * 20e-6 * 10 ** (level_db / 20)
        sound[start_s * rate_hz : start_s * rate_hz + rate_hz] += clap
    return sound


def with_gain_control(sound, release_s, rate_hz=RATE_HZ):
    """Turn the gain down for what was loud 50 ms ago and let it come back slowly, 10 ms at a time."""
    pieces = sound.reshape(-1, rate_hz // 100)
    wanted_db = -np.maximum(20 * np.log10(pieces.std(axis=1) / 20e-6) - 35, 0)
    gain_db, keep = np.zeros(wanted_db.size), np.exp(-0.01 / release_s)
    for place in range(1, wanted_db.size):
        gain_db[place] = min(wanted_db[max(place - 5, 0)], keep * gain_db[place - 1])
    return (pieces * 10 ** (gain_db[:, np.newaxis] / 20)).reshape(-1)


@pytest.fixture(scope="module")
def heard(from_ticks):
    start = from_ticks([30.0]).start

    def hear(sound, rate_hz=RATE_HZ):
        return level_history([PressureBlock(pressure_pa=sound, sample_rate_hz=float(rate_hz), start=start)])

    return hear


def flag(history, kind, first_s, last_s, effect):
    start, end = (history.start + timedelta(seconds=each) for each in (first_s, last_s))
    return QualityFlag(kind=kind, start=start, end=end, what="An invented fault.", effect=effect)


def kinds(history, **more):
    return {each.kind for each in history_flags(history, **more)}


def test_every_statistic_leaves_out_the_faults_and_says_how_much(from_ticks):
    history = from_ticks([30.0] * 80 + [90.0] * 8 + [30.0] * 80)
    clean = without_faults(history, [flag(history, "dropout", 10.01, 10.9, "left out")])
    found = level_statistics(clean)
    assert found.laeq == pytest.approx(30.0)
    assert found.left_out_s == 1.0 + 0.5  # four time constants of F, after which 0.1 dB is left


@pytest.mark.parametrize("effect", ["lower bound", "upper bound", "noted"])
def test_other_flags_leave_nothing_out(from_ticks, effect):
    history = from_ticks([30.0] * 80)
    assert not left_out_mask(history, [flag(history, "clipping", 1, 2, effect)]).any()


def test_faults_outside_of_the_history_do_not_matter(from_ticks):
    history = from_ticks([30.0] * 80)
    around = [flag(history, "dropout", -9, -5, "left out"), flag(history, "dropout", 11, 12, "left out")]
    assert not left_out_mask(history, around).any()


def test_events_that_overload_are_lower_bounds_once(sounds):
    history = sounds(600).passage(200, 20, 60).passage(400, 20, 60).scattered(300).history()
    clipped = [flag(history, "clipping", 209, 210, "lower bound"), flag(history, "knock", 409, 410, "noted")]
    first, second = with_lower_bounds(with_lower_bounds(find_events(history), clipped), clipped)
    assert first.flags.count(LOWER_BOUND) == 1
    assert LOWER_BOUND not in second.flags


def test_a_quiet_room_through_the_engine_has_no_flag(heard):
    history = heard(with_claps(pink(240, 40), [30, 75, 120, 165]))
    assert kinds(history) == set()
    assert gain_dips_db(history).size == 4
    assert gain_dips_db(history).max() < 0.5


def test_an_invented_night_has_no_flag(larch_court):
    assert kinds(larch_court.history) == set()


@pytest.mark.parametrize("release_s", [1.0, 3.0, 8.0])
def test_a_background_that_climbs_back_after_loud_sounds_shows_automatic_gain(heard, release_s):
    sound = with_gain_control(with_claps(pink(240, 40), [30, 75, 120, 165]), release_s)
    (found,) = history_flags(heard(sound))
    assert found.kind == "gain control"
    assert "LA10 - LA90" in found.what
    assert found.seconds == 240


def test_a_hum_that_ends_with_a_sound_is_no_automatic_gain(sounds):
    scene = sounds(600)
    for start_s in (50, 200, 350, 500):
        scene.steady(start_s - 40, 40, 40.0).slam(start_s, 65)
    assert kinds(scene.scattered(300).history()) == set()


@pytest.mark.parametrize("highest_hz", [2_000, 7_000, 12_000])
def test_a_spectrum_that_ends_in_a_cliff_is_a_lossy_floor(heard, highest_hz):
    sound = pink(20, 45, 48_000)
    lines = np.fft.rfft(sound)
    lines[np.fft.rfftfreq(sound.size, 1 / 48_000) > highest_hz] = 0
    (found,) = history_flags(heard(np.fft.irfft(lines, n=sound.size), 48_000))
    assert found.kind == "lossy floor"
    named_hz = int(found.what.split("above ")[1].split(" Hz")[0])
    assert highest_hz / 1.3 <= named_hz <= highest_hz * 1.3


def test_nothing_at_all_above_a_kilohertz_is_a_cliff(from_ticks):
    history = from_ticks([30.0] * 100)
    bands = history.bands.copy()
    bands[history.nominal_hz.index(250.0) :] = -np.inf
    assert "lossy floor" in kinds(replace(history, bands=bands))
    assert "lossy floor" not in kinds(history)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_noise_of_any_usual_slope_has_no_cliff(heard, slope):
    assert "lossy floor" not in kinds(heard(pink(20, 45, 48_000, slope=slope), 48_000))


def test_a_whistle_is_no_cliff(heard):
    tone = 0.01 * np.sin(2 * np.pi * 8_000 / 48_000 * np.arange(20 * 48_000))
    assert kinds(heard(pink(20, 45, 48_000) + tone, 48_000)) == set()


def thump(sound, at_s, frequency_hz, peak_pa):
    sound = sound.copy()
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    pulse = peak_pa * np.sin(2 * np.pi * frequency_hz * time_s) * np.exp(-18 * time_s)
    sound[at_s * RATE_HZ : at_s * RATE_HZ + pulse.size] += pulse
    return sound


def test_a_knock_on_the_recorder_is_noted_where_it_is(heard):
    found = history_flags(heard(thump(pink(60, 40), 30, 9.0, 1.0)))
    assert [each.kind for each in found] == ["knock"]
    assert abs((found[0].start - heard(pink(1, 40)).start).total_seconds() - 30) < 0.4
    assert found[0].seconds <= 0.5


def test_a_footstep_overhead_is_no_knock(heard):
    assert kinds(heard(thump(pink(60, 40), 30, 28.0, 0.1))) == set()


def test_a_deep_thump_that_can_be_heard_is_no_knock(heard):
    sound = pink(60, 40)
    time_s = np.arange(RATE_HZ) / RATE_HZ
    envelope = np.minimum(time_s / 0.1, 1) * np.exp(-10 * time_s)
    sound[30 * RATE_HZ : 31 * RATE_HZ] += 0.3 * np.sin(2 * np.pi * 31.5 * time_s) * envelope
    assert kinds(heard(sound)) == set()


@pytest.mark.parametrize(("band_db", "found"), [(40.0, {"knock"}), (79.5, set())])
def test_a_thump_is_a_knock_only_if_the_bands_do_not_explain_it(from_ticks, band_db, found):
    history = from_ticks([30.0] * 400)
    lzeq, bands = history.lzeq.copy(), history.bands.copy() - 20
    lzeq[200:202] = 80.0
    bands[2, 200:202] = band_db
    assert kinds(replace(history, lzeq=lzeq, bands=bands)) == found


@pytest.mark.parametrize(("hz", "found"), [(25.0, {"wind"}), (63.0, set())])
def test_gusts_are_wind_only_where_they_are_deepest(from_ticks, hz, found):
    history = from_ticks([30.0] * 400)
    lzeq, bands = history.lzeq.copy(), history.bands.copy() - 20
    bands[history.nominal_hz.index(hz), 80:240] = np.tile(np.repeat([80.0, 60.0], 8), 10)
    lzeq[80:240] = bands[:, 80:240].max(axis=0) + 0.1
    assert kinds(replace(history, lzeq=lzeq, bands=bands)) == found


def test_a_slow_passage_says_nothing_about_the_gain(heard):
    sound = pink(120, 40)
    over_db = 25 - 25 * np.abs(np.arange(sound.size) / RATE_HZ - 60) / 15
    assert gain_dips_db(heard(sound * 10 ** (np.maximum(over_db, 0) / 20))).size == 0


def gusty(seconds, level_db):
    """Wind: steep low-frequency noise whose strength wanders by 6 dB within seconds."""
    steep = pink(seconds, level_db, seed=3, slope=4.0)
    strength = lfilter([1], [1, -0.9], np.random.default_rng(4).standard_normal(2 * seconds))
    strength_db = np.interp(
        np.arange(steep.size) / RATE_HZ, np.arange(2 * seconds) / 2, 6 * strength / strength.std()
    )
    return steep * 10 ** (strength_db / 20)


def test_wind_on_the_microphone_is_noted_and_holds_no_knocks(heard):
    sound = pink(120, 25)
    fade = np.minimum(np.minimum(np.arange(40 * RATE_HZ), np.arange(40 * RATE_HZ)[::-1]) / (5 * RATE_HZ), 1)
    sound[40 * RATE_HZ : 80 * RATE_HZ] += gusty(40, 75) * fade**2
    found = history_flags(heard(sound))
    assert {each.kind for each in found} == {"wind"}
    assert 20 <= sum(each.seconds for each in found) <= 50


def test_steady_rumble_and_a_passing_lorry_are_no_wind(heard):
    rumble = pink(60, 75, slope=3.0)
    band = np.fft.rfft(pink(60, 70, seed=8))
    band *= np.exp(-(((np.fft.rfftfreq(60 * RATE_HZ, 1 / RATE_HZ) - 63) / 25) ** 2))
    lorry = np.fft.irfft(band) * np.exp(-(((np.arange(60 * RATE_HZ) / RATE_HZ - 30) / 8) ** 2))
    assert kinds(heard(pink(60, 40) + rumble)) == set()
    assert kinds(heard(pink(60, 40) + lorry)) == set()
    gusts_of_traffic = np.fft.irfft(band) * np.tile(np.repeat([1.0, 0.2], 2 * RATE_HZ), 15)
    assert kinds(heard(pink(60, 40) + gusts_of_traffic)) == set()


@pytest.mark.parametrize(("own_noise", "spans"), [(19.9, 0), (20.1, 1), (30.0, 1)])
def test_a_background_within_7_db_of_the_own_noise_is_an_upper_bound(from_ticks, own_noise, spans):
    found = under_range_flags(from_ticks([27.0] * 8 * 600), own_noise)
    assert len(found) == spans
    assert all(each.effect == "upper bound" and each.seconds == 600 for each in found)
    assert at_most(27.0, own_noise) == bool(spans)


def test_noise_6_9_db_down_adds_what_a_class_1_meter_may_err():
    # IEC 61672-1:2013, 5.6.5: 0.8 dB of level linearity error (library); the rest is an energy sum.
    assert 10 * np.log10(1 + 10**-0.69) == pytest.approx(0.8, abs=0.05)


def test_silence_and_empty_histories_have_no_flag(from_ticks):
    for levels in ([], [-np.inf] * 800, [np.nan] * 800):
        assert history_flags(from_ticks(levels)) == ()
