import numpy as np
import pytest

from sleepnoise.demo.door_test import DOOR_STATES, calibration_tone_pa, door_state_pa

RATE_HZ = 24_000


def octave_levels_db(pressure_pa):
    power = np.abs(np.fft.rfft(pressure_pa)) ** 2 * 2 / pressure_pa.size**2
    hz = np.fft.rfftfreq(pressure_pa.size, 1 / RATE_HZ)
    middles_hz = (125, 250, 500, 1000, 2000, 4000)
    sums = [np.sum(power[(hz > f / 2**0.5) & (hz < f * 2**0.5)]) for f in middles_hz]
    return 10 * np.log10(np.array(sums) / 4e-10)


def test_the_calibration_tone_is_94_db_at_1_khz():
    tone_pa = calibration_tone_pa(RATE_HZ)
    # 94 dB re 20 µPa is 1.002 Pa (ISO 1683 reference; arithmetic).
    assert np.sqrt(np.mean(tone_pa**2)) == pytest.approx(20e-6 * 10 ** (94 / 20), rel=1e-6)
    assert np.argmax(np.abs(np.fft.rfft(tone_pa))) / 10 == 1000.0
    assert tone_pa.size == 10 * RATE_HZ


def test_the_states_have_the_levels_that_the_note_tells(second_way):
    told = [71.0, 60.0, 53.0, 49.0, 30.0]
    assert [state.laeq for state in DOOR_STATES] == told
    measured = [second_way.laeq(door_state_pa(state, 3, RATE_HZ), RATE_HZ) for state in DOOR_STATES]
    # Welch's method counts the ends of 8 s less than the middle.
    assert measured == pytest.approx(told, abs=0.1)


def test_each_step_keeps_out_more_treble_than_bass():
    open_db, *others_db = (octave_levels_db(door_state_pa(state, 3, RATE_HZ)) for state in DOOR_STATES[:4])
    assert np.ptp(open_db) < 1.0  # pink: equal octaves
    for before_db, after_db in zip((open_db, *others_db), others_db, strict=False):
        step_db = before_db - after_db
        # A curtain does nothing at 125 Hz; there, 8 s of noise scatter by 4.34 / sqrt(88 * 8) = 0.16 dB.
        assert np.all(step_db > -0.5)
        assert step_db[-1] > step_db[0] + 2.0
