"""Audibility, loudness and talk in words: every answer, the open one included."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sleepnoise.hearing.speech import SpeechPrivacy
from sleepnoise.hearing.two_models import Opinion, second_opinions
from sleepnoise.planning.first_plan import heard_events
from sleepnoise.wording.hearing_words import (
    opinion_sentences,
    opinion_table,
    privacy_sentence,
    sone_text,
)

ZONE = ZoneInfo("Europe/Vienna")


def opinion(margin, excess, partial=1.0):
    return Opinion(place=0, margin_db=margin, excess_db=excess, partial_sone=partial, alone_sone=2.0)


def privacy(sii, margin, ratio=-18.0):
    return SpeechPrivacy(sii=sii, peak_margin_db=margin, uniform_snr_db=ratio)


def test_the_worst_events_of_a_night_stand_in_a_table_with_both_models(record):
    events = record.assessment.events
    opinions = second_opinions(*heard_events(events))
    table = opinion_table("Second opinion", events, opinions, ZONE)
    assert len(table.rows) == len(events)
    assert all(len(row) == len(table.columns) for row in table.rows)
    assert table.rows[0][0] == str(events[opinions[0].place].number)
    assert table.rows[0][-1] == "yes"
    worst = events[opinions[0].place]
    assert table.rows[0][1] == f"{worst.start.astimezone(ZONE):%H:%M:%S}"


def test_sentences_count_verdicts_and_print_how_far_the_models_agree():
    said = list(opinion_sentences([opinion(5.0, 3.0), opinion(-2.0, -1.0), opinion(1.0, -3.5)]))
    assert said == [
        "Of the 3 worst events both models call 1 heard and 1 not heard; about 1 they disagree, "
        "so it cannot be told.",
        "Band model less inner ear: −1.0 to +4.5 dB; where positive, the band model is stricter.",
    ]
    assert list(opinion_sentences([])) == ["There is no event to judge."]
    assert len(list(opinion_sentences([opinion(-np.inf, -np.inf)]))) == 1


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (privacy(0.12, 8.0), "The talk can be understood, at least in part (index 0.12, limit 0.05)."),
        (
            privacy(0.03, 2.0),
            "The talk is not understood (index 0.03, limit 0.05), but heard: its peaks lie +2.0 dB from the "
            "limit of hearing.",
        ),
        (
            privacy(0.0, -4.0),
            "The talk is not understood (index 0.00, limit 0.05), and not heard: its peaks lie −4.0 dB from "
            "the limit of hearing.",
        ),
        (
            privacy(np.nan, -4.0),
            "Not every band of the talk is known, so it cannot be told whether it is understood.",
        ),
    ],
)
def test_talk_is_answered_in_a_sentence(found, said):
    assert privacy_sentence(found) == said


def test_loudness_has_two_digits_that_count():
    assert [sone_text(x) for x in (np.nan, 0.0, 0.456, 0.996, 9.94, 9.96)] == [
        "not known", "0.00", "0.46", "1.0", "9.9", "10",
    ]  # fmt: skip


def test_models_that_agree_about_everything_leave_nothing_open():
    assert next(opinion_sentences([opinion(5.0, 3.0), opinion(-2.0, -1.0)])) == (
        "Of the 2 worst events both models call 1 heard and 1 not heard; they agree about all."
    )
