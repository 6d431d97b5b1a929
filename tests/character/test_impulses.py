"""Impulses against published values, and against levels whose rise is known."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.character.impulses import (
    Onset,
    impulse_adjustment_db,
    impulse_category,
    impulsiveness,
    most_prominent,
    onsets,
    prominence,
)

RATE_HZ = 16_000


def ramp(*parts):
    """Return readings of LAF every 10 ms: pairs of readings and dB/s, from 40 dB on."""
    steps = np.concatenate([np.full(count, slope / 100) for count, slope in parts])
    return 40.0 + np.concatenate([[0.0], np.cumsum(steps)])


def test_published_prominences_and_adjustments_are_met(published):
    tables = published("impulses")
    for row in tables["example"]:
        rise = row["onset_rate_db_s"], row["difference_db"]
        half_a_step = tables["source"]["printed_step"] / 2
        assert prominence(*rise) == pytest.approx(row["prominence"], abs=half_a_step)
        assert impulse_adjustment_db(*rise) == pytest.approx(row["adjustment_db"], abs=half_a_step)


def test_a_straight_rise_is_read_off_with_its_rate_and_height(start):
    # 100 dB/s for 0.3 s: the published row with LD 30 dB, KI 7.1176 dB.
    (onset,) = onsets(ramp((50, 0), (30, 100), (50, -30)), start)
    assert onset.onset_rate_db_s == pytest.approx(100)
    assert onset.difference_db == pytest.approx(30)
    assert onset.adjustment_db == pytest.approx(7.1176, abs=0.0001)
    assert onset.start == start + timedelta(seconds=0.5)


def test_rises_less_than_50_ms_apart_are_one(start):
    (one,) = onsets(ramp((10, 0), (10, 100), (4, 0), (10, 100), (10, 0)), start)
    assert one.difference_db == pytest.approx(20)
    two = onsets(ramp((10, 0), (10, 100), (5, 0), (10, 100), (10, 0)), start)
    assert [onset.difference_db for onset in two] == pytest.approx([10, 10])


@pytest.mark.parametrize(("slope", "count"), [(9.9, 0), (10.1, 1)])
def test_only_what_rises_by_more_than_10_db_a_second_is_an_onset(start, slope, count):
    assert len(onsets(ramp((10, 0), (100, slope), (10, 0)), start)) == count


def test_a_rise_out_of_digital_silence_is_not_known(start):
    assert onsets(np.array([-np.inf, -np.inf, 50.0, 50.0]), start) == ()


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=60))
def test_onsets_do_not_depend_on_the_level(steps):
    start = datetime(2026, 1, 1, tzinfo=UTC)
    laf = 60 + np.cumsum(np.round(steps))
    assert [round(each.difference_db, 6) for each in onsets(laf, start)] == [
        round(each.difference_db, 6) for each in onsets(laf + 10, start)
    ]


def test_a_noise_that_jumps_by_20_db_rises_as_its_exponential(as_pressure):
    rng = np.random.default_rng(5)
    gain = np.repeat([0.001, 0.01], [3 * RATE_HZ, 3 * RATE_HZ])
    found = impulsiveness(as_pressure(rng.standard_normal(6 * RATE_HZ) * gain))
    # The exponential itself: energy 1 to 100 with a time constant of 125 ms, read every 10 ms.
    after_s = np.arange(601) / 100
    exact = 10 * np.log10(1 + 99 * (1 - np.exp(-after_s / 0.125)))
    (expected,) = onsets(exact, found.decisive.start)
    assert found.decisive.difference_db == pytest.approx(expected.difference_db, abs=0.7)
    assert found.decisive.onset_rate_db_s == pytest.approx(expected.onset_rate_db_s, rel=0.1)
    assert found.adjustment_db == pytest.approx(expected.adjustment_db, abs=0.3)
    assert (found.onsets, found.category) == (1, "highly impulsive")


def test_steady_noise_is_not_impulsive(as_pressure):
    found = impulsiveness(as_pressure(np.random.default_rng(6).standard_normal(30 * RATE_HZ) * 0.01))
    assert (found.onsets, found.adjustment_db, found.category) == (0, 0.0, "not impulsive")


def test_silence_has_no_onset(as_pressure):
    found = impulsiveness(as_pressure(np.zeros(RATE_HZ)))
    assert (found.decisive, found.adjustment_db) == (None, 0.0)


@pytest.mark.parametrize(
    ("adjustment_db", "category"),
    [
        (0.0, "not impulsive"),
        (0.01, "regular impulsive"),
        (5.0, "regular impulsive"),
        (5.01, "highly impulsive"),
    ],
)
def test_categories_change_at_0_and_5_db(adjustment_db, category):
    assert impulse_category(adjustment_db) == category


def test_a_high_but_gentle_rise_does_not_hide_a_sharp_one(start):
    gentle = Onset(start=start, onset_rate_db_s=9.0, difference_db=10_000.0)
    sharp = Onset(start=start, onset_rate_db_s=100.0, difference_db=10.0)
    found = most_prominent([gentle, sharp], 60.0)
    assert found.decisive is gentle
    assert found.adjustment_db == pytest.approx(5.4, abs=1e-9)


def test_more_than_half_an_hour_is_refused(as_pressure):
    with pytest.raises(ValueError, match="at most 1800 s"):
        impulsiveness(as_pressure(np.zeros(1801), rate_hz=1))
