"""What traffic noise does to sleep on average. Curves against published checks; nights are invented."""

import math
import tomllib
from dataclasses import replace
from datetime import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.judgement.assessment import assess_history
from sleepnoise.judgement.disturbance import (
    COUNTED_FROM_DB,
    CURVES,
    ODDS_RATIOS,
    TRAFFIC,
    at_least_one,
    disturbance_of,
    event_kinds,
    odds_factors,
)
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published/awakenings.toml").read_text("utf-8"))
HALF_A_STEP = PUBLISHED["printed_step_percent"] / 2


def curve_of(name, kind):
    [found] = [curve for curve in CURVES if (curve.name, curve.kind) == (name, kind)]
    return found


@pytest.mark.parametrize("row", PUBLISHED["curve"], ids=lambda row: f"{row['name']} {row['kind']}")
def test_curves_agree_with_their_worked_values(row):
    curve = curve_of(row["name"], row["kind"])
    assert curve.source.how_known == row["how_known"]
    for lasmax_db, percent in row["lasmax_and_percent"]:
        assert 100 * curve.probability(lasmax_db) == pytest.approx(percent, abs=HALF_A_STEP)
    if "zero_db" in row:
        zero_db = row["zero_db"]
        assert curve.probability(zero_db - 0.1) == 0
        assert 0 < curve.probability(zero_db + 0.1) < 0.001


def test_a_curve_holds_from_its_lowest_level_on():
    """By hand for rail: -1.7768 - 0.0529 x 35 + 0.0033 x 35^2 = 0.4142 %; nothing was fitted below 35 dB."""
    rail = curve_of("Basner and McGuire 2018", "rail")
    assert 100 * rail.probability(35.0) == pytest.approx(0.4142)
    assert rail.probability(34.999) == 0.0


def test_every_curve_has_worked_values():
    assert {(row["name"], row["kind"]) for row in PUBLISHED["curve"]} == {(c.name, c.kind) for c in CURVES}


@pytest.mark.parametrize("kind", TRAFFIC)
def test_odds_ratios_are_those_published(kind):
    middle, low, high = PUBLISHED["odds_ratios"][kind]
    assert ODDS_RATIOS[kind] == (low, middle, high)
    assert odds_factors(kind, 10.0) == pytest.approx((low, middle, high))
    assert odds_factors(kind, -10.0) == pytest.approx((1 / high, 1 / middle, 1 / low))
    assert odds_factors(kind, 0.0) == (1, 1, 1)


def test_odds_become_probabilities_as_worked_by_hand():
    for base, change_db, after in PUBLISHED["odds_ratios"]["worked"]:
        factor = odds_factors("rail", change_db)[1]
        odds = factor * base / (1 - base)
        assert odds / (1 + odds) == pytest.approx(after, abs=0.00005)


@pytest.mark.parametrize("night", PUBLISHED["combination"]["nights"])
def test_awakenings_combine_as_the_withdrawn_standard_worked_them(night):
    probabilities = 1 / (1 + np.exp(6.8884 - 0.04444 * np.array(night["lae"], dtype=float)))
    assert 100 * at_least_one(probabilities) == pytest.approx(night["percent"], abs=0.05)


@pytest.mark.parametrize(("lasmax_db", "number"), [(45, 43), (55, 22), (60, 17)])
def test_so_many_aircraft_make_one_awakening_a_night(lasmax_db, number):
    # By hand from the coefficients: one over 2.315, 4.610 and 5.899 %.
    assert round(1 / float(curve_of("Basner 2006", "aircraft").probability(lasmax_db))) == number


@given(
    levels=st.lists(st.floats(-50, 120), min_size=1, max_size=20),
    louder_db=st.floats(0, 30),
    curve=st.sampled_from(CURVES),
)
def test_louder_never_wakes_less_and_no_curve_leaves_its_bounds(levels, louder_db, curve):
    quiet, loud = curve.probability(levels), curve.probability(np.array(levels) + louder_db)
    assert np.all((quiet >= 0) & (quiet <= 0.25))
    assert np.all(loud >= quiet)
    assert max(quiet) - 1e-12 <= at_least_one(quiet) <= min(1.0, quiet.sum()) + 1e-12


def test_silence_wakes_nobody():
    for curve in CURVES:
        assert curve.probability([-math.inf, -200.0, 0.0, 30.0]).tolist() == [0, 0, 0, 0]


# Whole nights.


def event(number, lasmax, *, lafmax=None, label=""):
    quiet = Spectrum(nominal_hz=(1000.0,), levels_db=np.array([0.0]))
    return Event(
        number=number, start=None, duration_s=10.0, first_tick=0, last_tick=80, lafmax=lafmax or lasmax + 2,
        lasmax=lasmax, lae=math.nan, lcpeak=math.nan, background_la90=math.nan, emergence_db=math.nan,
        max_spectrum=quiet, background_spectrum=quiet, label=label,
    )  # fmt: skip


