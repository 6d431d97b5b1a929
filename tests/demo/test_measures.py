import tomllib
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.demo.measures import (
    F_S,
    S_S,
    a_weighted_pa,
    detected_pa2,
    exposure_pa2_s,
    whole_laeq,
    whole_lafmax,
)

RATE_HZ = 48_000
TABLE_4 = tomllib.loads(
    (Path(__file__).parents[1] / "published" / "demo_toneburst.toml").read_text(encoding="utf-8")
)
HALF_A_DIGIT_DB = TABLE_4["source"]["printed_step_db"] / 2
STEADY_DB = 10 * np.log10(0.5 / 4e-10)


def toneburst_pa(duration_ms):
    second = np.arange(round(float(duration_ms) * RATE_HZ / 1000)) / RATE_HZ
    return np.pad(np.sin(2 * np.pi * 4000 * second), RATE_HZ // 2)


@pytest.mark.parametrize(("duration_ms", "printed_db"), TABLE_4["lafmax_db"].items())
def test_the_f_detector_agrees_with_iec_61672_1_table_4(duration_ms, printed_db):
    highest_pa2 = np.max(detected_pa2(toneburst_pa(duration_ms), RATE_HZ, F_S))
    assert 10 * np.log10(highest_pa2 / 0.5) == pytest.approx(printed_db, abs=HALF_A_DIGIT_DB)


@pytest.mark.parametrize(("duration_ms", "printed_db"), TABLE_4["lasmax_db"].items())
def test_the_s_detector_agrees_with_iec_61672_1_table_4(duration_ms, printed_db):
    highest_pa2 = np.max(detected_pa2(toneburst_pa(duration_ms), RATE_HZ, S_S))
    assert 10 * np.log10(highest_pa2 / 0.5) == pytest.approx(printed_db, abs=HALF_A_DIGIT_DB)


@pytest.mark.parametrize(("duration_ms", "printed_db"), TABLE_4["lae_db"].items())
def test_exposure_agrees_with_iec_61672_1_table_4(duration_ms, printed_db):
    exposure = exposure_pa2_s(toneburst_pa(duration_ms), RATE_HZ)
    assert 10 * np.log10(exposure / 0.5) == pytest.approx(printed_db, abs=HALF_A_DIGIT_DB)


@pytest.mark.parametrize("frequency_hz", [31.5, 100.0, 1000.0, 8000.0, 12_500.0])
def test_a_weighting_agrees_with_the_formula(frequency_hz, second_way):
    second = np.arange(4 * RATE_HZ) / RATE_HZ
    weighted_pa = a_weighted_pa(np.sin(2 * np.pi * frequency_hz * second), RATE_HZ)
    ratio = np.mean(weighted_pa[RATE_HZ : 3 * RATE_HZ] ** 2) / 0.5
    # The test's poles are rounded to four figures, which moves the formula by up to 0.005 dB.
    assert 10 * np.log10(ratio / second_way.a_weight(frequency_hz)) == pytest.approx(0.0, abs=0.01)


def test_nothing_comes_round_from_the_end_to_the_beginning():
    late = np.zeros(RATE_HZ)
    late[-1] = 1.0
    # What is left, -110 dB, is the band limit itself: it rings on both sides of a click.
    assert np.max(np.abs(a_weighted_pa(late, RATE_HZ)[: RATE_HZ // 2])) < 1e-5


def test_a_steady_tone_has_one_level():
    tone_pa = np.sin(2 * np.pi * 1000 * np.arange(4 * RATE_HZ) / RATE_HZ)
    # After 4 s the F detector has settled to e^-32; the 2 kHz ripple on it stays under 0.01 dB.
    assert whole_laeq(tone_pa, RATE_HZ) == pytest.approx(STEADY_DB, abs=0.01)
    assert whole_lafmax(tone_pa, RATE_HZ) == pytest.approx(STEADY_DB, abs=0.01)
