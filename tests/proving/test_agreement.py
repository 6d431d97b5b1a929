"""What was computed beside what was measured: the difference, and when both agree."""

import numpy as np
import pytest

from sleepnoise.proving.agreement import MeasuredAnew


@pytest.mark.parametrize(("measured", "agrees"), [(40.5, True), (39.5, True), (40.6, False), (39.4, False)])
def test_levels_agree_within_half_a_decibel(measured, agrees):
    found = MeasuredAnew(name="LAeq", before=50.0, computed=40.0, measured=measured)
    assert found.difference_db == pytest.approx(measured - 40.0)
    assert found.agrees == agrees


def test_two_silences_agree_and_silence_with_sound_does_not():
    assert MeasuredAnew(name="x", before=0.0, computed=-np.inf, measured=-np.inf).agrees
    assert not MeasuredAnew(name="x", before=0.0, computed=-np.inf, measured=10.0).agrees
