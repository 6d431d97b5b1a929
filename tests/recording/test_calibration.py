import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import FULL_SCALE_LEVELS_DB, Calibration, calibration_from_sensitivity


@given(st.floats(*FULL_SCALE_LEVELS_DB))
def test_a_full_scale_sine_reads_the_stated_level(stated_db):
    calibration = calibration_from_sensitivity(stated_db)
    sine = np.sin(2 * np.pi * np.arange(48) / 48) * calibration.pascal_per_full_scale
    assert pressure_level(np.mean(sine**2)) == pytest.approx(stated_db, abs=1e-9)
    assert calibration.absolute


def test_a_microphone_of_50_mv_per_pascal_on_a_1_v_input_overloads_at_117_db():
    # Handbook arithmetic: a peak of 1 V is a peak of 20 Pa, 14.14 Pa effective, 116.99 dB.
    assert calibration_from_sensitivity(116.99).pascal_per_full_scale == pytest.approx(20.0, abs=0.002)


@pytest.mark.parametrize("stated_db", [0.0, 69.9, 170.1, -94.0, math.nan, math.inf])
def test_an_impossible_full_scale_level_is_refused(stated_db):
    with pytest.raises(CalibrationError, match="must be 70 to 170 dB, got") as caught:
        calibration_from_sensitivity(stated_db)
    assert caught.value.remedy


def test_a_relative_calibration_reads_0_db_at_a_full_scale_mean_square():
    calibration = Calibration.relative()
    assert pressure_level(calibration.pascal_per_full_scale**2) == pytest.approx(0.0, abs=1e-9)
    assert not calibration.absolute
    assert math.isnan(calibration.expanded_uncertainty_db)
