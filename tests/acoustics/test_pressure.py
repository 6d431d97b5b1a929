"""The gate between recordings and measures refuses what no later step could make sense of."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sleepnoise.acoustics.pressure import PressureBlock

START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)


def block(samples, rate_hz=48_000.0, start=START):
    return PressureBlock(pressure_pa=samples, sample_rate_hz=rate_hz, start=start)


def test_samples_that_someone_may_still_write_to_are_copied():
    given = np.ones(10, dtype=np.float32)
    taken = block(given)
    given[0] = 5.0
    assert taken.pressure_pa[0] == 1.0
    assert not taken.pressure_pa.flags.writeable
    assert given.flags.writeable


def test_locked_samples_are_taken_as_they_are():
    given = np.ones(10, dtype=np.float32)
    given.flags.writeable = False
    assert block(given).pressure_pa is given


def test_other_number_types_become_float32():
    assert block(np.arange(4)).pressure_pa.dtype == np.float32
    assert block([0.5, 0.25]).pressure_pa.dtype == np.float32


def test_the_length_follows_from_the_sampling_rate():
    assert block(np.zeros(12_000)).seconds == 0.25
    assert block(np.zeros(0)).seconds == 0.0


def test_two_channels_at_once_are_refused():
    with pytest.raises(ValueError, match=r"must have shape \(samples,\), got \(10, 2\)"):
        block(np.zeros((10, 2)))


@pytest.mark.parametrize("rate_hz", [0.0, -48_000.0])
def test_a_sampling_rate_must_be_positive(rate_hz):
    with pytest.raises(ValueError, match="must be positive"):
        block(np.zeros(10), rate_hz)


@pytest.mark.parametrize(
    "start", [datetime(2026, 1, 14, 22, 0), datetime(2026, 1, 14, 22, 0, tzinfo=ZoneInfo("Europe/Vienna"))]
)
def test_a_start_that_is_not_in_utc_is_refused(start):
    with pytest.raises(ValueError, match="must be given in UTC"):
        block(np.zeros(10), start=start)


def test_a_named_zone_that_is_utc_is_welcome():
    assert block(np.zeros(10), start=datetime(2026, 1, 14, tzinfo=ZoneInfo("UTC"))).seconds > 0
