"""One offset for all bands of a masker. Differences are invented; what they must give is arithmetic."""

import numpy as np
import pytest

from sleepnoise.masking.offset import common_offset

NAN = float("nan")


def offset(difference_db, uncertainty_db):
    return common_offset(np.array(difference_db), np.array(uncertainty_db), tolerance_db=2.0, least_db=1.0)


def test_bands_weigh_as_well_as_they_are_known():
    found = offset([-9.0, -10.0], [1.0, 2.0])
    # (9 x 1 + 10 x 1/4) / (1 + 1/4)
    assert found.offset_db == pytest.approx(-9.2)
    assert found.shape_within_db == pytest.approx(0.8)
    assert (found.uncertainty_db, found.bands) == (1.0, 2)


def test_what_is_left_may_be_as_large_as_the_tolerance_or_the_bands_own_uncertainty():
    assert offset([-9.0, -9.0, -14.0], [0.5, 0.5, 6.0]) is not None
    assert offset([-9.0, -9.0, -14.0], [0.5, 0.5, 3.0]) is None


def test_an_offset_that_may_be_none_is_not_told():
    assert offset([-3.0, -3.0], [1.9, 1.9]) is not None
    assert offset([-3.0, -3.0], [2.1, 2.1]) is None


def test_an_upper_limit_contradicts_only_from_below():
    assert offset([-9.0, -9.0, -2.0], [0.5, 0.5, NAN]).bands == 2
    assert offset([-9.0, -9.0, -12.0], [0.5, 0.5, NAN]) is None


def test_a_shape_that_is_mostly_hidden_is_not_called_right():
    assert offset([-9.0, -5.0, -5.0], [0.5, NAN, NAN]) is None
    assert offset([-5.0, -5.0], [NAN, NAN]) is None
