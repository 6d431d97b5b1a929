"""Which ticks belong to one sound: series, different sounds one after the other, weak words between."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import find_events
from sleepnoise.night.single_sounds import bands_apart, energy_places

LOW = np.where(np.abs(np.log2(np.asarray(NOMINAL_HZ) / 100)) < 0.6, 0.0, -60.0)
HIGH = np.where(np.abs(np.log2(np.asarray(NOMINAL_HZ) / 2000)) < 0.6, 0.0, -60.0)


def shaped(history, spans):
    """Return a history in which stretches have spectra of their own: start and end in s, shape in dB."""
    bands = np.array(history.bands)
    for start_s, end_s, shape_db in spans:
        own = slice(round(8 * start_s), round(8 * end_s))
        total = float(level(energy(shape_db + band_weighting_db(NOMINAL_HZ)).sum()))
        bands[:, own] = history.laeq[own] + (shape_db - total)[:, np.newaxis]
    fields = {name: getattr(history, name) for name in LevelHistory.__dataclass_fields__}
    return LevelHistory(**{**fields, "bands": bands})


def seconds(events):
    return [(round(event.first_tick / 8), round(event.last_tick / 8)) for event in events]


# --- series -----------------------------------------------------------------------------------


def barks(sounds, gaps_s, laf_db=45.0, start_s=200.0):
    scene = sounds(1200)
    at_s = start_s
    for gap_s in (0.0, *gaps_s):
        at_s += gap_s
        scene.slam(at_s, laf_db)
    return scene


@pytest.mark.parametrize("apart_s", [0.4, 0.5, 1.0, 2.5])
@pytest.mark.parametrize("laf_db", [36.0, 45.0, 60.0])
def test_footsteps_and_beats_are_one_series_with_their_count(sounds, apart_s, laf_db):
    (event,) = find_events(sounds(600).steps(300, 20 * apart_s - 0.01, laf_db, apart_s).history())
    assert event.count == 20


@pytest.mark.parametrize("over_db", [13.0, 20.0])
def test_barking_over_a_rumble_that_scatters_is_one_series(sounds, over_db):
    scene = barks(sounds, [4, 5, 3, 6, 4, 5], 27 + over_db).scattered(49.7)
    shape_db = np.where(np.isin(NOMINAL_HZ, (100, 125)), 0.0, -60.0)
    (event,) = find_events(scene.history(shape_db=shape_db))
    assert event.count == 7


def test_barking_every_few_seconds_is_one_series_with_a_count(sounds):
    gaps_s = np.random.default_rng(5).uniform(0.5, 9.0, 40)
    (event,) = find_events(barks(sounds, gaps_s).history())
    assert event.count == 41
    assert event.duration_s == pytest.approx(gaps_s.sum(), abs=1.0)


def test_two_bangs_are_two_events_and_three_are_a_series(sounds):
    assert [event.count for event in find_events(barks(sounds, [6]).history())] == [1, 1]
    assert [event.count for event in find_events(barks(sounds, [6, 6]).history())] == [3]


def test_a_series_ends_where_a_gap_is_longer_than_is_set(sounds):
    history = barks(sounds, [6, 6, 12, 6, 6]).history()
    assert [event.count for event in find_events(history)] == [3, 3]
    assert [event.count for event in find_events(history, EventSettings(series_gap_s=13.0))] == [6]
    assert len(find_events(history, EventSettings(series_gap_s=0.0))) == 6


def test_sounds_with_other_spectra_or_much_louder_do_not_join_a_series(sounds):
    scene = barks(sounds, [6, 6])
    tapped = scene.slam(218, 45).history()
    assert [event.count for event in find_events(tapped)] == [4]
    told = shaped(tapped, [(217.9, 219, LOW)])
    assert [event.count for event in find_events(told)] == [3, 1]
    louder = barks(sounds, [6, 6]).slam(218, 60).history()
    assert [event.count for event in find_events(louder)] == [3, 1]


def test_a_series_does_not_reach_across_time_that_is_left_out(sounds):
    history = barks(sounds, [6] * 5).history(left_out=[(215, 216)])
    assert [event.count for event in find_events(history)] == [3, 3]


def test_passages_talk_and_one_bang_are_no_series(sounds):
    scene = sounds(3600).passage(300, 20, 50).passage(328, 20, 50).passage(356, 20, 50)
    scene.slam(800, 50).speech(1500, 600, 33, 45)
    assert {event.count for event in find_events(scene.history())} == {1}


# --- different sounds, one after the other ------------------------------------------------------


def test_a_tram_and_the_door_in_its_tail_are_two_events_if_their_spectra_differ(sounds):
    history = sounds(900).passage(400, 40, 50, rise_db=40).slam(416.5 + 15, 55).history()
    assert len(find_events(history)) == 1
    tram, door = find_events(shaped(history, [(390, 431.4, LOW), (431.4, 433, HIGH)]))
    assert tram.lafmax == pytest.approx(50, abs=0.3)
    assert door.first_tick / 8 == pytest.approx(431.4, abs=0.25)
    assert tram.last_tick == door.first_tick


def test_a_tram_and_a_door_are_one_event_if_the_level_does_not_fall_between(sounds):
    history = sounds(900).passage(400, 40, 50, rise_db=40).slam(421, 55).history()
    assert len(find_events(shaped(history, [(390, 421, LOW), (421, 423, HIGH)]))) == 1


def test_steps_that_come_close_after_a_slam_are_an_event_of_their_own(sounds):
    history = shaped(sounds(900).slam(400, 55).steps(402, 10, 42).history(), [(400, 401.8, LOW)])
    slam, steps = find_events(history)
    assert (slam.count, steps.count) == (1, 20)


def test_a_slam_cut_in_two_by_the_grid_keeps_the_place_of_its_energy(sounds):
    # The maximum is read in the second tick, which holds little but background.
    history = sounds(600).slam(300.075, 60).history()
    history = shaped(history, [(300, 300.125, HIGH), (300.125, 310, LOW)])
    (place,) = energy_places(history, np.array([2401]))
    (high,) = energy_places(shaped(history, [(0, 600, HIGH)]), np.array([2401]))
    assert bands_apart(place, high) < 0.5


def test_a_rhythm_of_two_drums_is_one_event(sounds):
    scene = sounds(900).steps(300, 60, 50, apart_s=1.0).steps(300.5, 60, 50, apart_s=1.0)
    drums = [(300.5 + beat, 301 + beat, HIGH) for beat in range(60)]
    (event,) = find_events(shaped(scene.history(), drums))
    assert event.count == 120


def test_a_bang_in_a_conversation_does_not_cut_it_in_three(sounds):
    scene = sounds(1800).speech(300, 300, 33, 48).slam(450, 65)
    assert len(find_events(shaped(scene.history(), [(450, 451, LOW)]))) == 1


# --- weak parts -------------------------------------------------------------------------------


def test_weaker_words_keep_a_conversation_together_but_are_no_events(sounds):
    scene = sounds(900)
    for start_s, over_db in ((300, 9.0), (303, 5.0), (306, 5.0), (309, 9.0), (320, 5.0)):
        scene.steady(start_s, 1, float(level(energy(27 + over_db) - energy(27))))
    assert seconds(find_events(scene.history())) == [(300, 310)]


def test_weaker_words_before_the_first_loud_one_do_not_begin_an_event(sounds):
    scene = sounds(900)
    for start_s, over_db in ((300, 5.0), (302, 9.0), (304, 5.0)):
        scene.steady(start_s, 1, float(level(energy(27 + over_db) - energy(27))))
    assert seconds(find_events(scene.history())) == [(302, 303)]


# --- a night of beats ---------------------------------------------------------------------------


def test_hours_of_equal_beats_are_one_series_and_cost_little(sounds):
    (event,) = find_events(sounds(3 * 3600).steps(600, 9000, 45).history())
    assert event.count == 18_000


def test_a_level_log_without_bands_still_has_series(from_ticks):
    levels = np.full(4800, 27.0)
    levels[2400:2480:8] = 45.0
    history = from_ticks(levels)
    fields = {name: getattr(history, name) for name in LevelHistory.__dataclass_fields__}
    bare = LevelHistory(**{**fields, "nominal_hz": (), "bands": np.empty((0, 4800), dtype=np.float32)})
    (event,) = find_events(bare)
    assert event.count == 10
    assert event.spectrum_at_max.levels_db.size == 0
