"""Backgrounds against low-frequency curves, at, just below and just above them."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import Source
from sleepnoise.character.low_frequency import (
    LowFrequencyContent,
    LowFrequencyCurve,
    c_minus_a_db,
    compared,
    low_frequency_curves,
)
from sleepnoise.profiles.files import read_guideline, shipped_folder

SOMEWHERE = Source(document="A curve", place="invented for this test", how_known="assumption")


def curve(levels_by_hz):
    return LowFrequencyCurve(name="A curve", levels_by_hz=levels_by_hz, source=SOMEWHERE)


def background(**changes):
    levels = np.full(len(NOMINAL_HZ), 30.0)
    for name, value in changes.items():
        levels[NOMINAL_HZ.index(float(name.removeprefix("hz")))] = value
    return levels


@pytest.mark.parametrize(("level_db", "exceeded"), [(39.99, False), (40.0, False), (40.01, True)])
def test_a_curve_is_exceeded_just_above_it(level_db, exceeded):
    found = compared(NOMINAL_HZ, background(hz50=level_db), curve({40.0: 50.0, 50.0: 40.0}))
    assert found.exceeded is exceeded
    assert found.worst_hz == 50.0
    assert found.excess_db == pytest.approx(level_db - 40)
    assert list(found.excess_by_hz) == ([50.0] if exceeded else [])


def test_each_band_above_is_told_with_its_excess():
    found = compared(
        NOMINAL_HZ, background(hz63=45.5, hz100=37.0), curve({63.0: 42.0, 80.0: 40.0, 100.0: 36.0})
    )
    assert found.excess_by_hz == {63.0: 3.5, 100.0: 1.0}
    assert (found.worst_hz, found.excess_db) == (63.0, 3.5)


def test_a_curve_of_which_a_band_was_not_measured_cannot_be_kept():
    below = curve({12.5: 87.0, 20.0: 74.0})
    quiet = compared(NOMINAL_HZ, background(), below)
    assert (quiet.exceeded, quiet.not_measured_hz) == (None, (12.5,))
    assert compared(NOMINAL_HZ, background(hz20=80.0), below).exceeded is True
    nothing = compared(NOMINAL_HZ, background(), curve({10.0: 92.0}))
    assert nothing.exceeded is None
    assert np.isnan([nothing.worst_hz, nothing.excess_db]).all()


def test_silence_keeps_a_curve_and_the_unknown_does_not():
    limits = curve({50.0: 40.0})
    assert compared(NOMINAL_HZ, background(hz50=-np.inf), limits).exceeded is False
    assert compared(NOMINAL_HZ, background(hz50=np.nan), limits).exceeded is None


def test_the_swedish_curve_is_read_from_its_profile():
    # FoHMFS 2014:13, Table 2 (looked-up): 31.5 to 200 Hz.
    (found,) = low_frequency_curves([read_guideline("fohmfs-2014-13")])
    assert list(found.levels_by_hz.values()) == [56, 49, 43, 41.5, 40, 38, 36, 34, 32]
    assert found.source.verified
    assert low_frequency_curves([read_guideline("who-1999-bedroom")]) == ()


@pytest.mark.parametrize(("difference_db", "prominent"), [(20.0, False), (20.1, True), (np.nan, None)])
def test_the_preliminary_test_begins_above_20_db(difference_db, prominent):
    assert LowFrequencyContent(c_minus_a_db=difference_db, curves=()).prominent is prominent


def test_c_minus_a_of_silence_is_not_known():
    assert c_minus_a_db(45.0, 24.5) == 20.5
    assert np.isnan(c_minus_a_db(-np.inf, -np.inf))
    assert np.isnan(c_minus_a_db(45.0, np.nan))


def test_every_shipped_curve_is_found():
    shipped = sorted((shipped_folder() / "guidelines").glob("*.toml"))
    curves = low_frequency_curves(read_guideline(path.stem) for path in shipped)
    # Germany, Finland, Sweden, the United Kingdom, the Netherlands: 50 Hz.
    assert sorted(curve.levels_by_hz[50.0] for curve in curves) == [39.0, 40.5, 43.0, 43.0, 44.0]
