"""Which events count, and what they say of each band."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.pairing.alignment import SAME_CLOCK, SHARP, SoundLag
from sleepnoise.pairing.in_situ import band_differences, judged_events
from sleepnoise.pairing.paired import PairedEvent

BANDS_HZ = (100.0, 200.0, 400.0, 800.0)
FOUND = SoundLag(outer_s=10.0, pillow_s=10.0, sharpness=2 * SHARP)


def event(difference_db=20.0, at_least=False, likeness=0.99, outcome="not compared", outer_db=70.0, ticks=40):
    rows = len(BANDS_HZ) + 1
    outer = np.broadcast_to(np.asarray(outer_db, dtype=float), rows).copy()
    return PairedEvent(
        first_tick=0, last_tick=ticks, outer_db=outer, pillow_db=outer - difference_db,
        at_least=np.broadcast_to(at_least, rows).copy(), likeness=np.broadcast_to(likeness, rows).copy(),
        outcome=outcome,
    )  # fmt: skip


def outcome(one, lag=FOUND, same_scale=True):
    [judged] = judged_events([one], [lag], SAME_CLOCK, same_scale=same_scale)
    return judged.outcome


def bands(events, same_scale=True):
    return band_differences(events, BANDS_HZ, same_scale=same_scale)


def used(*differences_db, **others):
    return [event(difference_db, outcome="used", **others) for difference_db in differences_db]


def test_the_same_sound_counts():
    assert outcome(event()) == "used"


def test_what_is_not_heard_or_not_measurable_does_not_count():
    assert outcome(event(at_least=True)) == "not heard"
    assert outcome(event(np.nan)) == "not heard"
    assert outcome(event(np.nan, outcome="not measurable")) == "not measurable"


@pytest.mark.parametrize(
    "lag",
    [
        replace(FOUND, sharpness=SHARP - 0.1),
        replace(FOUND, sharpness=np.nan),
        replace(FOUND, pillow_s=10.06),
        replace(FOUND, pillow_s=9.94),
    ],
)
def test_a_sound_that_is_not_found_where_the_clocks_say_is_another(lag):
    assert outcome(event(), lag) == "not the same sound"


def test_bands_covered_by_another_sound_are_not_known():
    [judged] = judged_events(
        [event(likeness=[0.99, 0.7, 0.9, 0.99, 0.99])], [FOUND], SAME_CLOCK, same_scale=True
    )
    assert judged.outcome == "used"
    assert judged.heard.tolist() == [True, False, True, True, True]
    assert outcome(event(likeness=[0.99, 0.7, 0.7, 0.7, 0.99])) == "covered by another sound"


def test_a_sound_louder_at_the_pillow_was_made_there():
    assert outcome(event(-1.0)) == "made in the bedroom"
    assert outcome(event(1.0)) == "used"
    # The A-weighted level decides; where even that is a limit, the outer side was louder.
    assert outcome(event([10.0, -3.0, -3.0, -3.0, 5.0])) == "used"
    assert outcome(event([-5.0, 3.0, 3.0, 3.0, 3.0])) == "made in the bedroom"


def test_without_a_scale_a_level_tells_no_side():
    assert outcome(event(-30.0), same_scale=False) == "used"


@pytest.mark.parametrize(("snores", "noises"), [(2, 6), (6, 2), (3, 3)])
def test_without_a_scale_the_group_that_lost_less_and_came_earlier_was_made_inside(snores, noises):
    # Gain unknown: 7 dB; a wall of 20 dB; 3 m of way.
    events = [event(7.0 - 20.0)] * snores + [event(7.0 + 20.0)] * noises
    earlier, later = replace(FOUND, pillow_s=9.991), replace(FOUND, pillow_s=10.009)
    judged = judged_events(events, [earlier] * snores + [later] * noises, SAME_CLOCK, same_scale=False)
    assert [each.outcome for each in judged] == ["made in the bedroom"] * snores + ["used"] * noises
    # The same levels without the earlier arrival are two kinds of noise.
    judged = judged_events(events, [FOUND] * (snores + noises), SAME_CLOCK, same_scale=False)
    assert {each.outcome for each in judged} == {"used"}


def test_a_faint_sound_heard_only_in_low_bands_is_no_second_group():
    shape_db = np.array([25.0, 5.0, 20.0, 35.0, 50.0])
    faint = event(shape_db, at_least=[True, False, True, True, True])
    lags = [*[replace(FOUND, pillow_s=10.01)] * 3, FOUND]
    judged = judged_events([event(shape_db)] * 3 + [faint], lags, SAME_CLOCK, same_scale=False)
    assert {each.outcome for each in judged} == {"used"}


def test_no_event_at_all_is_judged_to_nothing():
    assert judged_events([], [], SAME_CLOCK, same_scale=False) == ()
    assert all(np.isnan(band.median_db) for band in bands([]))


def test_median_and_quartiles_are_those_of_the_events():
    band = bands(used(18.0, 20.0, 21.0, 25.0, 40.0))[1]
    assert (band.lower_quartile_db, band.median_db, band.upper_quartile_db) == (20.0, 21.0, 25.0)
    assert (band.nominal_hz, band.events, band.limits, band.at_least) == (100.0, 5, 0, False)
    assert bands(used(20.0, 20.0, 20.0))[0].nominal_hz is None


def test_by_energy_the_loud_and_the_long_decide():
    loud, quiet = event(20.0, outcome="used", outer_db=80.0), event(30.0, outcome="used", outer_db=60.0)
    band = bands([loud, quiet, quiet])[1]
    # (1e8 + 2e6) in, (1e6 + 2e3) out: on paper 20.077 dB.
    assert band.energy_weighted_db == pytest.approx(20.0773, abs=1e-4)
    long = bands([replace(loud, last_tick=4000), quiet, quiet])[1]
    assert long.energy_weighted_db == pytest.approx(20.0, abs=0.001)


def test_fewer_than_three_events_give_the_limit_that_three_reached():
    limits = [event(limit_db, True, outcome="used") for limit_db in (31.0, 33.0, 35.0)]
    band = bands([*limits, *used(34.0)])[2]
    assert band.at_least
    assert (band.median_db, band.events, band.limits) == (33.0, 1, 3)
    assert np.isnan([band.lower_quartile_db, band.energy_weighted_db]).all()
    assert np.isnan(bands(limits[:2])[2].median_db)


def test_as_many_higher_limits_as_measured_make_the_median_a_limit():
    limits = [event(30.0, True, outcome="used")] * 3
    assert bands(used(20.0, 21.0, 22.0) + limits)[1].at_least
    assert not bands(used(20.0, 21.0, 22.0) + limits[:2])[1].at_least
    assert not bands(used(20.0, 21.0, 22.0) + [event(10.0, True, outcome="used")] * 9)[1].at_least


def test_events_that_do_not_count_change_nothing():
    others = [event(99.0, outcome="not heard"), event(-9.0, outcome="made in the bedroom"), event()]
    assert bands(used(20.0, 21.0, 25.0) + others) == bands(used(20.0, 21.0, 25.0))


@given(
    shape=st.lists(st.floats(0, 60), min_size=4, max_size=4),
    gain_db=st.floats(-80, 80),
)
def test_of_a_shape_an_unknown_gain_is_gone(shape, gain_db):
    def shape_of(offset_db):
        return bands(used(*[np.array([0.0, *shape]) + offset_db] * 3), same_scale=False)

    plain, moved = shape_of(0.0), shape_of(gain_db)
    assert [band.nominal_hz for band in moved] == list(BANDS_HZ)
    assert [band.median_db for band in moved] == pytest.approx([band.median_db for band in plain], abs=1e-9)
    assert np.mean([band.median_db for band in moved]) == pytest.approx(0.0, abs=1e-9)
    assert moved[0].energy_weighted_db == pytest.approx(moved[0].median_db, abs=1e-9)
