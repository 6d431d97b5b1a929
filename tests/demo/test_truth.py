from dataclasses import astuple
from itertools import pairwise

import numpy as np
import pytest

from sleepnoise.demo.scenario import planned_night
from sleepnoise.demo.synthesis import Synthesis
from sleepnoise.demo.truth import night_truth

RATE_HZ = 16_000
NIGHT = Synthesis(planned_night(3, hours=0.55), RATE_HZ)
TRUTH = night_truth(NIGHT)
PAIRS = list(zip(NIGHT.scenario.sounds, TRUTH.events, strict=True))
FEW = [
    next(pair for pair in PAIRS if pair[0].kind == kind)
    for kind in ("tram", "stairwell door", "television next door")
]


def test_there_is_one_true_event_for_each_sound():
    assert [event.kind for event in TRUTH.events] == [sound.kind for sound in NIGHT.scenario.sounds]
    assert [event.number for event in TRUTH.events] == list(range(1, len(TRUTH.events) + 1))
    for event in TRUTH.events:
        assert (event.start - TRUTH.start).total_seconds() == pytest.approx(event.start_s, abs=1e-6)


def test_events_lie_within_their_waveforms_and_apart():
    for sound, event in PAIRS:
        assert sound.start_s <= event.start_s
        # The F detector falls by 34.7 dB/s, so it may outlast the waveform for a moment.
        assert event.start_s + event.duration_s <= sound.end_s + 0.5
    for event, following in pairwise(TRUTH.events):
        assert following.start_s - event.start_s - event.duration_s > 20.0


def test_trams_are_heard_for_12_to_20_seconds():
    heard_s = [event.duration_s for event in TRUTH.events if event.kind == "tram"]
    assert len(heard_s) >= 3
    assert all(11.0 <= seconds <= 21.0 for seconds in heard_s)


@pytest.mark.parametrize(("sound", "event"), FEW, ids=lambda value: getattr(value, "kind", None))
def test_levels_alone_agree_with_brute_force(sound, event, second_way):
    padded_pa = np.pad(NIGHT.alone_pa(sound), RATE_HZ)
    weighted_pa, fast_hz = second_way.a_weighted(padded_pa, RATE_HZ)
    assert event.alone.lafmax == pytest.approx(sound.lafmax, abs=1e-3)
    assert event.alone.lafmax == pytest.approx(second_way.highest(weighted_pa, fast_hz, 0.125), abs=0.05)
    assert event.alone.lasmax == pytest.approx(second_way.highest(weighted_pa, fast_hz, 1.0), abs=0.05)
    lae = 10 * np.log10(np.sum(weighted_pa**2) / fast_hz / 4e-10)
    assert event.alone.lae == pytest.approx(lae, abs=0.05)


@pytest.mark.parametrize(("sound", "event"), FEW, ids=lambda value: getattr(value, "kind", None))
def test_levels_of_the_mix_agree_with_brute_force(sound, event, second_way):
    first = NIGHT.sample(sound.start_s - 5)
    mix_pa = NIGHT.pressure_pa(first, NIGHT.sample(sound.end_s + 5))
    weighted_pa, fast_hz = second_way.a_weighted(mix_pa, RATE_HZ)
    begin = round((event.start_s + NIGHT.scenario.first_s) * fast_hz) - 8 * first
    inside_pa = weighted_pa[begin : begin + round(event.duration_s * fast_hz)]
    assert event.mix.laeq == pytest.approx(10 * np.log10(np.mean(inside_pa**2) / 4e-10), abs=0.05)
    assert event.mix.lae == pytest.approx(event.mix.laeq + 10 * np.log10(event.duration_s), abs=1e-6)
    assert event.mix.lafmax == pytest.approx(second_way.highest(weighted_pa, fast_hz, 0.125), abs=0.05)


def test_a_mix_is_louder_than_its_event_by_the_energy_of_the_background():
    for event in TRUTH.events:
        both = 10 * np.log10(10 ** (event.alone.laeq / 10) + 10 ** (event.background_laeq / 10))
        # Sound and background are independent; over a second their product still leaves some tenths.
        assert event.mix.laeq == pytest.approx(both, abs=0.5 / np.sqrt(event.duration_s))


def test_an_event_begins_where_it_is_as_loud_as_the_background(second_way):
    sound, event = FEW[0]
    weighted_pa, fast_hz = second_way.a_weighted(np.pad(NIGHT.alone_pa(sound), RATE_HZ), RATE_HZ)
    begin = round((event.start_s - sound.start_s + 1.0) * fast_hz)
    level = second_way.highest(weighted_pa[:begin], fast_hz, 0.125)
    assert level == pytest.approx(event.background_laeq, abs=0.1)


def test_the_whole_night_has_the_level_expected(second_way):
    night = Synthesis(planned_night(3, hours=0.4), 8000)
    truth = night_truth(night)
    measured = second_way.laeq(night.pressure_pa(night.first, night.last), night.sample_rate_hz)
    assert truth.laeq == pytest.approx(measured, abs=0.05)
    assert truth.quiet_laeq < truth.background_laeq < truth.laeq


def test_every_level_is_known():
    for event in TRUTH.events:
        assert np.all(np.isfinite([*astuple(event.alone), *astuple(event.mix), event.background_laeq]))


def test_a_night_without_sounds_has_an_empty_truth():
    truth = night_truth(Synthesis(planned_night(3, hours=0.05), 8000))
    assert truth.events == ()
    assert truth.laeq == truth.background_laeq == 27.0
