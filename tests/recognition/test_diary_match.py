"""A diary beside events: which entries match, and how many would by chance."""

from datetime import timedelta

import numpy as np
import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import plain_value
from sleepnoise.recognition.diary import Diary, DiaryEntry
from sleepnoise.recognition.diary_match import match_diary

HOURS = 8
TICKS = HOURS * 3600 * 8


@pytest.fixture
def history(history_of):
    return history_of(np.full(TICKS, 30.0))


def diary_at(history, *seconds):
    entries = (
        DiaryEntry(line=line, time=history.start + timedelta(seconds=at), words="noise")
        for line, at in enumerate(seconds, start=2)
    )
    return Diary(file="diary.csv", entries=tuple(entries), remarks=())


def spread_events(event_at, seconds, lasting_s=10):
    return tuple(event_at(k, 8 * at, 8 * (at + lasting_s)) for k, at in enumerate(seconds, start=1))


def test_entries_match_within_the_tolerance_on_both_sides_and_not_beyond(history, event_at):
    events = spread_events(event_at, [3600])
    matched = match_diary(
        diary_at(history, 3299.75, 3300, 3605, 3909.75, 3910.25), events, history, tolerance_s=300
    )
    assert [match.event for match in matched.matches] == [None, 1, 1, 1, None]
    assert [match.apart_s for match in matched.matches[1:4]] == [300.0, 0.0, -299.875]
    assert (matched.matched, matched.share) == (3, 0.6)


def test_the_nearest_event_is_named_and_of_equals_the_loudest(history, event_at):
    events = (
        event_at(1, 8000, 8080, 40.0), event_at(2, 9000, 9080, 50.0), event_at(3, 9000, 9010, 60.0),
    )  # fmt: skip
    matched = match_diary(diary_at(history, 1124), events, history)
    assert matched.matches[0].event == 3


def test_entries_of_other_times_and_of_left_out_time_are_set_aside(history, event_at):
    mask = np.zeros(TICKS, dtype=bool)
    mask[8 * 100 : 8 * 200] = True
    matched = match_diary(
        diary_at(history, -5, 150, 250, HOURS * 3600 + 5),
        spread_events(event_at, [260]),
        history.without(mask),
    )
    assert [entry.line for entry in matched.not_recorded] == [2, 3, 5]
    assert (matched.matched, len(matched.matches)) == (1, 1)


def test_the_share_by_chance_is_the_share_of_the_night_near_events(history, event_at):
    events = spread_events(event_at, range(1800, 28800, 3600))  # eight, each with 610 s around it
    matched = match_diary(diary_at(history, 500, 9000), events, history)
    assert matched.share_by_chance == pytest.approx(8 * 610 / 28800, abs=0.002)


def test_many_entries_that_all_match_are_more_than_chance(history, event_at):
    at = [1200, 5000, 9100, 14000, 20500, 26000]
    matched = match_diary(diary_at(history, *at), spread_events(event_at, at), history)
    assert matched.share == 1.0
    assert matched.as_many_by_chance < 0.05
    assert matched.more_than_chance


def test_where_events_are_everywhere_a_perfect_share_says_nothing(history, event_at):
    events = spread_events(event_at, range(0, 28800, 300))
    matched = match_diary(diary_at(history, 1200, 5000, 9100), events, history)
    assert (matched.share, matched.share_by_chance, matched.as_many_by_chance) == (1.0, 1.0, 1.0)
    assert not matched.more_than_chance


def test_a_diary_at_random_is_seldom_more_than_chance(history, event_at):
    rng = np.random.default_rng(5)
    found = []
    for _ in range(60):
        events = spread_events(event_at, sorted(rng.choice(28_000, 12, replace=False).tolist()))
        found.append(match_diary(diary_at(history, *rng.uniform(0, 28_800, 10)), events, history))
    assert np.mean([match.more_than_chance for match in found]) <= 0.1
    assert np.mean([match.share - match.share_by_chance for match in found]) == pytest.approx(0, abs=0.05)


def test_moved_entries_do_not_fall_into_time_without_sound(history, event_at):
    mask = np.zeros(TICKS, dtype=bool)
    mask[TICKS // 2 :] = True
    events = spread_events(event_at, range(0, 14400, 300))
    matched = match_diary(diary_at(history, 1200), events, history.without(mask))
    assert matched.share_by_chance == 1.0


def test_a_diary_of_other_nights_has_no_share(history, event_at):
    matched = match_diary(diary_at(history, -5), spread_events(event_at, [260]), history)
    assert np.isnan([matched.share, matched.share_by_chance, matched.as_many_by_chance]).all()
    assert not matched.more_than_chance
    assert plain_value(matched)["share"] is None


def test_without_events_nothing_matches_and_nothing_would(history):
    matched = match_diary(diary_at(history, 1200, 5000), (), history)
    assert (matched.matched, matched.share, matched.share_by_chance) == (0, 0.0, 0.0)
    assert matched.as_many_by_chance == 1.0


@pytest.mark.parametrize("tolerance_s", [-1.0, 1801.0, float("nan")])
def test_tolerances_that_match_nothing_or_everything_are_refused(history, tolerance_s):
    with pytest.raises(SettingsError, match="between 0 and 30 min"):
        match_diary(diary_at(history, 1200), (), history, tolerance_s)


def test_an_event_at_the_very_beginning_counts_by_chance_too(history, event_at):
    matched = match_diary(diary_at(history, 5), spread_events(event_at, [10]), history)
    assert matched.share_by_chance == pytest.approx(320 / 28800, abs=0.002)
