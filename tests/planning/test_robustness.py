"""How sure a plan is: limits that are known without drawing, and what settles a doubt."""

from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.planning.enumeration import Masker
from sleepnoise.planning.optimum import find_optimum, planned
from sleepnoise.planning.robustness import DOUBTS, certain_plan, certainty, draw, judged, left_in_draw

EVERYTHING = frozenset({*DOUBTS, "nights"})
NONE = Masker(name="", level_dba=-np.inf)


@pytest.fixture(scope="module")
def reached(make_problem):
    """Return a problem that can be solved, its plan and its draws."""
    problem = make_problem(8, events=6, margin_db=12.0, events_allowed=2)
    found = find_optimum(problem)
    assert found.reached
    return problem, found.plan, draw(problem, draws=200)


def test_without_any_doubt_every_draw_is_the_raw_model(reached):
    problem, plan, drawn = reached
    counts, _ = judged(problem, plan, drawn, EVERYTHING)
    assert set(counts) == {plan.outcome.audible_count}


def test_a_plan_with_much_to_spare_is_certain_and_one_that_just_misses_by_far_is_not(reached):
    problem, plan, drawn = reached
    quiet = replace(problem, events=replace(problem.events, signal_db=problem.events.signal_db - 40.0))
    loud = replace(problem, events=replace(problem.events, signal_db=problem.events.signal_db + 40.0))
    assert certainty(quiet, plan, drawn).probability == 1.0
    counts, _ = judged(loud, plan, drawn)
    assert np.mean(counts <= problem.wish.events_allowed) < 0.3


def test_the_model_alone_moves_the_deciding_margin_by_its_own_uncertainty(reached):
    problem, plan, drawn = reached
    _, deciding_db = judged(problem, plan, drawn, EVERYTHING - {"model"})
    assert np.std(deciding_db) == pytest.approx(np.std(drawn.model_db), rel=1e-6)
    assert np.std(drawn.model_db) == pytest.approx(3.0 / np.sqrt(3.0), rel=0.15)


def test_the_doubts_are_ranked_and_say_what_settles_them(reached):
    problem, plan, drawn = reached
    doubts = certainty(problem, plan, drawn).doubts
    assert {each.doubt for each in doubts} == set(DOUBTS)
    assert [each.share for each in doubts] == sorted((each.share for each in doubts), reverse=True)
    assert all(each.settled_by for each in doubts)
    assert next(each.share for each in doubts if each.doubt == "origins") == 0.0


def test_where_the_side_is_unknown_two_microphones_are_worth_most(make_problem):
    """Two sides: one is shut off well, the other not at all."""
    problem = make_problem(9, sizes=(2, 2), origins=3, events=1, shapes=(), margin_db=0.0)
    bands = problem.fixed.shape[1]
    one, two = (np.zeros((1, 3, bands)) for _ in range(2))
    one[0, 0], two[0, 1] = 1.0, 1.0
    one[0, 2] = two[0, 2] = 0.5
    shut = np.stack([np.ones((1, bands)), np.full((1, bands), 1e-3)])
    groups = tuple(
        replace(group, share=share, factor=shut)
        for group, share in zip(problem.groups, (one, two), strict=True)
    )
    odds = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.5, 0.5, 0.0]])
    quiet_db = problem.events.signal_db - 60.0
    events = replace(problem.events, origin=np.array([2]), signal_db=quiet_db)
    problem = replace(problem, groups=groups, fixed=np.zeros((3, bands)), odds=odds, events=events)
    plan = planned(problem, (1, 0), NONE, method="enumeration")
    doubts = certainty(problem, plan, draw(problem, draws=300)).doubts
    assert doubts[0].doubt == "origins"
    assert doubts[0].share > 0.5
    assert "two microphones" in doubts[0].settled_by


