"""Awakenings in words: intervals to one digit, kinds and curves by name, cautions that belong to them."""

import re
from types import SimpleNamespace

import pytest

from sleepnoise.judgement.disturbance import CURVES, Counted, Disturbance, Estimate
from sleepnoise.wording.disturbance_words import (
    CAUTIONS,
    count_table,
    disturbance_sentences,
    disturbance_sources,
    estimate_table,
    number_range_text,
    odds_sentence,
    share_range_text,
)


def estimate(curve, expected=(0.12, 0.2315, 0.38), share=(0.1, 0.2, 0.32), beyond=0):
    return Estimate(curve=curve, expected=expected, at_least_one=share, beyond=beyond)


AIRCRAFT = [curve for curve in CURVES if curve.kind == "aircraft"]
FOUND = Disturbance(
    events={"aircraft": 10},
    estimates=(estimate(AIRCRAFT[0]), estimate(AIRCRAFT[1], (0.05, 0.1, 0.3), (0.04, 0.1, 0.2), 3)),
    counted=(Counted(above_db=45.0, traffic=10, other=2, unsaid=1),),
    expanded_uncertainty_db=2.4,
)


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.0, 0.0, "less than 0.1"),
        (0.0, 0.0999, "less than 0.1"),
        (0.0, 0.1, "up to 0.1"),
        (0.0999, 0.11, "up to 0.2"),
        (0.1, 0.1, "0.1 to 0.1"),
        (0.29, 0.31, "0.2 to 0.4"),
        (0.3, 0.6, "0.3 to 0.6"),
        (0.96, 0.97, "0.9 to 1"),
        (1.0, 3.0, "1 to 3"),
        (9.5, 12.0, "9 to 20"),
    ],
)
def test_numbers_are_rounded_outwards_to_one_digit(low, high, text):
    assert number_range_text(low, high) == text


def test_shares_are_whole_percents():
    assert share_range_text(0.104, 0.347) == "10 to 40 %"
    assert share_range_text(0.004, 0.06) == "up to 6 %"


def test_a_sentence_names_the_outcome_all_curves_and_the_doubt():
    [sentence] = disturbance_sentences(FOUND)
    assert sentence == (
        "10 aircraft events: up to 0.4 additional awakenings in the electroencephalogram a night on average, "
        "and 4 to 40 % of nights with one or more (Basner 2006 and Basner and McGuire 2018, unverified). "
        "Aircraft events −10.0 dB at the pillow: odds that one wakes 26 % lower (95 % interval 18 to 33 % "
        "lower)."
    )


def test_one_event_is_one_event():
    one = SimpleNamespace(counted=FOUND.counted, events={"aircraft": 1}, estimates=FOUND.estimates)
    assert disturbance_sentences(one)[0].startswith("1 aircraft event: ")


def test_what_cannot_be_said_is_said():
    bare = {"estimates": (), "expanded_uncertainty_db": 2.4}
    assert (
        "No event was said to be traffic"
        in disturbance_sentences(Disturbance(events={}, counted=FOUND.counted, **bare))[0]
    )
    assert "calibrated" in disturbance_sentences(Disturbance(events={"road": 1}, counted=(), **bare))[0]
    assert disturbance_sources(Disturbance(events={}, counted=FOUND.counted, **bare)) == ()


@pytest.mark.parametrize(
    ("change_db", "said"),
    [(-10.0, "−10.0 dB at the pillow: odds that one wakes 26 % lower (95 % interval 16 to 35 % lower)"),
     (10.0, "+10.0 dB at the pillow: odds that one wakes 36 % higher (95 % interval 19 to 55 % higher)"),
     (-20.0, "46 % lower")],
)  # fmt: skip
def test_odds_are_told_as_a_change_with_its_interval(change_db, said):
    assert said in odds_sentence("road", change_db)


def test_tables_hold_every_estimate_and_count():
    estimates, counts = estimate_table(FOUND), count_table(FOUND)
    assert estimates.rows == (
        ("aircraft", "Basner 2006", "0.1 to 0.4", "10 to 40 %", "unverified"),
        (
            "aircraft", "Basner and McGuire 2018", "up to 0.3", "4 to 20 %",
            "unverified; 3 louder than the curve's range",
        ),
    )  # fmt: skip
    assert counts.rows == (("45", "10", "2", "1"),)
    for table in (estimates, counts):
        assert {len(row) for row in table.rows} == {len(table.columns)}


def test_no_text_gives_two_decimals():
    texts = [*disturbance_sentences(FOUND), *(cell for row in estimate_table(FOUND).rows for cell in row)]
    assert not any(re.search(r"\d\.\d\d", text) for text in texts)


def test_sources_are_named_once_each_with_how_they_are_known():
    first, second, third = disturbance_sources(FOUND)
    assert "119(5)" in first
    assert "(memory)" in first
    assert "(memory)" in second
    assert "(looked-up)" in third


def test_the_cautions_name_who_and_what_the_curves_are_not_for():
    text = " ".join(CAUTIONS)
    for word in (
        "averages over groups",
        "music, voices, bangs or dogs",
        "medical",
        "LASmax",
        "33 dB",
        "button",
    ):
        assert word in text
