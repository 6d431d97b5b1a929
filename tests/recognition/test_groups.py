"""Recurring sounds: invented sounds whose kinds are known come out in their groups."""

from dataclasses import replace

import numpy as np
import pytest
from sklearn.metrics import adjusted_rand_score

from sleepnoise.evidence.plain import plain_value
from sleepnoise.recognition.features import LEVEL_SPREAD, SoundFeatures
from sleepnoise.recognition.groups import group_events, known_after, labelled, with_groups


def by_levels_alone(night):
    return [SoundFeatures(levels=each.levels) for each in night.features]


def agreement(night, grouped):
    """Adjusted Rand index; every single event is a group of its own."""
    place = {number: k for k, group in enumerate(grouped.groups) for number in group.events}
    found = [place.get(event.number, 1000 + event.number) for event in night.events]
    return adjusted_rand_score(night.kinds, found)


@pytest.mark.parametrize(
    ("features_of", "least"), [(lambda night: night.features, 0.95), (by_levels_alone, 0.9)]
)
def test_sounds_of_one_kind_come_into_one_group(night, next_night, features_of, least):
    nights = night, next_night
    assert (
        np.mean([agreement(each, group_events(each.events, features_of(each))) for each in nights]) >= least
    )


def test_unlike_sounds_stay_single(night):
    places = [night.kinds.index(kind) for kind in dict.fromkeys(night.kinds)]
    grouped = group_events([night.events[k] for k in places], [night.features[k] for k in places])
    assert grouped.groups == ()
    assert grouped.singles == tuple(sorted(night.events[k].number for k in places))


def test_a_night_with_one_kind_of_sound_has_one_group(night):
    places = [k for k, kind in enumerate(night.kinds) if kind == "slam"]
    grouped = group_events([night.events[k] for k in places], [night.features[k] for k in places])
    assert [len(group.events) for group in grouped.groups] == [len(places)]


def test_groups_do_not_depend_on_the_order_of_events(night):
    order = np.random.default_rng(1).permutation(len(night.events))
    mixed = group_events([night.events[k] for k in order], [night.features[k] for k in order])
    straight = group_events(night.events, night.features)
    assert {frozenset(group.events) for group in mixed.groups} == {
        frozenset(group.events) for group in straight.groups
    }


def test_a_night_without_events_has_no_groups():
    grouped = group_events([], [])
    assert (grouped.groups, grouped.singles) == ((), ())


def test_groups_carry_names_count_times_and_a_typical_member(night):
    grouped = group_events(night.events, night.features)
    van = next(group for group in grouped.groups if night.kinds[group.events[0] - 1] == "van")
    assert van.sound.name == "passing low sound 1"
    assert (van.sound.events, van.sound.nights, van.known_before) == (len(van.events), 1, False)
    assert list(van.events) == [event.number for event in night.events if event.start in van.times]
    assert van.typical in van.events
    assert 0.1 < van.width < 1.5


def test_names_are_unique_and_count_on(night):
    grouped = group_events(night.events, night.features)
    names = [group.sound.name for group in grouped.groups]
    assert len(set(names)) == len(names)
    slam = next(group for group in grouped.groups if night.kinds[group.events[0] - 1] == "slam")
    strange = replace(
        slam.sound, features=SoundFeatures(levels=(99.0,) * 16, audio=(99.0,) * 24)
    )  # the name is taken, the sound is another one
    again = group_events(night.events, night.features, [strange])
    number = int(slam.sound.name.removeprefix("short middle sound "))
    assert slam.sound.name not in [group.sound.name for group in again.groups]
    now = next(group for group in again.groups if group.events == slam.events)
    assert int(now.sound.name.removeprefix("short middle sound ")) > number


def test_sounds_of_the_night_before_are_known_again_by_name_and_label(night, next_night):
    first = group_events(night.events, night.features)
    kind_of = {group.sound.name: night.kinds[group.events[0] - 1] for group in first.groups}
    said = {name: (kind, "outside") for name, kind in kind_of.items()}
    known = known_after((), labelled(first, said))
    second = group_events(next_night.events, next_night.features, known)
    right = [
        next_night.kinds[number - 1] == group.sound.label
        for group in second.groups
        if group.known_before
        for number in group.events
    ]
    assert all(right)
    assert len(right) >= 0.8 * sum(kind in kind_of.values() for kind in next_night.kinds)
    assert all(group.sound.nights == 2 for group in second.groups if group.known_before)


