"""Nights made of many sounds whose truth is known, and of steady sounds in which nothing happens.

Sounds, their emergence, how many come an hour and what they are heard over are drawn at random
from seeds; every sound is found or missed, and every event that is no sound, or a second part
of one, is false.
"""

import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.signal import lfilter

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz
from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.judgement.assessment import assess_history
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.statistics import level_statistics
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import find_events
from sleepnoise.night.intervals import intervals
from sleepnoise.night.window import NightWindow

STEP_S = 0.0125
F_AFTER_200_MS_DB = float(level(1 - np.exp(-0.2 / 0.125)))
PINK = np.zeros(len(NOMINAL_HZ))
ROAD = -5.0 * np.log2(np.asarray(NOMINAL_HZ) / 20)
RUMBLE = np.where(np.isin(NOMINAL_HZ, (100, 125)), 0.0, -60.0)
KINDS = ("slam", "passage", "aircraft", "steps", "barks", "talk", "van")
HOURS = 2


def bandwidth_hz(shape_db):
    """Bandwidth whose noise scatters as much as that of a spectrum, A-weighted."""
    heard = energy(shape_db + band_weighting_db(NOMINAL_HZ))
    return float(heard.sum() ** 2 / (heard**2 / np.diff(band_edges_hz(), axis=0)[0]).sum())


def put(scene, rng, kind, at_s, top_db):
    """Lay one sound with a highest level over the scene and return for how long it sounds, s."""
    if kind == "slam":
        scene.slam(at_s, top_db)
        return 0.1
    if kind == "barks":
        apart_s = np.append(0.0, rng.uniform(0.6, 7.0, rng.integers(3, 12)))
        for bark_s in np.cumsum(apart_s):
            scene.steady(at_s + bark_s, 0.2, top_db - F_AFTER_200_MS_DB - rng.uniform(0, 2) * (bark_s > 0))
        return float(apart_s.sum()) + 0.2
    lengths_s = {
        "passage": (15, 40),
        "aircraft": (60, 150),
        "steps": (6, 25),
        "talk": (30, 600),
        "van": (60, 400),
    }
    length_s = rng.uniform(*lengths_s[kind])
    if kind in ("passage", "aircraft"):
        scene.passage(at_s, length_s, top_db)
    elif kind == "steps":
        scene.steps(at_s, length_s, top_db)
    elif kind == "talk":
        scene.speech(at_s, length_s, top_db - 6, top_db + 1)
    else:
        scene.steady(at_s, length_s, top_db)
    return length_s


def night(sounds, seed, *, emergence_db, an_hour, background_db, shape_db):
    """Return a history and, for each sound, its onset and end in s and its LAE with the background."""
    rng = np.random.default_rng(seed)
    scene = sounds(HOURS * 3600, background_db)
    scene.rng = rng
    scene.steady(2000, 480, background_db + 1)  # a hum that switches: 3.5 dB
    scene.scattered(bandwidth_hz(shape_db))
    quiet, truth, at_s = scene.energies.copy(), [], 90.0
    while at_s < HOURS * 3600 - 900:
        before = scene.energies.copy()
        around = slice(round(at_s / STEP_S), round(at_s / STEP_S) + 2400)
        local_db = float(level(quiet[around].mean()))
        top_db = local_db + float(level(energy(rng.uniform(*emergence_db)) - 1))
        length_s = put(scene, rng, KINDS[rng.integers(len(KINDS))], at_s, top_db)
        audible = np.flatnonzero(scene.energies - before >= quiet[around].mean())
        heard = slice(audible[0], audible[-1] + 1)
        lae = float(level(scene.energies[heard].sum() * STEP_S))
        truth.append((audible[0] * STEP_S, at_s + length_s, lae))
        at_s += length_s + 20 + rng.exponential(max(3600 / an_hour - length_s - 20, 20))
    return scene.history(shape_db=shape_db), truth


def compared(events, truth):
    """Return numbers of sounds found and of false events, and errors of onset (s) and LAE (dB)."""
    found, taken, onsets_s, lae_db = 0, 0, [], []
    for start_s, end_s, lae in truth:
        parts = [e for e in events if e.first_tick / 8 < end_s + 0.5 and e.last_tick / 8 > start_s - 1]
        if parts:
            found, taken = found + 1, taken + 1
            onsets_s.append(parts[0].first_tick / 8 - start_s)
            lae_db.append(float(level(sum(energy(e.lae) for e in parts))) - lae)
    return found, len(events) - taken, onsets_s, lae_db


@pytest.mark.parametrize("emergence_db", [(6.5, 10), (10, 15), (15, 30)], ids=str)
def test_synthetic_nights_are_heard_as_they_were_made(sounds, emergence_db):
    found = false = wanted = 0
    onsets_s, lae_db = [], []
    for seed, (an_hour, background_db, shape_db) in enumerate(
        [(5, 18.0, PINK), (15, 27.0, ROAD), (30, 27.0, PINK), (30, 40.0, ROAD), (10, 33.0, RUMBLE)]
    ):
        history, truth = night(
            sounds, seed, emergence_db=emergence_db, an_hour=an_hour,
            background_db=background_db, shape_db=shape_db,
        )  # fmt: skip
        right, wrong, onset_s, difference_db = compared(find_events(history), truth)
        found, false, wanted = found + right, false + wrong, wanted + len(truth)
        onsets_s += onset_s
        lae_db += difference_db
    assert wanted > 60
    assert 2 * found / (2 * found + false + wanted - found) >= 0.9
    assert np.median(np.abs(onsets_s)) < 0.25
    # Truth: everything heard, background and all, while the sound is at least as loud as the background.
    assert abs(np.mean(lae_db)) < 0.5
    assert abs(np.median(lae_db)) < 0.25