def test_events_of_one_source_come_the_same_way(make_problem):
    problem = make_problem(10, events=4, origins=2)
    odds = np.array([[0.5, 0.5], [0.5, 0.5]])
    events = replace(problem.events, sources=("tram", "tram", "", ""))
    drawn = draw(replace(problem, events=events, odds=odds), draws=300).origin
    assert (drawn[:, 0] == drawn[:, 1]).all()
    assert (drawn[:, 2] != drawn[:, 3]).any()
    assert drawn.mean() == pytest.approx(0.5, abs=0.1)


def test_a_surer_plan_is_never_cheaper(make_problem):
    problem = make_problem(8, events=6, margin_db=12.0, events_allowed=2)
    drawn = draw(problem, draws=200)
    plans = [certain_plan(problem, drawn, wanted) for wanted in (0.1, 0.5, 0.8)]
    assert plans[0].plan is not None
    scores = [each.plan.score if each.plan else np.inf for each in plans]
    assert scores == sorted(scores)
    # A little more than the best plan for the target itself reaches: that one will not do.
    plans.append(certain_plan(problem, drawn, certain_plan(problem, drawn, 0.0).probability + 0.01))
    for each in plans:
        assert each.plan is None or each.probability >= each.certainty


def test_certainty_that_cannot_be_had_is_said(make_problem):
    problem = make_problem(1, events=6, margin_db=0.0)
    found = certain_plan(problem, draw(problem, draws=50), 0.95)
    assert found.plan is None
    assert found.probability < 0.95


def test_with_nothing_in_doubt_a_plan_that_just_reaches_its_target_is_certain_to(reached):
    """No error is drawn and each event occurs once: as many are heard each time as the plan leaves."""
    problem, plan, drawn = reached
    unmoved = replace(
        drawn,
        paths=tuple(np.zeros_like(each) for each in drawn.paths),
        parts=np.zeros_like(drawn.parts),
        treatments=np.zeros_like(drawn.treatments),
        origin=np.tile(problem.events.origin, (200, 1)),
        levels_db=np.zeros(200),
        model_db=np.zeros(200),
        occurrences=np.ones_like(drawn.occurrences),
    )
    left = plan.outcome.audible_count
    assert left > 0
    just = replace(problem, wish=replace(problem.wish, events_allowed=left))
    found = certainty(just, plan, unmoved)
    assert (found.probability, found.probability_other_nights) == (1.0, 1.0)
    assert (found.audible_10, found.audible_50, found.audible_90) == (left, left, left)
    twice = certainty(just, plan, replace(unmoved, occurrences=2 * unmoved.occurrences))
    assert (twice.probability, twice.probability_other_nights) == (1.0, 0.0)
    assert twice.audible_50 == 2 * left


@pytest.mark.parametrize(
    ("factor", "drawn_u", "left"),
    [
        (0.8, -1.0, 0.8 * 10**-0.3),
        (0.8, 1.0, 1.0),  # 1.6 of it would be more than without any treatment
        (0.1, 1.0, 0.1 * 10**0.3),
        (1.0, -1.0, 1.0),  # what is not treated does not err
    ],
)
def test_a_treatment_errs_by_its_spread_and_never_lets_in_more_than_nothing_done(
    make_problem, factor, drawn_u, left
):
    """By hand, for one path that brings everything: a spread of 3 dB is a factor of 10^0.3."""
    problem = make_problem(2, sizes=(2,), origins=1, events=1)
    group = problem.groups[0]
    everything = replace(
        group,
        share=np.ones_like(group.share),
        background=np.ones_like(group.background),
        factor=np.array([[[1.0]], [[factor]]]) * np.ones(group.share.shape[-1]),
        options=(group.options[0], replace(group.options[1], spread_db=3.0)),
    )
    nothing = np.zeros_like(problem.fixed)
    problem = replace(problem, groups=(everything,), fixed=nothing, background_fixed=nothing[0])
    plan = planned(problem, (1,), NONE, method="enumeration")
    drawn = replace(draw(problem, draws=1), treatments=np.full((1, 1), drawn_u))
    sound, background = left_in_draw(problem, plan, drawn, 0, EVERYTHING - {"treatments"})
    assert sound == pytest.approx(left)
    assert background == pytest.approx(left)