def test_a_single_event_that_is_a_known_sound_is_known_again(night, next_night):
    known = known_after((), group_events(night.events, night.features))
    alone = next_night.kinds.index("beep")
    grouped = group_events([next_night.events[alone]], [next_night.features[alone]], known)
    assert [group.known_before for group in grouped.groups] == [True]
    assert grouped.groups[0].sound.events == 6


def test_known_sounds_move_towards_what_they_were_in_later_nights(night):
    one = group_events(night.events, night.features)
    moved = SoundFeatures(
        levels=tuple(np.array(one.groups[0].sound.features.levels) + 0.01),
        audio=one.groups[0].sound.features.audio,
    )
    before = replace(one.groups[0].sound, events=15, features=moved)
    again = group_events(night.events, night.features, [before])
    now = next(group for group in again.groups if group.known_before)
    count = len(now.events)
    expected = 0.01 * 15 / (15 + count)
    went = np.array(now.sound.features.levels) - np.array(one.groups[0].sound.features.levels)
    assert went == pytest.approx(expected, abs=1e-9)


def test_one_label_given_to_a_group_labels_all_its_events(night):
    grouped = group_events(night.events, night.features)
    group = grouped.groups[0]
    told = with_groups(night.events, labelled(grouped, {group.sound.name: ("bread crates", "outside")}))
    assert {event.number for event in told if event.label == "bread crates"} == set(group.events)
    assert all(event.group == group.sound.name for event in told if event.number in group.events)


def test_what_is_known_after_a_night_keeps_sounds_that_were_not_heard(night):
    grouped = group_events(night.events, night.features)
    old = replace(grouped.groups[0].sound, name="long low sound 7")
    kept = known_after([old], grouped)
    assert kept[0] == old
    assert [each.name for each in kept[1:]] == [group.sound.name for group in grouped.groups]


def test_grouped_events_are_plain_values(night):
    plain = plain_value(group_events(night.events, night.features))
    assert plain["groups"][0]["sound"]["features"]["levels"][0] == pytest.approx(
        group_events(night.events, night.features).groups[0].sound.features.levels[0]
    )


def grouped_on_a_line(event_at, *places):
    """Group sounds that lie on a line, so far from each other as their places tell."""
    events = [event_at(k, 800 * k, 800 * k + 8) for k in range(1, len(places) + 1)]
    features = [SoundFeatures(levels=tuple(spread * at for spread in LEVEL_SPREAD)) for at in places]
    return [group.events for group in group_events(events, features).groups]


def test_two_sounds_that_lie_further_apart_than_one_sound_varies_are_two_groups(event_at):
    assert grouped_on_a_line(event_at, 0, 0.1, 0.2, 0.3, 3.2, 3.3, 3.4, 3.5) == [(1, 2, 3, 4), (5, 6, 7, 8)]


def test_an_event_far_from_a_narrow_group_is_not_in_it(event_at):
    near = [0.01 * k for k in range(8)]
    assert grouped_on_a_line(event_at, *near, 2.9) == [tuple(range(1, 9))]
    assert grouped_on_a_line(event_at, *near, 1.5) == [tuple(range(1, 10))]


def test_how_wide_three_sounds_are_is_not_judged_by_a_centre_that_they_make_themselves(event_at):
    # Standard deviations 1.45 and 1.35; root mean squares from their own middle would be 1.18 and 1.10.
    assert grouped_on_a_line(event_at, 0, 1.45, 2.9, 10, 25, 45) == []
    assert grouped_on_a_line(event_at, 0, 1.35, 2.7, 10, 25, 45) == [(1, 2, 3)]


def test_the_largest_groups_that_are_narrow_enough_are_kept_whole(event_at):
    places = [*np.linspace(0, 3.9, 8), *np.linspace(30, 33.9, 8)]
    assert grouped_on_a_line(event_at, *places) == [tuple(range(1, 9)), tuple(range(9, 17))]
