"""What can be had for what: the front, the map, the order of steps, and what is missing."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import energy
from sleepnoise.planning.enumeration import Masker, enumerate_plans
from sleepnoise.planning.optimum import find_optimum, planned
from sleepnoise.planning.outcome import left_over, outcome
from sleepnoise.planning.problem import A_WEIGHTS
from sleepnoise.planning.tradeoff import (
    audible_whatever,
    eased,
    excess_db,
    front,
    missing,
    sampled_front,
    steps_of,
    trade_map,
    without_masker,
    without_treatments,
)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([6.0, 12.0]), st.booleans())
def test_no_plan_on_the_front_beats_another_and_none_beats_the_front(make_problem, seed, margin, shaped):
    problem = make_problem(seed, events=6, margin_db=margin, shaped=shaped)
    field = enumerate_plans(problem)
    points = np.array([(each.money, each.level_dba, each.audible) for each in front(field)])
    for one in points:
        others = points[(points != one).any(axis=1)]
        assert not (others <= one).all(axis=1).any()
    for number, masker in enumerate(field.maskers):
        for money, count in zip(field.money, field.audible[:, number], strict=True):
            assert (points <= [money, masker.level_dba, count]).all(axis=1).any()


def test_the_map_falls_with_money_and_masker_and_ends_where_the_front_does(make_problem):
    field = enumerate_plans(make_problem(3, events=8, margin_db=12.0))
    drawn = trade_map(field)
    counts = np.array(drawn.audible)
    assert (np.diff(counts, axis=0) <= 0).all()
    assert (np.diff(counts, axis=1) <= 0).all()
    assert counts[-1, -1] == min(each.audible for each in front(field))
    assert counts[0, 0] == outcome(field.problem, field.problem.nothing).audible_count
    assert drawn.levels_dba[0] == -np.inf


def test_steps_add_up_to_the_plan(make_problem):
    problem = make_problem(8, events=6, margin_db=12.0, events_allowed=2)
    plan = find_optimum(problem).plan
    steps = steps_of(problem, plan)
    assert sum(step.money for step in steps) == plan.outcome.money
    whole_db = excess_db(problem, problem.nothing) - excess_db(problem, plan.choice, plan.spectrum)
    assert sum(step.gain_db for step in steps) == pytest.approx(whole_db)
    assert steps[-1].audible == plan.outcome.audible_count
    if plan.spectrum is not None:
        assert steps[-1].key == "masker"


def test_the_first_step_gains_most_for_its_money_and_not_just_most(make_problem):
    dearer_gained_more = 0
    for seed in range(6):
        problem = make_problem(seed, sizes=(2, 2, 2), events=4, origins=1, margin_db=0.0, shapes=())
        now_db = excess_db(problem, problem.nothing)
        alone = np.eye(3, dtype=int)
        gains_db = np.array([now_db - excess_db(problem, tuple(each)) for each in alone])
        worth = gains_db / [group.options[1].money for group in problem.groups]
        plan = planned(problem, (1, 1, 1), Masker(name="", level_dba=-np.inf), method="enumeration")
        steps = steps_of(problem, plan)
        assert sum(step.money for step in steps) == plan.outcome.money
        first = steps[0]
        assert first.part == problem.groups[int(worth.argmax())].title
        assert first.gain_per_money_db == pytest.approx(worth.max())
        dearer_gained_more += worth.argmax() != gains_db.argmax()
    assert dearer_gained_more


def test_a_step_lowers_the_energy_mean_of_all_events(make_problem):
    problem = make_problem(8, sizes=(2,), events=6, margin_db=12.0, shapes=())
    plan = planned(problem, (1,), Masker(name="", level_dba=-np.inf), method="enumeration")
    (step,) = steps_of(problem, plan)
    maxima = energy(problem.events.signal_db) * A_WEIGHTS
    after = maxima * left_over(problem, (1,))[0][problem.events.origin]
    assert step.level_gain_db == pytest.approx(10 * np.log10(maxima.sum() / after.sum()))


def test_a_treatment_that_somebody_wants_for_a_night_without_events_gains_nothing_known(make_problem):
    problem = make_problem(1)
    none = {each.name: getattr(problem.events, each.name)[:0] for each in fields(problem.events)}
    problem = replace(problem, events=replace(problem.events, **none))
    plan = find_optimum(problem).plan
    (step,) = steps_of(problem, replace(plan, choice=(1, *plan.choice[1:])))
    assert np.isnan(step.level_gain_db)
    assert step.audible == 0


def test_an_event_that_is_covered_does_not_make_up_for_one_that_is_heard(make_problem):
    problem = make_problem(2, events=2, margin_db=0.0)
    signal_db = problem.events.signal_db.copy()
    signal_db[0] -= 80.0
    problem = replace(problem, events=replace(problem.events, signal_db=signal_db))
    heard_db = outcome(problem, problem.nothing).margins_db[1]
    assert heard_db > 0.0
    assert excess_db(problem, problem.nothing) == pytest.approx(heard_db / 2.0)


def test_one_side_of_the_plan_alone_is_never_better_than_both(make_problem):
    for seed in range(12):
        problem = make_problem(seed, events=6, margin_db=12.0, events_allowed=2)
        best = find_optimum(problem)
        for alone in (without_masker(problem), without_treatments(problem)):
            assert best.reached or not alone.reached
            if alone.reached:
                assert best.plan.score <= alone.plan.score + 1e-9
    assert without_masker(problem).plan.spectrum is None
    assert without_treatments(problem).plan.outcome.money == 0.0


def test_without_a_masker_there_is_no_shaped_one_either(make_problem):
    problem = make_problem(4, events=6, margin_db=6.0, shaped=True)
    assert without_masker(problem).plan.spectrum is None


def test_where_no_plan_keeps_the_alarm_the_map_has_every_event(make_problem):
    problem = replace(make_problem(4, events=6, margin_db=12.0, alarm_floor_dba=75.0), alarm_dba=60.0)
    assert set(np.ravel(trade_map(enumerate_plans(problem)).audible)) == {6}


def test_a_wider_target_is_the_same_as_a_wider_margin(make_problem):
    for seed in (2, 5, 8):
        problem = make_problem(seed, events=6, margin_db=6.0, events_allowed=2)
        wider = find_optimum(replace(problem, wish=replace(problem.wish, margin_db=6.0 + 5.0)))
        easier = eased(problem)
        assert (wider.reached, wider.plan.choice) == (easier.reached, easier.plan.choice)
        assert easier.plan.outcome.margins_db == pytest.approx(wider.plan.outcome.margins_db - 5.0)


def test_what_stays_audible_whatever_is_done_is_audible_in_every_plan(make_problem):
    for seed in range(6):
        problem = make_problem(seed, events=6, margin_db=6.0)
        by_field = find_optimum(problem, "enumeration")
        by_programme = find_optimum(problem, "programme")
        assert audible_whatever(by_field) == audible_whatever(by_programme)
        assert set(audible_whatever(by_field)) <= set(np.flatnonzero(by_field.plan.outcome.audible))


def test_an_event_that_only_the_shaped_masker_covers_is_not_hopeless(make_problem):
    for seed in range(6):
        problem = make_problem(seed, events=5, margin_db=6.0, shapes=(), shaped=True)
        by_field = find_optimum(problem, "enumeration")
        assert audible_whatever(by_field) == audible_whatever(find_optimum(problem, "programme"))


def test_the_part_that_lets_the_rest_in_is_the_one_that_is_missing(make_problem):
    problem = make_problem(4, sizes=(2, 2), origins=1, events=4, margin_db=0.0, shapes=())
    share = np.ones_like(problem.groups[1].share)
    leak = replace(problem.groups[1], share=0.999 * share).with_options([0])
    tight = replace(problem.groups[0], share=0.001 * share)
    problem = replace(problem, groups=(tight, leak), fixed=np.zeros_like(problem.fixed))
    plan = find_optimum(problem).plan
    refused = [("part-1", "curtain", ("is it a fire door?",), np.full_like(leak.factor[0], 0.5))]
    found = missing(problem, plan, refused)
    assert (found[0].part, found[0].title) == ("part 1", "")
    assert found[0].gain_db > found[-1].gain_db
    curtain = next(each for each in found if each.title == "curtain")
    assert curtain.reasons == ("is it a fire door?",)
    assert curtain.gain_db == pytest.approx(3.0, abs=0.3)


def test_where_combinations_are_too_many_the_front_is_sampled(make_problem):
    problem = make_problem(6, events=4, margin_db=12.0, events_allowed=1)
    points = sampled_front(problem)
    assert min(each.audible for each in points) <= max(1, find_optimum(problem).plan.outcome.audible_count)
    assert any(each.level_dba == -np.inf for each in points)
