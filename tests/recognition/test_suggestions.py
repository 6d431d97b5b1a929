"""Suggestions: ticks and breath are told from noise, speech, steps and slow changes."""

import numpy as np
import pytest
from scipy.signal import lfilter

from sleepnoise.acoustics.decibels import level
from sleepnoise.recognition.suggestions import suggestions

NOMINAL_HZ = (125.0, 250.0, 500.0, 2000.0, 4000.0)
MINUTES = 10


@pytest.fixture
def heard(history_of):
    """Return a function that makes a night from rises over scattering noise, low and high, dB."""

    def make(low_db=0.0, high_db=0.0, seed=1, left_out=None):
        rng = np.random.default_rng(seed)
        ticks = MINUTES * 60 * 8
        bands = 20 + rng.normal(0, 1.0, (len(NOMINAL_HZ), ticks))
        bands[:3] = level(10 ** (bands[:3] / 10) + 10 ** (2.0 + np.asarray(low_db) / 10) - 100)
        bands[3:] = level(10 ** (bands[3:] / 10) + 10 ** (2.0 + np.asarray(high_db) / 10) - 100)
        return history_of(bands.max(axis=0), bands=bands, nominal_hz=NOMINAL_HZ, left_out=left_out)

    return make


def ticks_every(period, rise_db, ticks=MINUTES * 480):
    rises = np.zeros(ticks)
    rises[3::period] = rise_db
    return rises


def breaths(period_s, rise_db, uneven=0.08, minutes=MINUTES, seed=3):
    rng = np.random.default_rng(seed)
    rises, at = np.zeros(MINUTES * 480), 0.0
    while at < minutes * 480:
        rises[int(at) : int(at + period_s * 8 / 3)] = rise_db
        at += period_s * 8 * (1 + uneven * rng.normal())
    return rises


@pytest.mark.parametrize(("period", "period_s"), [(8, 1.0), (4, 0.5)])
def test_a_ticking_clock_is_suggested(heard, period, period_s):
    found = suggestions(heard(high_db=ticks_every(period, 4.0)))
    assert [(each.kind, each.period_s) for each in found] == [("clock ticking", period_s)]
    assert (found[0].end - found[0].start).total_seconds() == MINUTES * 60
    assert found[0].because


@pytest.mark.parametrize("period_s", [3.0, 4.0, 5.5])
def test_low_and_high_breaths_are_told_apart_with_their_pace(heard, period_s):
    snoring = suggestions(heard(low_db=breaths(period_s, 8.0)))
    breathing = suggestions(heard(high_db=breaths(period_s, 5.0)))
    assert {each.kind for each in snoring} == {"snoring"}
    assert {each.kind for each in breathing} == {"breathing"}
    for each in (*snoring, *breathing):
        assert each.period_s == pytest.approx(period_s, rel=0.08)


def test_a_suggestion_covers_the_time_in_which_it_was_heard(heard):
    history = heard(low_db=breaths(4.0, 8.0, minutes=5))
    (found,) = suggestions(history)
    assert found.start == history.start
    assert (found.end - history.start).total_seconds() == pytest.approx(5 * 60, abs=45)


def test_a_suggestion_begins_when_the_sound_does(heard):
    late = np.roll(breaths(4.0, 8.0, minutes=4), 5 * 480)
    history = heard(low_db=late)
    (found,) = suggestions(history)
    assert (found.start - history.start).total_seconds() == pytest.approx(5 * 60, abs=45)
    assert (found.end - history.start).total_seconds() == pytest.approx(9 * 60, abs=45)


def test_a_minute_and_a_half_is_too_short_for_a_suggestion(heard):
    assert suggestions(heard(high_db=ticks_every(8, 4.0)).between(0, 90 * 8)) == ()


def test_steady_noise_suggests_nothing(heard):
    assert all(suggestions(heard(seed=seed)) == () for seed in range(20))


def test_speech_suggests_nothing(heard):
    for seed in range(10):
        rng = np.random.default_rng(seed)
        rises = np.zeros(MINUTES * 480)
        for first in rng.integers(0, rises.size - 8, 600):
            rises[first : first + rng.integers(1, 8)] = rng.uniform(3, 15)
        assert suggestions(heard(low_db=rises, high_db=rises, seed=seed)) == ()


def test_a_level_that_drifts_suggests_nothing(heard):
    for seed in range(10):
        rng = np.random.default_rng(seed)
        drift = lfilter([0.03], [1, -0.97], rng.normal(0, 1, MINUTES * 480)) * 30
        drift -= drift.min()
        assert suggestions(heard(low_db=drift, high_db=drift, seed=seed)) == ()


def test_someone_who_walks_for_minutes_does_not_breathe(heard):
    steps = np.zeros(MINUTES * 480)
    at = 0.0
    rng = np.random.default_rng(2)
    while at < steps.size:
        steps[int(at)] = 12.0
        at += 5 * (1 + 0.03 * rng.normal())
    assert suggestions(heard(low_db=steps, high_db=steps)) == ()


def test_single_slams_do_not_hide_a_clock(heard):
    rises = ticks_every(8, 4.0)
    for first in np.random.default_rng(4).integers(0, rises.size, 30):
        rises[first : first + 5] = 60.0
    assert {each.kind for each in suggestions(heard(high_db=rises))} == {"clock ticking"}


def test_time_that_is_left_out_suggests_nothing(heard):
    mask = np.zeros(MINUTES * 480, dtype=bool)
    mask[::400] = True
    assert suggestions(heard(high_db=ticks_every(8, 6.0), left_out=mask)) == ()


def test_digital_silence_and_short_recordings_suggest_nothing(history_of, heard):
    silent = history_of(np.full(4800, -np.inf))
    assert suggestions(silent) == ()
    assert suggestions(heard(high_db=ticks_every(8, 6.0)).between(0, 400)) == ()
