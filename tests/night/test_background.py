"""The moving background: what it follows, what it does not, and what it costs."""

import time

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d
from scipy.stats import norm

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz
from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.levels.detectors import F_TIME_CONSTANT_S
from sleepnoise.night.background import F_AVERAGING_S, LA90_BELOW_MEDIAN, SCATTER_DB, moving_background
from sleepnoise.night.event_settings import EventSettings

SETTINGS = EventSettings()


def at(history, second, settings=SETTINGS):
    return moving_background(history, settings).level_db[round(second * 8)]


def test_over_steady_noise_it_is_the_la90_of_the_readings(sounds):
    history = sounds(1800).scattered(1000.0).history()
    la90 = np.percentile(history.laf, 10)
    # A running minimum of floors lies low; with 1 kHz of bandwidth by some tenths of a decibel.
    assert moving_background(history, SETTINGS).level_db == pytest.approx(la90, abs=0.5)


@pytest.mark.parametrize("rise_db", [3.0, 6.0])
def test_a_hum_is_followed_within_a_block_both_ways(sounds, rise_db):
    hum_db = float(level(energy(27 + rise_db) - energy(27)))
    history = sounds(1800).steady(602.5, 480, hum_db).history()
    assert at(history, 599) == pytest.approx(27, abs=0.01)
    assert at(history, 606) == pytest.approx(27 + rise_db, abs=0.01)
    assert at(history, 1079) == pytest.approx(27 + rise_db, abs=0.01)
    assert at(history, 1085) == pytest.approx(27, abs=0.01)


@pytest.mark.parametrize("seconds", [10, 60, 85])
def test_a_passage_however_loud_leaves_it_alone(sounds, seconds):
    history = sounds(900).steady(302, seconds, 70).history()
    assert moving_background(history, SETTINGS).level_db == pytest.approx(27, abs=0.01)


def test_a_loud_sound_of_ten_minutes_does_not_drag_it_up(sounds):
    history = sounds(3600).steady(602, 600, 50).history()
    assert moving_background(history, SETTINGS).level_db == pytest.approx(27, abs=0.01)


def test_speech_with_pauses_lifts_it_by_little(sounds):
    history = sounds(3600).speech(600, 2400, 34, 39).history()
    assert moving_background(history, SETTINGS).level_db.max() < 27 + 3


def test_a_fan_that_stays_on_has_become_background_a_quarter_of_an_hour_later(sounds):
    history = sounds(7200).steady(602, 6000, 42).history()
    assert at(history, 600 + 14.5 * 60) == pytest.approx(27, abs=0.01)
    assert at(history, 600 + 15.5 * 60) == pytest.approx(42.1, abs=0.1)
    assert at(history, 7000) == pytest.approx(27, abs=0.01)


def test_patience_can_be_set(sounds):
    history = sounds(3600).steady(602, 2900, 42).history()
    patient, quick = EventSettings(max_length_minutes=40), EventSettings(max_length_minutes=5)
    assert at(history, 1800, patient) == pytest.approx(27, abs=0.01)
    assert at(history, 930, quick) == pytest.approx(42.1, abs=0.1)


def test_rain_that_grows_over_twenty_minutes_is_followed_as_it_grows(sounds):
    scene = sounds(5400)
    growing = np.interp(np.arange(scene.energies.size) * 0.0125, [900, 2100], [27, 42])
    scene.energies = energy(growing)
    history = scene.history()
    followed = moving_background(history, SETTINGS).level_db
    assert followed == pytest.approx(history.laf, abs=0.3)


