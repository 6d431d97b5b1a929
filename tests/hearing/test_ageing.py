"""Thresholds of older listeners against the standard, and what must always hold."""

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.errors import SettingsError
from sleepnoise.hearing.ageing import AUDIOMETRIC_HZ, Listener

ONE_DEVIATION = NormalDist().cdf(1.0)


@pytest.mark.parametrize("sex", ["female", "male"])
@pytest.mark.parametrize("age", ["40", "60", "70"])
def test_median_shifts_agree_with_iso_7029(sex, age, published):
    table = published("iso_7029_2017")
    assert tuple(table["source"]["frequency_hz"]) == AUDIOMETRIC_HZ
    shift_db = Listener(age_years=float(age), sex=sex).shift_db(AUDIOMETRIC_HZ)
    # 0.001 dB more, because a printed step may round a half either way.
    assert shift_db == pytest.approx(table[sex][age], abs=table["source"]["printed_step_db"] / 2 + 0.001)


def test_spread_agrees_with_iso_7029(published):
    printed = published("iso_7029_2017")["male_60"]
    middle = Listener(age_years=60, sex="male")
    worse = Listener(age_years=60, sex="male", share_hearing_better=ONE_DEVIATION)
    assert middle.shift_db(4000) == pytest.approx(printed["median_4_khz_db"], abs=0.00005)
    assert worse.shift_db(1000) - middle.shift_db(1000) == pytest.approx(
        printed["worse_1_khz_db"], abs=0.00005
    )


def test_a_median_young_adult_has_no_shift():
    assert (Listener().shift_db(AUDIOMETRIC_HZ) == 0).all()


@given(st.floats(18, 80), st.floats(18, 80), st.sampled_from(["female", "male"]), st.floats(20, 12500))
def test_the_median_threshold_only_rises_with_age(one, other, sex, frequency_hz):
    younger, older = sorted((one, other))
    shift_db = Listener(age_years=older, sex=sex).shift_db(frequency_hz)
    assert shift_db >= Listener(age_years=younger, sex=sex).shift_db(frequency_hz)


@given(st.floats(18, 70), st.sampled_from(["female", "male"]), st.floats(0.02, 0.48))
def test_who_hears_worse_has_the_higher_threshold(age_years, sex, share):
    shifts_db = [
        Listener(age_years=age_years, sex=sex, share_hearing_better=each).shift_db(AUDIOMETRIC_HZ)
        for each in (share, 0.5, 1 - share)
    ]
    assert (np.diff(shifts_db, axis=0) > 0).all()


def test_between_the_tables_it_is_interpolated_and_beyond_them_held():
    shift_db = Listener(age_years=70, sex="male").shift_db
    assert shift_db(3000) < shift_db(3500) < shift_db(4000)
    assert shift_db(20) == shift_db(125)
    assert shift_db(12500) == shift_db(8000)


@pytest.mark.parametrize("age_years", [17.9, 80.1, float("nan")])
def test_ages_outside_the_tables_are_refused(age_years):
    with pytest.raises(SettingsError, match="between 18 and 80 years") as refused:
        Listener(age_years=age_years)
    assert refused.value.remedy


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, float("nan")])
def test_a_share_has_to_leave_people_on_both_sides(share):
    with pytest.raises(SettingsError, match="between 0 and 1"):
        Listener(share_hearing_better=share)
