import numpy as np
import pytest

from sleepnoise.demo.measures import whole_lafmax
from sleepnoise.demo.scenario import ScheduledSound
from sleepnoise.demo.sounds import waveform_pa

RATE_HZ = 16_000
SECONDS = {
    "tram": 20.0,
    "van and crates": 65.0,
    "stairwell door": 2.5,
    "footsteps above": 10.0,
    "television next door": 20.0,
}


def sound(kind, number=0):
    return ScheduledSound(number=number, kind=kind, start_s=0.0, seconds=SECONDS[kind], lafmax=45.0)


@pytest.mark.parametrize("kind", ["tram", "stairwell door", "footsteps above"])
def test_a_sound_reaches_the_level_it_was_asked_for(kind, second_way):
    pressure_pa = waveform_pa(sound(kind), 1, RATE_HZ)
    weighted_pa, fast_hz = second_way.a_weighted(pressure_pa, RATE_HZ)
    assert second_way.highest(weighted_pa, fast_hz, 0.125) == pytest.approx(45.0, abs=0.05)


@pytest.mark.parametrize("kind", SECONDS)
@pytest.mark.parametrize("rate_hz", [8000, 22_050])
def test_a_sound_can_be_made_at_any_rate_and_begins_and_ends_in_silence(kind, rate_hz):
    pressure_pa = waveform_pa(sound(kind), 1, rate_hz)
    assert pressure_pa.size == round(SECONDS[kind] * rate_hz)
    assert np.all(np.isfinite(pressure_pa))
    assert np.max(np.abs(pressure_pa[[0, -1]])) < 1e-6
    assert whole_lafmax(pressure_pa, rate_hz) == pytest.approx(45.0, abs=1e-3)


@pytest.mark.parametrize("kind", SECONDS)
def test_no_two_sounds_of_a_kind_are_the_same(kind):
    first, same, other = (waveform_pa(sound(kind, number), 1, 8000) for number in (0, 0, 1))
    assert np.array_equal(first, same)
    assert not np.array_equal(first, other)


def test_footsteps_fall_every_half_second():
    pressure_pa = waveform_pa(sound("footsteps above"), 1, RATE_HZ)
    envelope = np.sqrt(np.mean(pressure_pa.reshape(-1, 160) ** 2, axis=1))  # 10 ms
    likeness = np.correlate(envelope - envelope.mean(), envelope - envelope.mean(), "full")[envelope.size :]
    assert 0.45 <= (np.argmax(likeness[30:80]) + 31) * 0.01 <= 0.55


def test_a_slam_is_low_and_short():
    pressure_pa = waveform_pa(sound("stairwell door"), 1, RATE_HZ)
    power = np.abs(np.fft.rfft(pressure_pa)) ** 2
    below_250_hz = np.sum(power[: int(250 * 2.5)]) / np.sum(power)
    assert below_250_hz > 0.8
    squares = np.cumsum(pressure_pa**2) / np.sum(pressure_pa**2)
    middle_s = (np.searchsorted(squares, 0.9) - np.searchsorted(squares, 0.05)) / RATE_HZ
    assert middle_s < 0.2
