"""How an event rises, how long it is loud, and the spectrum at its loudest moment."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.weighting import weighting_db
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_moments import loudest_moments
from sleepnoise.night.events import Event, find_events


def only(history) -> Event:
    (event,) = find_events(history)
    return event


def changed(history, **arrays):
    fields = {name: getattr(history, name) for name in LevelHistory.__dataclass_fields__}
    return LevelHistory(**{**fields, **{name: np.array(array) for name, array in arrays.items()}})


# --- onset ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_db_per_s", [0.5, 1.0, 3.0, 8.0, 20.0])
def test_a_straight_rise_has_its_own_rate(sounds, rate_db_per_s):
    event = only(sounds(900).passage(400, 80 / rate_db_per_s, 67, rise_db=40).history())
    # F weighting lags behind a straight rise without bending it; the background bends its foot.
    assert event.onset_rate_db_per_s == pytest.approx(rate_db_per_s, rel=0.08)
    assert 34 < event.rise_db < 41


def test_a_step_rises_as_fast_as_f_weighting_lets_it(sounds):
    # IEC 61672-1 (Eq. 7, time constant 0.125 s): 2.0 dB below the end of the step after one tick.
    event = only(sounds(600).steady(300, 10, 57).history())
    assert event.rise_db == pytest.approx(30, abs=0.1)
    assert 150 < event.onset_rate_db_per_s < 30 / 0.125


def test_the_rise_of_a_slam_is_its_emergence(sounds):
    event = only(sounds(600).slam(300.03, 50).history())
    assert event.rise_db == pytest.approx(event.emergence_db, abs=0.1)
    assert event.onset_rate_db_per_s > 100


def test_only_the_rise_to_the_loudest_sound_counts(sounds):
    # Ten seconds at 40 dB, two back at the background, then a slam of 55 dB.
    event = only(sounds(600).steady(300, 10, 40).slam(312, 55).history())
    assert event.rise_db == pytest.approx(28, abs=0.5)
    event = only(sounds(600).steady(300, 10, 40).slam(305, 55).history())
    assert event.rise_db == pytest.approx(15, abs=0.5)


def test_a_rise_begins_where_the_level_last_fell(sounds):
    scene = sounds(600)
    course = ([300, 301, 302, 312, 320], [20, 45, 38, 58, 20])
    at_s = np.arange(scene.energies.size) * 0.0125
    scene.energies += energy(np.interp(at_s, *course, left=-50, right=-50))
    event = only(scene.history())
    assert event.rise_db == pytest.approx(19, abs=1)
    assert event.onset_rate_db_per_s == pytest.approx(2, abs=0.15)


def test_a_sound_that_was_there_from_the_first_sample_has_no_rise(sounds):
    event = only(sounds(600).steady(0, 10, 50).history())
    assert np.isnan([event.rise_db, event.onset_rate_db_per_s]).all()


def test_a_rise_does_not_reach_across_a_gap(sounds):
    scene = sounds(600).passage(300, 10, 60, rise_db=20)
    history = scene.history(left_out=[(298, 302)])
    event = max(find_events(history), key=lambda each: each.lafmax)
    # From 302 s on only the last three seconds, 12 dB, of the way up were heard.
    assert event.rise_db == pytest.approx(12, abs=1.0)
    # Whatever stands in the gap, also in its last tick, is no part of the rise.
    laf = np.where(history.left_out, 0.0, history.laf).astype(np.float32)
    again = max(find_events(changed(history, laf=laf)), key=lambda each: each.lafmax)
    assert again.rise_db == event.rise_db


# --- ten decibels down ------------------------------------------------------------------------


@pytest.mark.parametrize("rate_db_per_s", [1.0, 2.0, 4.0])
def test_a_passage_is_loud_from_ten_decibels_below_its_maximum_and_back(sounds, rate_db_per_s):
    event = only(sounds(900).passage(400, 80 / rate_db_per_s, 60, rise_db=40).history())
    assert event.loud_s == pytest.approx(20 / rate_db_per_s, abs=0.3)
    assert event.loud_s < event.duration_s


@pytest.mark.parametrize(("peak_db", "told"), [(41.5, True), (38.5, False)])
def test_ten_decibels_down_are_told_only_above_the_release_threshold(sounds, peak_db, told):
    event = only(sounds(900).passage(400, 40, peak_db, rise_db=40).history())
    assert np.isfinite(event.loud_s) == told


# --- spectra ----------------------------------------------------------------------------------


def test_the_spectrum_at_the_maximum_is_that_moments_and_not_the_highest_of_each_band(sounds):
    history = sounds(600).steady(300, 4, 50).steady(302, 1, 60).history()
    bands = np.array(history.bands)
    bands[5, 300 * 8] = bands[25, 300 * 8] = 75.0  # before the maximum: a thump and a squeak
    event = only(changed(history, bands=bands))
    at_max, highest = event.spectrum_at_max.levels_db, event.max_spectrum.levels_db
    assert at_max[[5, 25]] == pytest.approx(at_max[6], abs=0.01)
    assert (highest[[5, 25]] > 65).all()
    assert event.spectrum_at_max.weighted_level() == pytest.approx(60.4, abs=0.1)


def test_a_slam_at_the_end_of_a_tick_keeps_its_spectrum_though_its_maximum_is_read_in_the_next(sounds):
    for late_s in np.arange(10) * 0.0125:
        event = only(sounds(600).slam(300 + late_s, 45).history())
        # 50 ms of 49.8 dB in a tick of 125 ms; cut in two, at least half of it.
        upper = np.asarray(NOMINAL_HZ) >= 250
        shares = event.spectrum_at_max.levels_db[upper] - event.max_spectrum.levels_db[upper]
        assert shares == pytest.approx(0.0, abs=0.01)


def test_low_bands_are_read_over_half_a_second_within_the_event(sounds):
    history = sounds(600).steady(300, 4, 50).steady(302, 0.125, 60).history()
    event = only(history)
    low = np.asarray(NOMINAL_HZ) < 250
    tick = 302 * 8
    expected = level(energy(np.array(history.bands)[low, tick - 2 : tick + 2]).mean(axis=1))
    assert event.spectrum_at_max.levels_db[low] == pytest.approx(expected, abs=1e-4)


def test_c_minus_a_is_that_of_the_event(sounds):
    history = sounds(600).steady(300, 10, 60).history()
    lceq = np.array(history.lceq)
    lceq[300 * 8 : 311 * 8] += 8
    assert only(changed(history, lceq=lceq)).c_minus_a_db == pytest.approx(18, abs=0.01)


# --- the moments that may be the loudest behind a loss -----------------------------------------


def test_what_is_neither_the_highest_nor_the_lowest_may_be_loudest_behind_a_step(sounds):
    """By hand: 60 dB(A) at 4 kHz, 59 at 1 kHz and 57 at 125 Hz, 0.75 s apart.

    No even slope makes the second the loudest: 1.5 dB an octave, which take 2 dB more off the first
    than they have to, take 4.5 dB more off it than off the third. A step of 8 dB above 1 kHz does.
    """
    whole = sounds(8).history()
    silence = np.full((len(NOMINAL_HZ), whole.ticks), -np.inf, dtype=np.float32)
    lafmax = np.full(whole.ticks, -20.0, dtype=np.float32)
    for tick, hz, dba in ((8, 4000.0, 60.0), (14, 1000.0, 59.0), (20, 125.0, 57.0)):
        silence[whole.nominal_hz.index(hz), tick] = dba - float(weighting_db(hz, "A"))
        lafmax[tick] = dba
    history = changed(whole, bands=silence[: len(whole.nominal_hz)], lafmax=lafmax)
    found = loudest_moments(history, 8, 24)
    assert [whole.nominal_hz[int(each.levels_db.argmax())] for each in found] == [4000.0, 1000.0, 125.0]
    assert [each.weighted_level() for each in found] == pytest.approx([60.0, 59.0, 57.0], abs=0.01)


# --- what a recording without calibration, or made elsewhere, must not change -------------------


def test_shapes_do_not_depend_on_the_gain(sounds):
    scene = sounds(900).passage(200, 20, 50).slam(400, 55).steps(600, 8, 44).scattered(300.0)
    names = [
        name for name in LevelHistory.__dataclass_fields__ if name.startswith("l") and name != "left_out"
    ]
    names = [name for name in (*names, "bands") if name not in ("left_over_s",)]
    history = scene.history()
    louder = changed(history, **{name: getattr(history, name) + np.float32(11.5) for name in names})
    for before, after in zip(find_events(history), find_events(louder), strict=True):
        assert after.count == before.count
        for name in ("rise_db", "onset_rate_db_per_s", "loud_s", "c_minus_a_db"):
            expected = pytest.approx(getattr(before, name), rel=1e-3, abs=1e-3, nan_ok=True)
            assert getattr(after, name) == expected
        for spectrum in ("spectrum_at_max", "max_spectrum"):
            louder_by = getattr(after, spectrum).levels_db - getattr(before, spectrum).levels_db
            assert louder_by == pytest.approx(11.5, abs=1e-3)