def test_what_is_wrong_with_the_levels_is_wrong_with_event_and_background_alike(make_problem):
    """Far above what ears hear by themselves both move together, and nothing changes between them."""
    problem = make_problem(8, events=6, shapes=(), margin_db=6.0)
    events = replace(problem.events, signal_db=problem.events.signal_db + 60.0)
    events = replace(events, background_db=np.full_like(events.background_db, 90.0))
    problem = replace(problem, events=events)
    plan, drawn = planned(problem, problem.nothing, NONE, method="enumeration"), draw(problem, draws=50)
    _, deciding_db = judged(problem, plan, drawn, EVERYTHING - {"levels"})
    assert np.std(drawn.levels_db) > 1.0
    assert np.ptp(deciding_db) < 0.01


def test_a_tested_part_that_lets_in_twice_as_much_has_a_larger_share_of_what_is_heard(make_problem):
    """By hand: half comes another way; of a shut door that brought 1 instead of 0.5, 0.5/1.5 is left."""
    problem = make_problem(2, sizes=(2,), origins=1, events=1)
    group = problem.groups[0]
    half, bands = np.full_like(group.share, 0.5), group.share.shape[-1]
    shut = replace(
        group,
        share=half,
        background=half[0],
        tested_u_db=1.0,
        factor=np.array([[[1.0]], [[0.0]]]) * np.ones(bands),
    )
    problem = replace(problem, groups=(shut,), fixed=half[0], background_fixed=half[0, 0])
    plan = planned(problem, (1,), NONE, method="enumeration")
    drawn = draw(problem, draws=1)
    drawn = replace(drawn, paths=(np.full((1, 1), 5.0),), parts=np.full((1, 1), 10 * np.log10(2.0)))
    sound, background = left_in_draw(problem, plan, drawn, 0, EVERYTHING - {"paths"})
    assert sound == pytest.approx(1.0 / 3.0)
    assert background == pytest.approx(1.0 / 3.0)


def test_a_path_errs_as_far_as_its_uncertainty_says(make_problem):
    problem = make_problem(2, sizes=(2,))
    other = replace(problem, groups=(replace(problem.groups[0], path_u_db=np.array([6.0])),))
    two, six = (draw(each, draws=50).paths[0] for each in (problem, other))
    assert problem.groups[0].path_u_db.tolist() == [2.0]
    np.testing.assert_allclose(six, 3.0 * two)


def test_the_same_input_gives_the_same_certainty(reached):
    problem, plan, drawn = reached
    assert certainty(problem, plan, drawn) == certainty(problem, plan, draw(problem, draws=200))


def test_a_tested_door_errs_as_a_whole(make_problem):
    """What a door test leaves open is how its paths share the sound, and the test's own uncertainty."""
    problem = make_problem(11, sizes=(2, 2), events=3, origins=1)
    first = replace(problem.groups[0], tested_u_db=0.0)
    doubled = replace(
        first,
        paths=("leaf", "gap"),
        path_u_db=np.array([6.0, 6.0]),
        share=np.concatenate([first.share, first.share]) / 2.0,
        background=np.concatenate([first.background, first.background]) / 2.0,
        alarm=np.concatenate([first.alarm, first.alarm]) / 2.0,
        factor=np.concatenate([first.factor, first.factor], axis=1),
    )
    known_rest = replace(problem.groups[1], tested_u_db=0.0)
    tested = replace(problem, groups=(doubled, known_rest))
    # Treated, so that what the other part brings counts: as the room is, nothing would move anyway.
    plan = planned(tested, (1, 0), NONE, method="enumeration")
    drawn = draw(tested, draws=100)
    alone = replace(drawn, paths=(drawn.paths[0], np.zeros_like(drawn.paths[1])))
    _, deciding_db = judged(tested, plan, alone, EVERYTHING - {"paths"})
    assert np.ptp(deciding_db) < 1e-9
    untested = replace(tested, groups=(replace(doubled, tested_u_db=None), known_rest))
    _, moving_db = judged(untested, plan, alone, EVERYTHING - {"paths"})
    assert np.ptp(moving_db) > 0.1
