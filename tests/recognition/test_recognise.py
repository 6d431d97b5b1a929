"""A night recognised as a whole: groups, labels, own sounds and what is kept for later nights."""

from datetime import timedelta

import pytest

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.plain import document_text, plain_value
from sleepnoise.recognition.features import listening_span
from sleepnoise.recognition.groups import group_events
from sleepnoise.recognition.labels import GroupLabel, Labels
from sleepnoise.recognition.own_sounds import own_ticks
from sleepnoise.recognition.recognise import recognise

RATE_HZ = 16_000


def labels_of(*groups):
    return Labels(
        file="labels.csv",
        spans=(),
        groups=tuple(
            GroupLabel(group=name, label=label, whose=whose, line=line)
            for line, (name, label, whose) in enumerate(groups, start=2)
        ),
        other_nights=0,
        remarks=(),
    )


@pytest.fixture(scope="module")
def listen(night):
    def heard(event):
        start, seconds = listening_span(event)
        first = max(0, round((start - night.block.start).total_seconds() * RATE_HZ))
        return PressureBlock(
            pressure_pa=night.block.pressure_pa[first : first + round(seconds * RATE_HZ)],
            sample_rate_hz=RATE_HZ,
            start=night.block.start + timedelta(seconds=first / RATE_HZ),
        )

    return heard


def test_events_come_back_with_the_names_of_their_groups(night, listen):
    found = recognise(night.history, night.events, listen=listen)
    assert found.grouped == group_events(night.events, night.features)
    assert found.grouped.listened
    assert [event.number for event in found.events] == [event.number for event in night.events]
    by_kind = {}
    for event, kind in zip(found.events, night.kinds, strict=True):
        by_kind.setdefault(kind, set()).add(event.group)
    assert len(by_kind["beep"] & by_kind["slam"]) == 0
    assert by_kind["squeak"] == {"short high sound 1"}
    assert by_kind["sweep"] == {""}


def test_without_the_sound_levels_alone_are_compared(night):
    found = recognise(night.history, night.events)
    assert not found.grouped.listened
    assert len(found.grouped.groups) >= 4


def test_a_group_that_is_the_sleepers_own_does_not_count(night, listen):
    name = recognise(night.history, night.events, listen=listen).grouped.groups[0].sound.name
    found = recognise(
        night.history, night.events, listen=listen, labels=labels_of((name, "snore", "sleeper"))
    )
    own = own_ticks(found.said, found.events, night.history)
    flagged = {event.number for event in found.events if "sleeper: not counted" in event.flags}
    assert flagged == set(found.grouped.groups[0].events)
    assert all(
        own[event.first_tick : event.last_tick].all() == (event.number in flagged) for event in found.events
    )


def test_labels_of_known_sounds_hold_in_later_nights(night, next_night):
    first = recognise(night.history, night.events)
    name = first.grouped.groups[0].sound.name
    labelled = recognise(night.history, night.events, labels=labels_of((name, "tram", "outside")))
    later = recognise(next_night.history, next_night.events, known=labelled.known)
    assert "tram" in {event.label for event in later.events}


def test_a_known_sound_that_was_not_heard_can_be_labelled(night):
    known = recognise(night.history, night.events).known
    quiet = recognise(
        night.history, night.events[:1], labels=labels_of((known[-1].name, "pump", "room")), known=known
    )
    assert quiet.known[-1].label == "pump"
    assert quiet.known[-1].nights == 1


def test_a_group_that_nobody_knows_is_named_with_its_line(night):
    with pytest.raises(RecordingError, match=r"labels\.csv, line 2: there is no group 'short low sound 99'"):
        recognise(night.history, night.events, labels=labels_of(("short low sound 99", "door", "")))


def test_a_recognised_night_is_written_as_plain_values(night):
    found = recognise(night.history, night.events)
    assert document_text({"found": plain_value(found)}) == document_text(
        {"found": plain_value(recognise(night.history, night.events))}
    )
