"""Events as a listener would mark them, on invented sounds whose answers are known."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz
from sleepnoise.acoustics.decibels import combine, energy, energy_mean, level
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import (
    CUT_OFF_AT_END,
    CUT_OFF_AT_START,
    CUT_OFF_BY_GAP,
    NOT_SETTLED,
    STAYED_UP,
    event_ticks,
    find_events,
)

LEVELS = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands")


def spans(events):
    return [(event.first_tick, event.last_tick) for event in events]


def changed(history, **arrays):
    fields = {name: getattr(history, name) for name in LevelHistory.__dataclass_fields__}
    return LevelHistory(**{**fields, **{name: np.array(array) for name, array in arrays.items()}})


# --- the night at Larch Court ---------------------------------------------------------------


def test_every_sound_of_the_invented_night_is_one_event_and_nothing_else_is(larch_court):
    found = find_events(larch_court.history)
    assert len(found) == len(larch_court.truth)
    for event, sound in zip(found, larch_court.truth, strict=True):
        begin_s, end_s = event.first_tick / 8, event.last_tick / 8
        assert begin_s < sound.end_s, sound.kind
        assert end_s > sound.start_s, sound.kind


def test_levels_of_sounds_ten_decibels_up_are_right(larch_court):
    for event, sound in zip(find_events(larch_court.history), larch_court.truth, strict=True):
        with_background = float(combine([sound.lafmax, event.background_la90]))
        assert event.lafmax == pytest.approx(with_background, abs=0.5), sound.kind
        span_s = event.duration_s
        background_lae = event.background_la90 + 10 * np.log10(span_s)
        assert event.lae == pytest.approx(float(combine([sound.lae, background_lae])), abs=1.0), sound.kind


def test_emergence_is_over_the_background_with_or_without_the_hum(larch_court):
    for event in find_events(larch_court.history):
        assert event.emergence_db == event.lafmax - event.background_la90
        assert 25.5 < event.background_la90 < 33.0
        assert event.emergence_db >= 6.0


# --- what is an event -------------------------------------------------------------------------


@pytest.mark.parametrize("nominal_hz", [31.5, 63.0, 100.0, 200.0, 400.0, 1000.0])
def test_eight_hours_of_steady_noise_of_any_bandwidth_give_no_event(sounds, nominal_hz):
    band = NOMINAL_HZ.index(nominal_hz)
    shape_db = np.where(np.arange(len(NOMINAL_HZ)) == band, 0.0, -120.0)
    width_hz = float(np.diff(band_edges_hz(), axis=0)[0, band])
    assert find_events(sounds(8 * 3600).scattered(width_hz).history(shape_db=shape_db)) == ()


@pytest.mark.parametrize("rise_db", [3.0, 4.5, 6.0])
def test_a_condenser_that_cycles_is_no_event_and_others_stand_out_from_it(sounds, rise_db):
    scene = sounds(6000)
    for start_s in range(302, 6000, 1200):
        scene.steady(start_s, 480, float(level(energy(27 + rise_db) - energy(27))))
    assert find_events(scene.scattered(300.0).history()) == ()
    (tram,) = find_events(scene.passage(1700, 20, 45).history())
    assert tram.duration_s < 20
    assert tram.background_la90 == pytest.approx(27 + rise_db, abs=1.5)


def test_a_slam_of_fifty_milliseconds_is_found_wherever_it_falls_on_the_grid(sounds):
    for late_s in np.arange(10) * 0.0125:
        (event,) = find_events(sounds(600).slam(300 + late_s, 45).history())
        assert event.duration_s <= 0.75
        assert event.lafmax == pytest.approx(float(combine([45, 27])), abs=0.01)


def test_footsteps_are_one_event(sounds):
    (event,) = find_events(sounds(600).steps(300, 20, 38).history())
    assert event.duration_s == pytest.approx(20, abs=0.5)


def test_exceedances_merge_up_to_the_gap_that_is_set(sounds):
    history = sounds(600).slam(300, 45).slam(304, 45).history()
    assert len(find_events(history)) == 2
    assert len(find_events(history, EventSettings(merge_gap_s=5.0))) == 1


def test_late_television_is_one_event(sounds):
    (event,) = find_events(sounds(3600).speech(900, 1800, 33, 39).scattered(300.0).history())
    assert event.duration_s == pytest.approx(1800, abs=5)
    assert event.flags == ()


def test_a_slow_passage_lasts_while_it_is_three_decibels_up(sounds):
    (event,) = find_events(sounds(900).passage(400, 40, 47, rise_db=40).history())
    # Twenty decibels above the background at the peak, two a second: alone above it for 20 s.
    assert event.duration_s == pytest.approx(20, abs=0.5)


def test_thresholds_are_those_that_are_set(sounds):
    history = sounds(900).steady(400, 10, 35).history()  # 8.6 dB up, together
    assert len(find_events(history)) == 1
    assert len(find_events(history, EventSettings(onset_db=8.5))) == 1
    assert find_events(history, EventSettings(onset_db=8.7)) == ()
    (long,) = find_events(sounds(900).passage(400, 40, 47).history(), EventSettings(release_db=1.0))
    (short,) = find_events(sounds(900).passage(400, 40, 47).history(), EventSettings(release_db=6.0))
    assert long.duration_s > short.duration_s


def test_events_shorter_than_the_least_length_are_dropped(sounds):
    history = sounds(600).slam(200, 45).steady(400, 5, 45).history()
    (event,) = find_events(history, EventSettings(min_length_s=2.0))
    assert event.first_tick == 400 * 8


def test_a_van_that_idles_for_five_minutes_is_one_event(sounds):
    (event,) = find_events(sounds(1800).steady(600, 300, 42).history())
    assert event.duration_s == pytest.approx(300, abs=1)
    assert event.emergence_db == pytest.approx(15, abs=0.3)
    assert event.flags == ()


def test_a_fan_that_stays_on_is_an_event_until_it_is_background(sounds):
    (event,) = find_events(sounds(4 * 3600).steady(600, 3 * 3600, 42).history())
    assert event.first_tick == 600 * 8
    assert event.duration_s == pytest.approx(15 * 60, abs=15)
    assert event.flags == (STAYED_UP,)


def test_what_is_heard_over_the_fan_stands_out_from_the_fan(sounds):
    found = find_events(sounds(4 * 3600).steady(600, 3 * 3600, 42).passage(7200, 20, 60).history())
    assert [event.flags for event in found] == [(STAYED_UP,), ()]
    assert found[1].background_la90 == pytest.approx(42.1, abs=0.1)


def test_a_long_train_that_comes_slowly_is_one_event_from_its_beginning(sounds):
    scene = sounds(1800)
    seconds = np.arange(scene.energies.size) * 0.0125
    scene.energies += energy(np.interp(seconds, [600, 640, 760, 800], [17, 47, 47, 17], left=-50, right=-50))
    (event,) = find_events(scene.history())
    # Alone above the background from 10 dB up its slope of 0.75 dB/s to as far down.
    assert event.first_tick / 8 == pytest.approx(600 + 10 / 0.75, abs=0.5)
    assert event.duration_s == pytest.approx(200 - 2 * 10 / 0.75, abs=1)


def test_maxima_between_the_readings_count(sounds):
    # 6.5 dB up at its highest, 50 ms into a tick, but 2.6 dB of decay later at the tick's end.
    (event,) = find_events(sounds(600).slam(300, float(level(energy(33.5) - energy(27)))).history())
    assert event.lafmax == pytest.approx(33.5, abs=0.01)


def test_an_event_over_a_rumble_that_scatters_ends_when_its_sound_does(sounds):
    shape_db = np.where(np.asarray(NOMINAL_HZ) == 63.0, 0.0, -120.0)
    history = sounds(900).scattered(14.6).steady(400, 10, 60).history(shape_db=shape_db)
    (event,) = find_events(history)
    assert 10 <= event.duration_s < 11.5


def test_rain_that_grows_slowly_is_no_event(sounds):
    scene = sounds(5400)
    growing_db = np.interp(np.arange(scene.energies.size) * 0.0125, [900, 2100], [27, 42])
    scene.energies = energy(growing_db)
    assert find_events(scene.scattered(300.0).history()) == ()


# --- edges and gaps ---------------------------------------------------------------------------


def test_events_at_the_edges_say_that_they_are_cut_off(sounds):
    first, last = find_events(sounds(600).steady(0, 10, 50).steady(590, 10, 50).history())
    assert first.flags == (CUT_OFF_AT_START, NOT_SETTLED)
    assert last.flags == (CUT_OFF_AT_END,)
    assert first.background_la90 == pytest.approx(27, abs=0.01)
    assert np.isfinite(first.background_spectrum.levels_db).all()
    assert (first.first_tick, last.last_tick) == (0, 4800)


def test_the_background_of_an_early_event_is_not_settled_but_taken_from_after_it(sounds):
    early, late = find_events(sounds(600).slam(20, 50).slam(100, 50).history())
    assert early.flags == (NOT_SETTLED,)
    assert late.flags == ()
    assert early.background_la90 == pytest.approx(27, abs=0.01)
    assert early.background_spectrum.weighted_level() == pytest.approx(27, abs=0.05)


def test_left_out_ticks_belong_to_no_event_and_cut_it(sounds):
    history = sounds(600).steady(300, 60, 50).history(left_out=[(320, 321), (330, 340)])
    found = find_events(history)
    assert not (event_ticks(found, history.ticks) & history.left_out).any()
    assert [event.duration_s for event in found][:2] == [20.0, 9.0]
    assert all(event.flags == (CUT_OFF_BY_GAP,) for event in found)


def test_digital_silence_is_no_background_to_stand_out_from(sounds):
    scene = sounds(900)
    scene.energies[round(200 / 0.0125) : round(500 / 0.0125)] = 0
    assert find_events(scene.history()) == ()
    (event,) = find_events(scene.slam(600, 50).history())
    assert event.emergence_db == pytest.approx(23, abs=0.1)


def test_a_recording_that_begins_and_ends_in_silence_has_the_events_between(sounds):
    scene = sounds(900)
    scene.energies[: round(200 / 0.0125)] = 0
    scene.energies[round(700 / 0.0125) :] = 0
    (event,) = find_events(scene.passage(400, 20, 50).history())
    assert np.isfinite(event.emergence_db)
    assert np.isfinite(event.background_spectrum.levels_db).all()


def test_an_event_that_silence_cuts_says_so(sounds):
    scene = sounds(900).steady(300, 30, 50)
    scene.energies[round(310 / 0.0125) : round(400 / 0.0125)] = 0
    (event,) = find_events(scene.history())
    assert event.duration_s == pytest.approx(10, abs=0.2)
    assert event.flags == (CUT_OFF_BY_GAP,)


@pytest.mark.parametrize("value", [-np.inf, np.nan, 30.0])
@pytest.mark.parametrize("ticks", [0, 1, 3, 5000])
def test_histories_without_contrast_have_no_events(from_ticks, value, ticks):
    assert find_events(from_ticks(np.full(ticks, value))) == ()


def test_a_sound_without_any_calm_around_it_still_has_a_number_for_its_background(sounds):
    history = sounds(20).steady(5, 10, 60).history(left_out=[(0, 5), (15.0, 20)])
    for event in find_events(history):
        assert np.isfinite(event.emergence_db)


# --- figures of an event ----------------------------------------------------------------------


def test_figures_are_those_of_its_own_ticks(sounds):
    history = sounds(900).passage(400, 30, 50).history()
    (event,) = find_events(history)
    own = slice(event.first_tick, event.last_tick)
    seconds = event.last_tick / 8 - event.first_tick / 8
    assert event.duration_s == seconds
    assert event.start == history.start + timedelta(seconds=event.first_tick / 8)
    assert event.lafmax == history.lafmax[own].max()
    assert event.lasmax == history.lasmax[own].max()
    assert event.lcpeak == history.lcpeak[own].max()
    assert event.lae == pytest.approx(energy_mean(history.laeq[own]) + 10 * np.log10(seconds), abs=1e-6)
    assert (event.group, event.label) == ("", "")


def test_events_are_numbered_from_one_in_order_of_time(larch_court):
    found = find_events(larch_court.history)
    assert [event.number for event in found] == list(range(1, len(found) + 1))
    assert [event.start for event in found] == sorted(event.start for event in found)


def test_band_maxima_are_read_over_a_tick_above_and_half_a_second_below_250_hz(sounds):
    history = sounds(600).slam(300, 45).history()
    bands = np.full(history.bands.shape, 10.0, dtype=np.float32)
    bands[:, 300 * 8] = 50.0
    (event,) = find_events(changed(history, bands=bands))
    low = np.asarray(NOMINAL_HZ) < 250
    assert event.max_spectrum.levels_db[~low] == pytest.approx(50.0)
    over_half_a_second = float(level((energy(50) + 3 * energy(10)) / 4))
    assert event.max_spectrum.levels_db[low] == pytest.approx(over_half_a_second, abs=1e-4)


def test_the_maximum_spectrum_of_a_steady_sound_is_its_own(sounds):
    (event,) = find_events(sounds(600).steady(300, 20, 60).history())
    assert event.max_spectrum.weighted_level() == pytest.approx(60.0, abs=0.01)
    assert event.background_spectrum.weighted_level() == pytest.approx(27.0, abs=0.01)


def test_band_maxima_do_not_hear_ticks_that_are_left_out(sounds):
    history = sounds(600).slam(300, 45).history(left_out=[(300.25, 310)])
    bands = np.array(history.bands)
    bands[:, 300 * 8 + 2 :] = 90.0
    (event,) = find_events(changed(history, bands=bands))
    assert event.max_spectrum.levels_db.max() < 60


def test_other_events_are_no_part_of_a_background(sounds):
    scene = sounds(900)
    for start_s in range(300, 600, 20):
        scene.steady(start_s, 8, 55)
    last = find_events(scene.history())[-1]
    assert last.background_la90 == pytest.approx(27, abs=0.01)
    assert last.background_spectrum.weighted_level() == pytest.approx(27, abs=0.1)


# --- properties -------------------------------------------------------------------------------


def test_a_recording_an_hour_later_has_the_same_events_an_hour_later(sounds):
    scene = sounds(1800).passage(400, 20, 50).slam(900, 50).steps(1200, 15, 40).scattered(300.0)
    early = scene.history()
    late = scene.history(start=early.start + timedelta(hours=1))
    for before, after in zip(find_events(early), find_events(late), strict=True):
        assert after.start - before.start == timedelta(hours=1)
        unseen = dict.fromkeys(("max_spectrum", "background_spectrum", "spectrum_at_max"))
        assert replace(after, start=before.start, **unseen) == replace(before, **unseen)


@settings(deadline=None, max_examples=20)
@given(blocks=st.integers(1, 200))
def test_more_quiet_before_it_moves_every_event_and_changes_nothing_else(sounds, blocks):
    def scene(lead_s):
        return sounds(1200 + lead_s).passage(400 + lead_s, 20, 50).slam(700 + lead_s, 50).history()

    moved = np.array(spans(find_events(scene(5 * blocks)))) - 40 * blocks
    assert moved.tolist() == [list(span) for span in spans(find_events(scene(0)))]


@settings(deadline=None, max_examples=20)
@given(shift_db=st.floats(-120, 40))
def test_a_recording_without_calibration_has_the_same_events(sounds, shift_db):
    history = sounds(1800).passage(400, 20, 50).slam(900, 50).steps(1200, 15, 40).scattered(300.0).history()
    shifted = changed(history, **{name: getattr(history, name) + np.float32(shift_db) for name in LEVELS})
    for before, after in zip(find_events(history), find_events(shifted), strict=True):
        assert spans([after]) == spans([before])
        assert after.flags == before.flags
        assert after.emergence_db == pytest.approx(before.emergence_db, abs=1e-3)
        assert after.lae - before.lae == pytest.approx(shift_db, abs=1e-3)


SOUND = st.tuples(
    st.sampled_from(["slam", "passage", "steps", "steady"]), st.integers(0, 9), st.floats(36.0, 60.0)
)


def laid_out(sounds, plan, raised=None, by_db=0.0):
    scene = sounds(2400)
    for place, (kind, seconds, peak_db) in enumerate(plan):
        start_s, high_db = 200 + 250 * place, peak_db + (by_db if place == raised else 0.0)
        if kind == "slam":
            scene.slam(start_s, high_db)
        else:
            getattr(scene, kind)(start_s, 8 + 8 * seconds, high_db)
    return find_events(scene.scattered(300.0).history())


@settings(deadline=None, max_examples=25)
@given(plan=st.lists(SOUND, min_size=1, max_size=8), place=st.integers(0, 7), by_db=st.floats(0.5, 30.0))
def test_raising_a_sound_never_loses_it(sounds, plan, place, by_db):
    place %= len(plan)
    heard_at = range(8 * (200 + 250 * place), 8 * (200 + 250 * place + 90))

    def found(events):
        return any(first < heard_at.stop and last > heard_at.start for first, last in spans(events))

    if found(laid_out(sounds, plan)):
        assert found(laid_out(sounds, plan, place, by_db))


@settings(deadline=None, max_examples=15)
@given(seed=st.integers(0, 2**32 - 1), ticks=st.integers(1, 6000), silent=st.booleans())
def test_whatever_is_heard_events_are_apart_in_order_and_usable(from_ticks, seed, ticks, silent):
    rng = np.random.default_rng(seed)
    levels = rng.normal(30, 8, ticks)
    if silent:
        levels[rng.random(ticks) < 0.1] = -np.inf
    history = from_ticks(levels, left_out=rng.random(ticks) < 0.05)
    found = find_events(history)
    edges = [tick for span in spans(found) for tick in span]
    assert edges == sorted(edges)
    inside = event_ticks(found, ticks)
    assert not (inside & history.left_out).any()
    assert np.isfinite(history.laeq[inside]).all()
    for event in found:
        assert event.duration_s >= EventSettings().min_length_s
        assert np.isfinite([event.lafmax, event.lae, event.background_la90, event.emergence_db]).all()
