"""Recurring sounds, own sounds, suggestions and diaries in words."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.recognition.diary import DiaryEntry
from sleepnoise.recognition.diary_match import DiaryMatch, EntryMatch
from sleepnoise.recognition.features import SoundFeatures
from sleepnoise.recognition.groups import GroupedEvents, KnownSound, RecurringSound
from sleepnoise.recognition.own_sounds import SaidSpan, WithAndWithout, with_and_without
from sleepnoise.recognition.suggestions import Suggestion
from sleepnoise.wording import groups_words as words

ZONE = ZoneInfo("Europe/Vienna")
START = datetime(2026, 1, 14, 22, 10, tzinfo=UTC)


@pytest.fixture
def grouped(record: NightRecord) -> GroupedEvents:
    first, second, third = record.assessment.events
    sound = KnownSound(
        name="short low sound 1", label="<b>door</b>", whose="outside", events=6, nights=3,
        features=SoundFeatures(levels=(0.0,) * 16),
    )  # fmt: skip
    group = RecurringSound(
        sound=sound, known_before=True, events=(first.number, second.number),
        times=(first.start, second.start), typical=second.number, width=0.8,
    )  # fmt: skip
    return GroupedEvents(groups=(group,), singles=(third.number,), listened=False)


@pytest.fixture
def both(record: NightRecord) -> WithAndWithout:
    own = np.zeros(record.history.ticks, dtype=bool)
    own[8 * 2400 : 8 * 2403] = True
    start = record.history.time_of(8 * 2400)
    said = SaidSpan(
        start=start, end=start + timedelta(seconds=3), label="cough", whose="sleeper",
        said_by="labels.csv, line 2", events=(2,),
    )  # fmt: skip
    return with_and_without(record.history, own, [said])


def diary(matched: int, by_chance: float, as_many: float) -> DiaryMatch:
    entries = [DiaryEntry(line=k + 2, time=START + timedelta(hours=k), words=f"noise {k}") for k in range(4)]
    matches = [
        EntryMatch(
            entry=entry,
            event=k + 1 if k < matched else None,
            apart_s=(0.0, 90.0, -30.0)[k] if k < matched else float("nan"),
        )
        for k, entry in enumerate(entries[:3])
    ]
    return DiaryMatch(
        file="diary.csv", tolerance_s=300.0, matches=tuple(matches), not_recorded=(entries[3],),
        matched=matched, share=matched / 3, share_by_chance=by_chance, as_many_by_chance=as_many,
    )  # fmt: skip


def test_a_group_is_one_row_with_its_typical_event(record: NightRecord, grouped: GroupedEvents) -> None:
    table = words.group_table("Recurring", grouped, record.assessment.events, ZONE)
    (row,) = table.rows
    assert len(row) == len(table.columns)
    second = record.assessment.events[1]
    assert row[:4] == ("short low sound 1", "<b>door</b>", "from outside", "2")
    assert row[6:] == ("25 min", str(second.number), f"{second.lafmax:.1f}", "2 nights")


def test_groups_in_short_say_how_they_were_told_and_that_they_prove_nothing(grouped: GroupedEvents) -> None:
    count, told = words.group_sentences(grouped)
    assert count == "Of 3 events, 2 belong to 1 recurring sound; 1 are like no other."
    assert "by their levels" in told
    assert "not proof of one source" in told
    assert "the sound itself" in words.group_sentences(replace(grouped, listened=True))[1]
    alone = replace(grouped, groups=())
    assert words.group_sentences(alone) == ("No sound that stood out was like another.",)
    assert words.group_sentences(replace(alone, singles=())) == ()


def test_figures_stand_side_by_side_with_own_sounds_and_without(both: WithAndWithout) -> None:
    table = words.own_table("Own sounds", both)
    assert [row[0] for row in table.rows] == ["LAeq", "LAFmax", "LA10", "LA50", "LA90"]
    loudest = dict((row[0], row[1:]) for row in table.rows)["LAFmax"]
    assert float(loudest[0]) > float(loudest[1])


def test_reasons_say_what_whose_and_where_it_is_written(both: WithAndWithout) -> None:
    (row,) = words.reason_table("Reasons", both.reasons, ZONE).rows
    assert row[1:] == ("3.0 s", "cough", "the sleeper's own", "labels.csv, line 2", "2")


def test_own_sounds_in_short_give_both_levels(both: WithAndWithout) -> None:
    first, second = words.own_sentences(both)
    assert first.startswith("3.0 s (0 % of what was recorded) are said to be the sleeper's or the room's own")
    assert "dB with it" in first
    assert "left out with it" in second
    assert "all sounds count" in words.own_sentences(replace(both, reasons=()))[0]


def test_a_suggestion_says_that_it_leaves_nothing_out() -> None:
    found = Suggestion(
        kind="snoring", start=START, end=START + timedelta(minutes=5), period_s=4.04, strength=0.4,
        because="A low sound comes and goes.",
    )  # fmt: skip
    (sentence,) = words.suggestion_sentences([found], ZONE)
    assert sentence == (
        "Suggestion, nothing was left out for it: from 23:10 to 23:15 perhaps snoring, every 4.0 s. "
        "A low sound comes and goes. If it is so, give it a label."
    )


def test_a_diary_lists_every_entry_also_those_without_an_event() -> None:
    table = words.diary_table("Diary", diary(2, 0.2, 0.01), ZONE)
    assert [row[3:] for row in table.rows] == [("1", "under way"), ("2", "1 min 30 s later"), ("none", "–")]
    assert words.diary_table("Diary", diary(3, 0.2, 0.01), ZONE).rows[2][4] == "30.0 s earlier"


def test_a_share_of_a_diary_stands_beside_what_chance_gives() -> None:
    count, worth, aside = words.diary_sentences(diary(3, 0.2, 0.012))
    assert count == "3 of 3 entries (100 %) have an event within 5 min; by chance 20 % would."
    assert worth == "So many would match at 1.2 % of other times of the night."
    assert aside == "1 entry of other times was set aside."


def test_a_share_that_chance_gives_too_cannot_tell() -> None:
    assert "cannot tell" in words.diary_sentences(diary(3, 0.9, 0.8))[1]


def test_a_diary_of_other_nights_says_so() -> None:
    empty = replace(diary(0, 0.0, 1.0), matches=(), share=float("nan"))
    assert words.diary_sentences(empty)[0] == "No entry of the diary was made while it was recorded."
