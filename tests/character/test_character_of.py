"""Background and stretch as a whole."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import Source
from sleepnoise.character.background import character_of_background
from sleepnoise.character.low_frequency import LowFrequencyCurve
from sleepnoise.character.stretch import character_of_stretch

MINUTE = 480
CURVE = LowFrequencyCurve(
    name="Invented",
    levels_by_hz={50.0: 35.0},
    source=Source(document="Invented", place="for this test", how_known="assumption"),
)


def test_events_are_not_background_but_are_looked_at_for_cycling(as_history):
    bands = np.tile(np.linspace(40, 10, len(NOMINAL_HZ))[:, None], (1, 60 * MINUTE))
    # A hum at 1 kHz that runs for three of every ten minutes: each run may count as an event.
    runs = (np.arange(60 * MINUTE) // MINUTE) % 10 < 3
    bands[NOMINAL_HZ.index(1000), runs] = 45.0
    history = as_history(bands)
    found = character_of_background(history, in_events=runs, curves=[CURVE])
    assert found.seconds == 42 * 60
    assert (found.tones.minutes, found.tones.tones) == (42, ())
    assert found.cycle.verdict == "cycles"
    assert found.cycle.period_s == pytest.approx(600)
    (against,) = found.low_frequency.curves
    assert against.excess_db == pytest.approx(bands[NOMINAL_HZ.index(50), 0] - 35, abs=0.01)
    assert found.room.nr.governing_hz > 0
    everything = character_of_background(history)
    assert [tone.nominal_hz for tone in everything.tones.tones] == [1000]
    assert everything.room.nr.index > found.room.nr.index


def test_relative_levels_are_compared_with_nothing(as_history):
    history = as_history(np.full(len(NOMINAL_HZ), -60.0), 10 * MINUTE)
    found = character_of_background(history, curves=[CURVE], absolute=False)
    assert (found.room, found.low_frequency.curves) == (None, ())
    assert np.isfinite(found.low_frequency.c_minus_a_db)


def test_a_night_of_nothing_survives(as_history):
    for level_db in (-np.inf, np.nan):
        found = character_of_background(as_history(np.full(len(NOMINAL_HZ), level_db), 10 * MINUTE))
        assert found.cycle.verdict == "cannot tell"
        assert np.isnan(found.low_frequency.c_minus_a_db)
        assert found.low_frequency.prominent is None
    left_out = np.ones(MINUTE, dtype=bool)
    found = character_of_background(as_history(np.full(len(NOMINAL_HZ), 30.0), MINUTE, left_out=left_out))
    assert found.seconds == 0
    assert np.isnan(found.room.nr.index)


def test_a_stretch_is_told_with_its_place_and_both_methods(as_pressure, start):
    rate_hz = 16_000
    sound = np.random.default_rng(1).standard_normal(6 * rate_hz) * 0.001
    sound[3 * rate_hz :] += 0.02 * np.sin(2 * np.pi * 440 * np.arange(3 * rate_hz) / rate_hz)
    found = character_of_stretch([as_pressure(sound)])
    assert (found.start, found.seconds) == (start, 6.0)
    assert found.tonality.frequency_hz == pytest.approx(440, abs=2.7)
    assert found.impulses.category == "highly impulsive"


def test_a_stretch_is_the_same_at_once_and_in_pieces(as_pressure):
    rate_hz = 16_000
    sound = np.random.default_rng(2).standard_normal(14 * rate_hz) * 0.001
    sound[100_000:] += 0.01 * np.sin(2 * np.pi * 440 * np.arange(100_000, 14 * rate_hz) / rate_hz)
    cut = 6 * rate_hz
    pieces = [as_pressure(sound[:cut]), as_pressure(sound[cut : 2 * cut]), as_pressure(sound[2 * cut :])]
    assert character_of_stretch(pieces) == character_of_stretch([as_pressure(sound)])
