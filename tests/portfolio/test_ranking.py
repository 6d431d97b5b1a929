import json
import math

import pytest

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.portfolio.ranking import rank, read_plans


def night(room, name, recorded_s=28_800.0):
    return {"bedroom": room, "night": name, "recorded_s": recorded_s, "left_out_s": 0.0, "window_s": 28_800.0}


def verdict(room, name, margin_db, uncertainty_db=2.0, *, quantity="lafmax", verified=True):
    word = "cannot tell"
    if margin_db is not None and abs(margin_db) > uncertainty_db:
        word = "exceeded" if margin_db > 0 else "kept"
    return {
        "bedroom": room, "night": name, "criterion": "value", "guideline": "Invented", "title": "A value",
        "quantity": quantity, "word": word, "verified": verified, "margin_dB": margin_db,
        "uncertainty_dB": uncertainty_db,
    }  # fmt: skip


def ranked(margins, **said):
    rooms = [(room, f"n{place}", each) for room, row in margins.items() for place, each in enumerate(row)]
    nights = [night(room, name) for room, name, _ in rooms]
    return rank(nights, [verdict(room, name, each, **said) for room, name, each in rooms], "value")


def test_bedrooms_stand_by_their_mean_margin_and_the_unknown_last():
    found = ranked({"a": [1.0, 1.0], "b": [9.0, 9.0], "c": [None, None], "d": [-8.0, -8.0]})
    assert [(room.bedroom, room.standing) for room in found.bedrooms] == [
        ("b", "exceeded"), ("a", "cannot tell"), ("d", "kept"), ("c", "cannot tell"),
    ]  # fmt: skip


def test_uncertainty_joins_what_nights_share_with_how_far_they_differ():
    # Mean 4, s = 2, n = 3: t(0.975, 2) = 4.303 (tables of Student's t, from memory) and
    # 4.303 x 2 / sqrt(3) = 4.968; with the shared 2 dB the root of the sum of squares is 5.356.
    room = ranked({"a": [2.0, 4.0, 6.0]}).bedrooms[0]
    assert room.margin_db == pytest.approx(4.0)
    assert room.uncertainty_db == pytest.approx(5.356, abs=0.001)
    assert room.standing == "cannot tell"


def test_laeq_is_averaged_as_energy():
    room = ranked({"a": [0.0, 10.0]}, quantity="laeq").bedrooms[0]
    assert room.margin_db == pytest.approx(10 * math.log10((1 + 10) / 2))


def test_one_night_alone_gives_no_standing():
    room = ranked({"a": [20.0]}).bedrooms[0]
    assert room.standing == "cannot tell"
    assert math.isnan(room.uncertainty_db)
    assert (room.exceeded, room.counted) == (1, 1)


def test_a_night_of_which_too_much_is_missing_does_not_count():
    nights = [night("a", "whole"), night("a", "half", 14_400.0), night("a", "other")]
    lines = [verdict("a", "whole", 6.0), verdict("a", "half", -30.0), verdict("a", "other", 6.0)]
    room = rank(nights, lines, "value").bedrooms[0]
    assert (room.counted, room.nights, room.margin_db) == (2, 3, 6.0)


def test_bedrooms_that_cannot_be_told_apart_are_marked():
    found = ranked({"a": [9.0, 9.0], "b": [8.0, 8.0], "c": [-9.0, -9.0]})
    assert [room.as_next for room in found.bedrooms] == [True, False, False]


@pytest.mark.parametrize(("word", "standing"), [("cannot tell", "cannot tell"), ("shown only", "shown only")])
def test_bedrooms_together_say_no_more_than_one_of_their_nights(word, standing):
    nights = [night("a", name) for name in ("n", "m")]
    for margin_db in (20.0, -20.0):
        lines = [verdict("a", name, margin_db) | {"word": word} for name in ("n", "m")]
        assert rank(nights, lines, "value").bedrooms[0].standing == standing


def test_an_unverified_value_is_shown_only():
    assert {room.standing for room in ranked({"a": [9.0, 9.0]}, verified=False).bedrooms} == {"shown only"}


def test_an_unknown_value_is_refused_with_those_that_are_known():
    with pytest.raises(SettingsError) as caught:
        rank([night("a", "n")], [verdict("a", "n", 1.0)], "other")
    assert "value" in caught.value.remedy


# Gain per money.


def plan(events, audible, money, currency="EUR"):
    return {
        "schema": {"name": "sleepnoise/plan", "version": 1},
        "currency": currency,
        "events": [{}] * events,
        "plan": {"audible": audible, "money": money, "treatments": [{"guessed": money > 500}]},
    }


def test_plans_stand_by_events_silenced_for_money_and_currencies_apart(tmp_path):
    for room, document in {
        "dear": plan(10, 0, 1000.0), "cheap": plan(10, 5, 100.0), "free": plan(4, 0, 0.0),
        "vain": plan(4, 4, 0.0), "far": plan(10, 0, 1.0, "GBP"),
    }.items():  # fmt: skip
        (tmp_path / f"{room}.json").write_text(json.dumps(document))
    found = read_plans(tmp_path, ["dear", "cheap", "free", "vain", "far", "none"])
    assert [each.bedroom for each in found] == ["free", "cheap", "dear", "vain", "far"]
    assert [each.per_money for each in found] == [math.inf, 0.05, 0.01, 0.0, 10.0]
    assert found[2].guessed


PLAN = (
    '{"schema": {"name": "sleepnoise/plan", "version": 1}, "events": [1], "currency": null, '
    '"plan": {"treatments": [], "audible": %s, "money": %s}}'
)


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", '{"schema": {"name": "other", "version": 1}}', "[" * 100_000, PLAN % ("1e999", "5"),
        PLAN % ("5", "1e999"), PLAN % ("5", "NaN"), PLAN % ("-1", "5"), PLAN % ('"x"', "5"),
        PLAN % ("9" * 5000, "5"),
    ],
)  # fmt: skip
def test_what_is_no_plan_gets_a_complaint(tmp_path, text):
    (tmp_path / "a.json").write_text(text)
    with pytest.raises(RecordingError, match="is no plan"):
        read_plans(tmp_path, ["a"])