@pytest.fixture(scope="module")
def night(nights):
    """Return an assessed night of nothing, to which events are given."""
    return assess_history(
        nights.recording(20.0, hours=0.5),
        window=NightWindow(start=time(22), end=time(7), zone=nights.zone),
        criteria=(),
        event_settings=EventSettings(),
        absolute=True,
        expanded_uncertainty_db=2.0,
    )


def with_events(night, *events, **keys):
    return replace(night, events=events, **keys)


def test_ten_aircraft_are_added_up_curve_by_curve(night):
    # By hand: ten times 2.315 % and 1.773 %, 45 dB.
    ten = with_events(night, *(event(n, 45.0) for n in range(1, 11)), expanded_uncertainty_db=0.0)
    found = disturbance_of(ten, event_kinds(ten.events, all_events="aircraft"))
    assert found.events == {"aircraft": 10}
    basner, pooled = found.estimates
    assert basner.expected == pytest.approx([0.2315] * 3, abs=1e-4)
    assert pooled.expected == pytest.approx([0.1773] * 3, abs=1e-4)
    assert basner.at_least_one[1] == pytest.approx(1 - (1 - 0.02315) ** 10, abs=1e-4)


def test_the_interval_holds_the_uncertainty_of_all_levels_together(night):
    one = with_events(night, event(1, 60.0))
    [rail] = disturbance_of(one, {1: "rail"}).estimates
    curve = rail.curve
    assert rail.expected == pytest.approx([float(curve.probability(each)) for each in (58, 60, 62)])
    assert rail.at_least_one == pytest.approx(rail.expected)


def test_kinds_of_traffic_are_kept_apart_and_the_rest_is_only_counted(night):
    mixed = with_events(
        night, event(1, 50.0), event(2, 50.0), event(3, 50.0), event(4, 50.0), event(5, 38.0), event(6, 80.0)
    )
    kinds = {1: "road", 2: "rail", 3: "neighbours", 5: "road", 6: "services"}
    found = disturbance_of(mixed, kinds)
    assert found.events == {"road": 2, "rail": 1}
    assert [estimate.curve.kind for estimate in found.estimates] == ["rail", "road"]
    counted = {each.above_db: (each.traffic, each.other, each.unsaid) for each in found.counted}
    assert tuple(counted) == COUNTED_FROM_DB
    assert counted[35.0] == (3, 2, 1)
    assert counted[45.0] == (2, 2, 1)
    assert counted[60.0] == (0, 1, 0)


@pytest.mark.parametrize(("lafmax", "above"), [(44.99, 0), (45.0, 0), (45.01, 1)])
def test_an_event_right_at_a_level_is_not_above_it(night, lafmax, above):
    found = disturbance_of(with_events(night, event(1, 40.0, lafmax=lafmax)), {})
    assert next(each.unsaid for each in found.counted if each.above_db == 45) == above


def test_events_beyond_a_curve_count_as_at_its_end_and_are_said(night):
    loud = with_events(night, event(1, 95.0), event(2, 73.0), expanded_uncertainty_db=0.0)
    basner, _ = disturbance_of(loud, {1: "aircraft", 2: "aircraft"}).estimates
    assert basner.beyond == 1
    assert basner.expected[1] == pytest.approx(2 * 0.09695, abs=1e-5)


@pytest.mark.parametrize("keys", [{"absolute": False}, {"expanded_uncertainty_db": math.nan}])
def test_without_calibration_nothing_is_estimated_or_counted(night, keys):
    found = disturbance_of(with_events(night, event(1, 60.0), **keys), {1: "road"})
    assert found.estimates == found.counted == ()


def test_without_traffic_nothing_is_estimated(night):
    for kinds in ({}, {1: "neighbours"}):
        assert disturbance_of(with_events(night, event(1, 70.0)), kinds).estimates == ()


# Whose events they are.

LABELLED = (event(1, 50, label="tram"), event(2, 50, label="tram"), event(3, 50), event(7, 50, label="dog"))


@pytest.mark.parametrize(
    ("said", "kinds"),
    [
        ({}, {}),
        ({"all_events": "road"}, {1: "road", 2: "road", 3: "road", 7: "road"}),
        ({"by_label": {"tram": "rail"}}, {1: "rail", 2: "rail"}),
        ({"by_number": {7: "rail"}, "all_events": "road"}, {1: "road", 2: "road", 3: "road", 7: "rail"}),
        ({"by_label": {"tram": "rail"}, "by_number": {2: "road"}}, {1: "rail", 2: "road"}),
    ],
)  # fmt: skip
def test_a_number_goes_before_a_label_and_a_label_before_all(said, kinds):
    assert event_kinds(LABELLED, **said) == kinds


def test_events_that_do_not_exist_are_refused_by_name():
    with pytest.raises(SettingsError, match=r"number 4, number 9, label 'bus'"):
        event_kinds(LABELLED, by_number={9: "road", 4: "road"}, by_label={"bus": "road", "tram": "rail"})
