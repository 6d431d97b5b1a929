"""Own sounds: left out of the second set of figures only, whole events with them, reasons kept."""

from datetime import timedelta

import numpy as np
import pytest

from sleepnoise.recognition.features import SoundFeatures
from sleepnoise.recognition.groups import GroupedEvents, KnownSound, RecurringSound
from sleepnoise.recognition.labels import Labels, SpanLabel
from sleepnoise.recognition.own_sounds import own_ticks, said_spans, with_and_without, with_labels

NOBODY = GroupedEvents(groups=(), singles=(), listened=False)


@pytest.fixture
def night(history_of, event_at):
    """Ten minutes of 30 dB with a cough of 60 dB, a door of 50 dB and a longer sound of 45 dB."""
    laf = np.full(4800, 30.0)
    laf[800:816], laf[1600:1608], laf[2400:2480] = 60.0, 50.0, 45.0
    events = (event_at(1, 800, 816, 60.0), event_at(2, 1600, 1608, 50.0), event_at(3, 2400, 2480, 45.0))
    return history_of(laf), events


def labels_of(history, *spans):
    """Labels from ticks: first, last, label, whose."""
    return Labels(
        file="night.csv",
        spans=tuple(
            SpanLabel(
                start=history.time_of(first), end=history.time_of(last), label=said, whose=whose, line=line
            )
            for line, (first, last, said, whose) in enumerate(spans, start=2)
        ),
        groups=(), other_nights=0, remarks=(),
    )  # fmt: skip


def group_of(events, label, whose):
    sound = KnownSound(
        name="short low sound 1", label=label, whose=whose, events=len(events), nights=1,
        features=SoundFeatures(levels=(0.0,) * 16),
    )  # fmt: skip
    group = RecurringSound(
        sound=sound, known_before=False, events=tuple(event.number for event in events),
        times=tuple(event.start for event in events), typical=events[0].number, width=1.0,
    )  # fmt: skip
    return GroupedEvents(groups=(group,), singles=(), listened=False)


def test_figures_are_given_with_own_sounds_and_without_and_the_reason_is_kept(night):
    history, events = night
    said = said_spans(labels_of(history, (796, 820, "cough", "sleeper")), NOBODY, events, history)
    both = with_and_without(history, own_ticks(said, events, history), said)
    assert both.everything.lafmax == 60.0
    assert both.others_only.lafmax == 50.0
    assert (both.own_s, both.others_only.left_out_s, both.everything.left_out_s) == (3.0, 3.0, 0.0)
    assert [(reason.label, reason.whose, reason.said_by, reason.events) for reason in both.reasons] == [
        ("cough", "sleeper", "night.csv, line 2", (1,))
    ]


def test_without_own_sounds_both_sets_of_figures_are_the_same(night):
    history, events = night
    both = with_and_without(history, own_ticks((), events, history), ())
    assert both.everything == both.others_only
    assert both.reasons == ()


@pytest.mark.parametrize(("first", "whole"), [(2440, True), (2441, False)])
def test_an_event_mostly_within_a_label_is_left_out_as_a_whole(night, first, whole):
    history, events = night
    said = said_spans(labels_of(history, (first, 2600, "turning", "sleeper")), NOBODY, events, history)
    own = own_ticks(said, events, history)
    assert said[0].events == ((3,) if whole else ())
    assert own[2400] == whole
    assert own[2441:2600].all()
    assert not own[2600:].any()


@pytest.mark.parametrize("whose", ["", "outside"])
def test_what_is_not_said_to_be_own_counts(night, whose):
    history, events = night
    said = said_spans(labels_of(history, (796, 820, "thump", whose)), NOBODY, events, history)
    assert not own_ticks(said, events, history).any()


def test_what_is_said_to_come_from_outside_counts_within_an_own_stretch(night):
    history, events = night
    labels = labels_of(history, (0, 4800, "snoring", "sleeper"), (1600, 1605, "door", "outside"))
    own = own_ticks(said_spans(labels, NOBODY, events, history), events, history)
    assert not own[1600:1608].any()
    assert own.sum() == 4800 - 8


def test_a_label_given_to_a_group_leaves_out_all_its_events(night):
    history, events = night
    said = said_spans(None, group_of(events[:2], "snoring", "sleeper"), events, history)
    own = own_ticks(said, events, history)
    assert own.sum() == 24
    assert {(span.said_by, span.events) for span in said} == {
        ("short low sound 1", (1,)), ("short low sound 1", (2,)),
    }  # fmt: skip


def test_what_was_left_out_before_is_not_counted_as_own(night):
    history, events = night
    mask = np.zeros(history.ticks, dtype=bool)
    mask[796:808] = True
    history = history.without(mask)
    said = said_spans(labels_of(history, (796, 820, "cough", "sleeper")), NOBODY, events, history)
    both = with_and_without(history, own_ticks(said, events, history), said)
    assert (both.own_s, both.everything.left_out_s, both.others_only.left_out_s) == (1.5, 1.5, 3.0)


def test_reasons_of_a_part_of_the_night_are_those_that_touch_it(night):
    history, events = night
    labels = labels_of(
        history, (0, 80, "turning", "sleeper"), (796, 820, "cough", "sleeper"), (900, 910, "thump", "outside")
    )
    said = said_spans(labels, NOBODY, events, history)
    own = own_ticks(said, events, history)
    part = with_and_without(history.between(80, 1000), own[80:1000], said)
    assert [reason.label for reason in part.reasons] == ["cough"]


def test_labels_that_reach_beyond_the_recording_end_with_it(night):
    history, events = night
    labels = labels_of(history, (0, 80, "turning", "sleeper"))
    early = SpanLabel(
        start=history.start - timedelta(hours=1), end=history.end + timedelta(hours=1),
        label="clock", whose="room", line=9,
    )  # fmt: skip
    labels = Labels(file="a.csv", spans=(*labels.spans, early), groups=(), other_nights=0, remarks=())
    clock = next(span for span in said_spans(labels, NOBODY, events, history) if span.label == "clock")
    assert (clock.start, clock.end) == (history.start, history.end)


def test_events_get_their_label_and_own_ones_a_flag(night):
    history, events = night
    labels = labels_of(history, (0, 1000, "snoring", "sleeper"), (796, 820, "cough", "sleeper"))
    said = said_spans(labels, group_of(events, "bumps", "outside"), events, history)
    told = with_labels(events, said, own_ticks(said, events, history))
    assert [event.label for event in told] == ["cough", "bumps", "bumps"]
    only_time = said_spans(labels, NOBODY, events, history)
    told = with_labels(events, only_time, own_ticks(only_time, events, history))
    assert [event.flags for event in told] == [("sleeper: not counted",), (), ()]


def test_an_event_that_is_only_partly_own_gets_no_flag(night):
    history, events = night
    said = said_spans(labels_of(history, (2450, 2600, "turning", "sleeper")), NOBODY, events, history)
    told = with_labels(events, said, own_ticks(said, events, history))
    assert (told[2].label, told[2].flags) == ("", ())
    inside = labels_of(history, (2400, 2480, "van", "outside"), (2380, 2410, "turning", "sleeper"))
    said = said_spans(inside, NOBODY, events, history)
    own = own_ticks(said, events, history)
    own[2400:2410] = True
    assert with_labels(events, said, own)[2].flags == ()
