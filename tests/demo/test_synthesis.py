from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from sleepnoise.demo.scenario import planned_night, seconds_at
from sleepnoise.demo.synthesis import Synthesis
from sleepnoise.errors import SettingsError

RATE_HZ = 8000
NIGHT = Synthesis(planned_night(3, hours=0.5), RATE_HZ)


def test_cutting_the_night_elsewhere_changes_no_sample():
    whole_pa = np.concatenate([block.pressure_pa for block in NIGHT.blocks()])
    assert whole_pa.size == 1800 * RATE_HZ
    for samples in (7777, 5_000_000):
        again_pa = np.concatenate([block.pressure_pa for block in NIGHT.blocks(samples)])
        assert np.array_equal(whole_pa, again_pa)


def test_blocks_follow_one_another_in_time():
    blocks = list(Synthesis(planned_night(3, hours=0.05, first_s=60.0), RATE_HZ).blocks())
    assert blocks[0].start == planned_night(3).start + timedelta(seconds=60)
    for block, following in pairwise(blocks):
        assert following.start - block.start == timedelta(seconds=block.seconds)


def test_a_part_of_the_night_is_the_same_sound_as_the_whole():
    part = Synthesis(planned_night(3, hours=0.25, first_s=600.0), RATE_HZ)
    assert part.scenario.sounds
    for sound in part.scenario.sounds:
        first = part.sample(sound.start_s) - 800
        last = first + 40_000
        assert np.array_equal(part.pressure_pa(first, last), NIGHT.pressure_pa(first, last))


def test_the_night_is_background_and_sounds_and_nothing_else():
    sound = NIGHT.scenario.sounds[0]
    first = NIGHT.sample(sound.start_s)
    event_pa = NIGHT.alone_pa(sound)
    last = first + event_pa.size
    both_pa = NIGHT.background_pa(first, last) + event_pa
    assert np.array_equal(NIGHT.pressure_pa(first, last), both_pa)
    assert np.array_equal(NIGHT.pressure_pa(last, last + 99), NIGHT.background_pa(last, last + 99))


@pytest.mark.parametrize("rate_hz", [8000, 24_000, 48_000])
def test_between_sounds_the_bedroom_has_27_db(rate_hz, second_way):
    night = Synthesis(planned_night(5), rate_hz)
    rest_s = night.scenario.hum[3].end_s + 10
    quiet_pa = night.background_pa(night.sample(rest_s), night.sample(rest_s + 60))
    assert second_way.laeq(quiet_pa, rate_hz) == pytest.approx(27.0, abs=0.3)


def test_the_condenser_adds_its_own_level(second_way):
    cycle = NIGHT.scenario.hum[0]
    first, last = NIGHT.sample(cycle.start_s + 10), NIGHT.sample(cycle.end_s - 10)
    without = NIGHT.background_pa(first, last) - NIGHT._hum_pa(cycle, first, last)
    both = NIGHT.background_pa(first, last)
    assert second_way.laeq(both - without, RATE_HZ) == pytest.approx(cycle.laeq, abs=0.1)
    # Energies add: 10 lg(10^2.7 + 10^(L/10)).
    expected = 10 * np.log10(10**2.7 + 10 ** (cycle.laeq / 10))
    assert second_way.laeq(both, RATE_HZ) == pytest.approx(expected, abs=0.1)
    assert 1.0 < expected - 27.0 < 4.0


def test_the_condenser_hums_at_twice_the_mains():
    cycle = NIGHT.scenario.hum[0]
    first = NIGHT.sample(cycle.start_s + 10)
    power = np.abs(np.fft.rfft(NIGHT._hum_pa(cycle, first, first + 10 * RATE_HZ))) ** 2
    assert np.argmax(power) / 10 == 100.0


def test_the_background_expected_is_the_background_made(second_way):
    background_pa = NIGHT.background_pa(NIGHT.first, NIGHT.last)
    assert NIGHT.background_laeq() == pytest.approx(second_way.laeq(background_pa, RATE_HZ), abs=0.05)


def test_the_background_of_a_part_without_hum_is_the_quiet_one():
    cycle = planned_night(3).hum[0]
    rest = Synthesis(planned_night(3, hours=0.05, first_s=cycle.end_s + 1), RATE_HZ)
    assert rest.background_laeq() == 27.0


def test_whatever_is_heard_fits_far_below_full_scale():
    night = Synthesis(planned_night(3), 16_000)
    loudest_pa = max(np.max(np.abs(night.alone_pa(sound))) for sound in night.scenario.sounds)
    assert loudest_pa < 2.83 / 3


@pytest.mark.parametrize("rate_hz", [0, 7999, 192_001])
def test_a_rate_that_no_recorder_has_is_refused(rate_hz):
    with pytest.raises(SettingsError, match="sample_rate_hz: must lie between 8000 and 192000 Hz"):
        Synthesis(planned_night(1), rate_hz)


def test_the_shipped_part_holds_the_van():
    part = planned_night(3, hours=0.125, first_s=seconds_at("04:05"))
    assert [sound.kind for sound in part.sounds].count("van and crates") == 1