def test_a_rise_in_several_steps_counts_as_one(sounds):
    scene = sounds(2400)
    seconds = np.arange(scene.energies.size) * 0.0125
    scene.energies = energy(27.0 + 6 * np.clip(seconds // 100 - 5, 0, 3))
    # From 600 s on 33, 39 and 45 dB, a step every 100 s: each is small, together they are not.
    assert at(scene.history(), 1300) <= 27 + 8


def test_two_loud_sounds_with_quiet_between_are_not_one_that_stays(sounds):
    history = sounds(3600).steady(600, 600, 50).steady(1260, 600, 50).history()
    assert moving_background(history, SETTINGS).level_db == pytest.approx(27, abs=0.01)


def test_a_recording_that_begins_in_a_loud_sound_takes_the_minutes_after_it(sounds):
    history = sounds(900).steady(0, 120, 50).history()
    assert at(history, 1) == pytest.approx(27, abs=0.01)


def test_a_recording_shorter_than_a_block_has_its_own_la90(sounds):
    history = sounds(2).history()
    assert moving_background(history, SETTINGS).level_db == pytest.approx(27, abs=0.01)


def test_digital_silence_and_left_out_time_keep_the_background_before(sounds):
    scene = sounds(900)
    scene.energies[scene.energies.size // 3 : scene.energies.size // 2] = 0
    scene.steady(600, 200, 80)
    history = scene.history(left_out=[(599, 801)])
    assert moving_background(history, SETTINGS).level_db == pytest.approx(27, abs=0.05)


def test_a_recording_without_usable_sound_has_no_background(from_ticks):
    for history in (from_ticks(np.full(800, -np.inf)), from_ticks(np.full(800, np.nan))):
        assert np.isnan(moving_background(history, SETTINGS).level_db).all()


@pytest.mark.parametrize("nominal_hz", [63.0, 200.0, 1000.0])
def test_scatter_is_that_of_the_readings_and_follows_from_bandwidth(sounds, nominal_hz):
    band = NOMINAL_HZ.index(nominal_hz)
    shape_db = np.where(np.arange(len(NOMINAL_HZ)) == band, 0.0, -120.0)
    width_hz = float(np.diff(band_edges_hz(), axis=0)[0, band])
    history = sounds(3600).scattered(width_hz).history(shape_db=shape_db)
    scatter_db = np.median(moving_background(history, SETTINGS).scatter_db)
    assert scatter_db == pytest.approx(float(history.laf.std()), rel=0.12)


def test_a_tone_does_not_scatter(sounds):
    shape_db = np.where(np.asarray(NOMINAL_HZ) == 100.0, 0.0, -120.0)
    assert moving_background(sounds(600).history(shape_db=shape_db), SETTINGS).scatter_db.max() < 0.01


def test_speech_over_a_rumble_does_not_scatter_like_a_rumble(sounds):
    shape_db = np.where(np.asarray(NOMINAL_HZ) == 31.5, 25.0, 0.0)  # which A weighting takes away again
    history = sounds(3600).speech(0, 3600, 33, 45).history(shape_db=shape_db)
    assert moving_background(history, SETTINGS).scatter_db.max() < 0.5


def test_the_neighbouring_blocks_count_for_what_a_sound_must_stand_out_from(sounds):
    found = moving_background(sounds(1800).steady(602.5, 480, 30).history(), SETTINGS)
    assert (found.upper_db >= found.level_db).all()
    assert np.array_equal(found.upper_db[::40], maximum_filter1d(found.level_db[::40], 3))


def test_a_night_of_eight_hours_costs_well_under_two_seconds(larch_court):
    before = time.process_time()
    moving_background(larch_court.history, SETTINGS)
    assert time.process_time() - before < 1.0


def test_a_hum_that_comes_on_behind_a_van_is_followed_between_it_and_the_next(sounds):
    hum_db = float(level(energy(30.5) - energy(27)))
    scene = sounds(3600).steady(600, 300, 55).steady(930, 260, 52).steady(1220, 120, 50)
    history = scene.steady(800, 480, hum_db).history()
    assert at(history, 915) == pytest.approx(30.5, abs=0.01)
    assert at(history, 1205) == pytest.approx(30.5, abs=0.01)
    assert at(history, 1400) == pytest.approx(27, abs=0.01)


def test_a_lively_background_scatters_as_seen_but_talk_does_not_count_as_one(sounds):
    # Pink noise would scatter by 0.1 dB; this scatters like 60 Hz of bandwidth, all the time.
    lively = sounds(3600).scattered(60.0).history()
    seen_db = float(np.percentile(lively.laf, 50) - np.percentile(lively.laf, 10)) / 1.28
    assert moving_background(lively, SETTINGS).scatter_db == pytest.approx(seen_db, rel=0.15)
    talk = sounds(3600).speech(0, 3600, 33, 45).history()
    assert moving_background(talk, SETTINGS).scatter_db.max() < 0.5


def test_ten_minutes_of_liveliness_are_no_background(sounds):
    scene = sounds(3600)
    lively = sounds(3600).scattered(60.0)
    part = slice(round(1200 / 0.0125), round(1800 / 0.0125))
    scene.energies[part] = lively.energies[part]
    assert moving_background(scene.history(), SETTINGS).scatter_db.max() < 0.2


def test_the_scatter_of_noise_follows_from_its_statistics():
    """10 lg e dB at BT = 1; from LA90 to LA50 the 90 % point of a normal distribution (scipy)."""
    assert pytest.approx(10 * np.log10(np.e), abs=0.005) == SCATTER_DB
    assert pytest.approx(norm.ppf(0.9), abs=0.00005) == LA90_BELOW_MEDIAN
    assert F_AVERAGING_S == 2 * F_TIME_CONSTANT_S
