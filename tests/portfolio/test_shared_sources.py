from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.portfolio.shared_sources import coincident, find_shared

BEGIN = datetime(2026, 2, 1, 22, 0, tzinfo=UTC)
NIGHT_S = 8 * 3600.0


def night(room, night_s=NIGHT_S):
    return {"bedroom": room, "start_utc": BEGIN, "end_utc": BEGIN + timedelta(seconds=night_s)}


def events(room, starts_s, label="", group="short low sound 1"):
    return [
        {"bedroom": room, "start_utc": BEGIN + timedelta(seconds=float(at)), "label": label, "group": group}
        for at in starts_s
    ]


def test_sounds_that_two_of_three_bedrooms_hear_are_found_with_their_lag():
    rng = np.random.default_rng(1)
    common = np.sort(rng.uniform(0, NIGHT_S, 12))
    lines = [
        *events("a", [*common, *rng.uniform(0, NIGHT_S, 20)], "tram"),
        *events("b", [*(common + 2.0), *rng.uniform(0, NIGHT_S, 20)]),
        *events("c", rng.uniform(0, NIGHT_S, 32)),
    ]
    found = find_shared([night("a"), night("b"), night("c")], lines)
    assert [each.bedrooms for each in found if each.shared] == [("a", "b")]
    assert found[0].together >= 12
    assert found[0].lag_s == pytest.approx(2.0, abs=0.1)
    assert found[0].sound == "tram"
    assert found[0].expected < 2


def test_independent_bedrooms_are_taken_for_neighbours_of_one_source_no_more_often_than_said():
    # 28 pairs of 8 bedrooms, 10 portfolios: SURE = 0.01 for a portfolio allows 0.1 false ones.
    rng = np.random.default_rng(2)
    false = 0
    for _ in range(10):
        rooms = [f"r{place:02d}" for place in range(8)]
        # All are busier towards the morning: common habits are no common source.
        lines = [each for room in rooms for each in events(room, NIGHT_S * np.sqrt(rng.uniform(0, 1, 40)))]
        false += sum(each.shared for each in find_shared([night(room) for room in rooms], lines))
    assert false <= 1


def test_what_is_expected_by_chance_is_what_chance_gives():
    # Two Poisson processes: each event of one meets one of the other within 5 s with
    # probability 1 - exp(-10 x 200 / 28800) = 0.067 (less for pairs that are not each other's nearest).
    rng = np.random.default_rng(3)
    lines = [*events("a", rng.uniform(0, NIGHT_S, 200)), *events("b", rng.uniform(0, NIGHT_S, 200))]
    found = find_shared([night("a"), night("b")], lines)
    assert found[0].expected == pytest.approx(200 * (1 - np.exp(-10 * 200 / NIGHT_S)), rel=0.1)


def test_a_timetable_is_no_chance_and_two_timetables_are_no_source():
    trams = np.arange(300, NIGHT_S - 300, 600.0)
    same = [*events("a", trams), *events("b", trams + 1.0)]
    assert find_shared([night("a"), night("b")], same)[0].shared
    apart = [*events("a", trams), *events("b", trams + 200.0)]
    assert find_shared([night("a"), night("b")], apart)[0].together == 0


def test_events_with_different_labels_never_coincide():
    lines = [*events("a", range(0, 20_000, 997), "tram"), *events("b", range(0, 20_000, 997), "lift")]
    assert find_shared([night("a"), night("b")], lines)[0].together == 0


def test_only_neighbours_are_compared_if_they_are_known():
    starts_s = np.sort(np.random.default_rng(4).uniform(0, NIGHT_S, 20))
    lines = [each for room in "abc" for each in events(room, starts_s)]
    nights = [night(room) for room in "abc"]
    assert len(find_shared(nights, lines)) == 3
    assert [each.bedrooms for each in find_shared(nights, lines, neighbours=[("c", "a")])] == [("a", "c")]


def test_bedrooms_that_were_not_recorded_together_are_not_compared():
    other = {
        "bedroom": "b", "start_utc": BEGIN + timedelta(days=1), "end_utc": BEGIN + timedelta(days=2)
    }  # fmt: skip
    starts_s = range(0, 20_000, 997)
    assert find_shared([night("a"), other], [*events("a", starts_s), *events("b", starts_s)]) == ()


@given(
    st.lists(st.floats(0, 1000), max_size=30).map(sorted),
    st.lists(st.floats(0, 1000), max_size=30).map(sorted),
    st.floats(0.1, 50),
)
def test_no_event_belongs_to_two_pairs_and_every_pair_is_near(first_s, second_s, tolerance_s):
    one, other = coincident(np.array(first_s), np.array(second_s), tolerance_s)
    assert len(set(one)) == len(one)
    assert len(set(other)) == len(other)
    assert all(abs(first_s[a] - second_s[b]) <= tolerance_s for a, b in zip(one, other, strict=True))