# --- nights in which nothing happens --------------------------------------------------------------


def drops(rng, samples, rate_hz):
    """Return rain on a roof: 500 drops a second of random strength, each ringing for some milliseconds."""
    fallen = np.zeros(samples)
    count = rng.poisson(500 * samples / rate_hz)
    strengths = rng.lognormal(0, 0.5, count) * rng.choice([-1, 1], count)
    np.add.at(fallen, rng.integers(0, samples, count), strengths)
    keep = np.exp(-1 / (0.008 * rate_hz))
    return lfilter([1.0], [1, -1.6 * keep, 0.9 * keep], fallen) + 0.05 * rng.normal(size=samples)


def fan(rng, samples, rate_hz):
    """Return a fan: broadband noise beating by 2 dB four times a second, and its blades at 92 Hz."""
    seconds = np.arange(samples) / rate_hz
    swell = 1 + 0.12 * np.sin(2 * np.pi * 4.1 * seconds)
    air = lfilter([1.0], [1, -0.95], rng.normal(size=samples))
    return swell * (air + 2 * np.sin(2 * np.pi * 92 * seconds))


def road(rng, samples, rate_hz):
    """Return a far motorway: low noise that swells by 2 or 3 dB over some seconds."""
    points = rng.normal(0, 1.0, samples // (4 * rate_hz) + 2)
    swell_db = np.interp(np.arange(samples) / (4 * rate_hz), np.arange(points.size), points)
    return lfilter([1.0], [1, -0.97], rng.normal(size=samples)) * 10 ** (swell_db / 20)


@pytest.mark.parametrize("made", [drops, fan, road])
def test_rain_a_fan_and_a_far_road_have_no_event(made, start):
    rng, rate_hz = np.random.default_rng(2), 8000
    pressure = made(rng, 1200 * rate_hz, rate_hz)
    pressure = (pressure / pressure.std() * 1e-3).astype(np.float32)
    blocks = [
        PressureBlock(pressure_pa=part, sample_rate_hz=rate_hz, start=start)
        for part in np.array_split(pressure, 20)
    ]
    assert find_events(level_history(blocks)) == ()


# --- properties -----------------------------------------------------------------------------------


def test_where_the_recording_starts_changes_no_event_beyond_the_warm_up(sounds):
    history, _ = night(sounds, 7, emergence_db=(10, 25), an_hour=20, background_db=27.0, shape_db=PINK)
    whole = find_events(history)
    for cut in (8 * 60 + 3, 8 * 700 + 1, 8 * 1500 + 7):
        # Not within an event, and none is compared whose background reaches before the cut.
        assert not any(event.first_tick - 80 < cut < event.last_tick + 80 for event in whole)
        later = find_events(history.between(cut, history.ticks))
        settled = cut + 8 * 60 * 15
        expected = [event for event in whole if event.first_tick > settled]
        got = [event for event in later if event.first_tick + cut > settled]
        assert len(expected) > 10
        for before, after in zip(expected, got, strict=True):
            # Blocks of the moving background lie elsewhere: an edge may move by a few ticks.
            assert abs(after.first_tick + cut - before.first_tick) <= 8
            assert (after.lafmax, after.count) == (before.lafmax, before.count)
            # Which of the minutes before count hangs on the block before, if a hum is about to switch.
            assert after.background_la90 == pytest.approx(before.background_la90, abs=0.75)


def test_levels_exceeded_lie_in_their_order_below_the_maximum_in_every_interval(sounds):
    history, _ = night(sounds, 8, emergence_db=(6, 30), an_hour=30, background_db=27.0, shape_db=ROAD)
    for minutes in (1, 15, 60):
        for each in intervals(history, history.start, history.end, minutes, ZoneInfo("UTC")):
            found = each.statistics
            assert (
                found.lafmin
                <= found.la99
                <= found.la90
                <= found.la50
                <= found.la10
                <= found.la1
                <= found.lafmax
            )


def test_a_gain_shifts_every_level_and_moves_no_event(sounds):
    history, _ = night(sounds, 9, emergence_db=(6, 30), an_hour=30, background_db=27.0, shape_db=PINK)
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands")
    fields = {name: getattr(history, name) for name in LevelHistory.__dataclass_fields__}
    louder = LevelHistory(**{**fields, **{name: fields[name] + np.float32(-23.0) for name in names}})
    for before, after in zip(find_events(history), find_events(louder), strict=True):
        assert (after.first_tick, after.last_tick) == (before.first_tick, before.last_tick)
        assert (after.flags, after.count) == (before.flags, before.count)
        for name in ("lafmax", "lasmax", "lae", "lcpeak", "background_la90"):
            assert getattr(after, name) - getattr(before, name) == pytest.approx(-23.0, abs=1e-3)
    for name, value in vars_of(level_statistics(history)).items():
        shifted = vars_of(level_statistics(louder))[name]
        assert shifted - value == pytest.approx(0.0 if name in ("seconds", "left_out_s") else -23.0, abs=1e-3)


def vars_of(statistics):
    return {name: getattr(statistics, name) for name in type(statistics).__dataclass_fields__}


def test_a_night_of_eight_hours_is_assessed_from_its_levels_in_under_ten_seconds(larch_court):
    before = time.process_time()
    night = assess_history(
        larch_court.history, window=NightWindow.parse("23:00-07:00", "Europe/Vienna"), criteria=(),
        event_settings=EventSettings(), absolute=True, expanded_uncertainty_db=2.0,
    )  # fmt: skip
    assert time.process_time() - before < 5.0
    assert len(night.events) == len(larch_court.truth)


@pytest.fixture(scope="module")
def start(larch_court):
    return larch_court.history.start
