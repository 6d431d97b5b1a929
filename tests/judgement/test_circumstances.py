"""What somebody has to say before a value binds, and what follows if nobody does."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from sleepnoise.errors import SettingsError, StartTimeError
from sleepnoise.judgement.circumstances import Circumstances, StatedLevel, clock_spans

VIENNA = ZoneInfo("Europe/Vienna")
NIGHT = (datetime(2025, 1, 10, 21, tzinfo=UTC), datetime(2025, 1, 11, 7, tzinfo=UTC))


def span(start, hours=1.0):
    return (start, start + timedelta(hours=hours))


# Each condition in turn: what is said, and the verdicts on a quiet and a loud night.
CONDITIONS = [
    ({"source_kinds": ("services",)}, {}, "kept", "cannot tell", "not said"),
    ({"source_kinds": ("services", "rail")}, {"source_kind": "rail"}, "kept", "exceeded", ""),
    ({"source_kinds": ("services",)}, {"source_kind": "road"}, "shown only", "shown only", "said to be road"),
    ({"windows": "closed"}, {}, "kept", "cannot tell", "not said"),
    ({"windows": "closed"}, {"windows": "closed"}, "kept", "exceeded", ""),
    ({"windows": "closed"}, {"windows": "open"}, "kept", "cannot tell", "they were open"),
    ({"only_if_heard": ("tone", "music")}, {}, "kept", "cannot tell", "a listener"),
    ({"only_if_heard": ("tone", "music")}, {"heard": ("music",)}, "kept", "exceeded", ""),
    ({"only_if_heard": ("tone", "music")}, {"heard": ()}, "shown only", "shown only", "heard none"),
    ({"only_if_heard": ("tone",)}, {"heard": ("music",)}, "shown only", "shown only", "heard none"),
]


@pytest.mark.parametrize(("keys", "said", "quiet", "loud", "why"), CONDITIONS)
def test_a_value_with_a_condition_is_exceeded_only_if_somebody_says_that_it_holds(
    nights, keys, said, quiet, loud, why
):
    each, said = nights.criterion(**keys), Circumstances(**said)
    assert nights.judged(each, nights.recording(20.0), said).word == quiet
    found = nights.judged(each, nights.recording(40.0), said)
    assert found.word == loud
    assert why in found.reason
    assert found.margin_db == pytest.approx(10.0, abs=0.01)


def test_all_conditions_that_are_not_met_are_named(nights):
    each = nights.criterion(source_kinds=("rail",), windows="closed", only_if_heard=("tone",))
    found = nights.judged(each, nights.recording(40.0))
    for what in ("rail", "windows closed", "tone"):
        assert what in found.reason


def test_a_condition_does_not_hide_that_the_level_is_too_close(nights):
    found = nights.judged(nights.criterion(windows="closed"), nights.recording(30.5))
    assert found.word == "cannot tell"
    assert "closer to" in found.reason


# Adjustments of a rating level: 0, 3 or 6 dB for a tone, anything for impulses.
RATED = {"adjustments": {"tone": (0.0, 3.0, 6.0), "impulse": ()}}


@pytest.mark.parametrize(
    ("level_db", "said", "word"),
    [
        (20.0, {}, "cannot tell"),
        (32.0, {}, "exceeded"),
        (20.0, {"tone": 0.0}, "cannot tell"),
        (20.0, {"tone": 0.0, "impulse": 0.0}, "kept"),
        (22.9, {"tone": 6.0, "impulse": 0.0}, "kept"),
        (23.1, {"tone": 6.0, "impulse": 0.0}, "cannot tell"),
        (24.9, {"tone": 6.0, "impulse": 0.0}, "cannot tell"),
        (25.1, {"tone": 6.0, "impulse": 0.0}, "exceeded"),
        (25.1, {"tone": 6.0}, "exceeded"),
        (22.0, {"tone": 3.0, "impulse": 6.5}, "exceeded"),
        (20.0, {"tone": 4.0, "impulse": 0.0}, "cannot tell"),
        (26.0, {"tone": 6.5, "impulse": 0.0}, "cannot tell"),
    ],
)
def test_adjustments_are_added_as_said_and_never_guessed(nights, level_db, said, word):
    found = nights.judged(
        nights.criterion(**RATED), nights.recording(level_db), Circumstances(adjustments_db=said)
    )
    assert found.word == word


def test_an_adjustment_that_the_document_does_not_know_is_refused_by_name(nights):
    said = Circumstances(adjustments_db={"tone": 4.0, "impulse": 0.0})
    found = nights.judged(nights.criterion(**RATED), nights.recording(20.0), said)
    assert "0, 3, 6 dB" in found.reason
    assert found.measured_db == pytest.approx(20.0, abs=0.01)


# What is permitted over the underlying level: 31 dB(A) in quiet, else 10 dB over it.
PERMITTED = {
    "rule": "over underlying",
    "over": "loudest stretch",
    "stretch_min": 5,
    "level_db": 31.0,
    "excess_db": 10.0,
}


@pytest.mark.parametrize(
    ("level_db", "underlying_db", "word"),
    [
        (29.9, None, "kept"),
        (35.0, None, "cannot tell"),
        (29.9, 18.0, "kept"),
        (31.0, 18.0, "cannot tell"),
        (32.1, 18.0, "exceeded"),
        (32.1, 21.0, "exceeded"),
        # From here the permitted level is 35 dB with U of both, 1.41 dB.
        (33.5, 25.0, "kept"),
        (33.7, 25.0, "cannot tell"),
        (36.4, 25.0, "cannot tell"),
        (36.5, 25.0, "exceeded"),
    ],
)
def test_a_permitted_level_rises_with_the_underlying_level(nights, level_db, underlying_db, word):
    underlying = None if underlying_db is None else StatedLevel(level_db=underlying_db, uncertainty_db=1.0)
    history = nights.recording(10.0, loud=[(2, 2.25, level_db)])
    found = nights.judged(nights.criterion(**PERMITTED), history, Circumstances(underlying=underlying))
    assert found.word == word
    assert "in the loudest 5 min, from 00:00" in found.reason


# Times by the clock.


@pytest.mark.parametrize(
    ("text", "start", "hours"),
    [
        ("22:30-23:00", NIGHT[0] + timedelta(minutes=30), 0.5),
        ("23:30-00:30", NIGHT[0] + timedelta(minutes=90), 1.0),
        ("03:00-04:15", NIGHT[0] + timedelta(hours=5), 1.25),
    ],
)
def test_clock_times_are_those_of_the_recorded_night(text, start, hours):
    assert clock_spans([text], VIENNA, NIGHT) == (span(start, hours),)


def test_a_stretch_over_the_hour_that_is_skipped_is_an_hour_shorter():
    night = (datetime(2025, 3, 29, 21, tzinfo=UTC), datetime(2025, 3, 30, 5, tzinfo=UTC))
    [(start, end)] = clock_spans(["01:30-03:30"], VIENNA, night)
    assert end - start == timedelta(hours=1)


def test_a_clock_time_that_comes_twice_is_refused_and_one_around_it_is_not():
    night = (datetime(2025, 10, 25, 20, tzinfo=UTC), datetime(2025, 10, 26, 6, tzinfo=UTC))
    [(start, end)] = clock_spans(["01:30-03:30"], VIENNA, night)
    assert end - start == timedelta(hours=3)
    for text in ("02:00-03:30", "01:30-02:59"):
        with pytest.raises(SettingsError, match="comes twice"):
            clock_spans([text], VIENNA, night)


def test_a_stretch_beside_the_recording_is_refused():
    with pytest.raises(StartTimeError):
        clock_spans(["12:00-13:00"], VIENNA, NIGHT)
    with pytest.raises(SettingsError):
        clock_spans(["noon"], VIENNA, NIGHT)


def test_times_on_and_off_must_not_contradict_each_other():
    ten = NIGHT[0]
    Circumstances(source_on=(span(ten),), source_off=(span(ten + timedelta(hours=1)),))
    for keys in (
        {"source_on": (span(ten),), "source_off": (span(ten + timedelta(minutes=59)),)},
        {"source_on": (span(ten), span(ten))},
        {"source_on": (span(ten, -1),)},
        {"source_off": (span(ten, 0),)},
    ):
        with pytest.raises(SettingsError, match="not overlap"):
            Circumstances(**keys)
    with pytest.raises(SettingsError, match="both"):
        Circumstances(source_off=(span(ten),), residual=StatedLevel(level_db=20, uncertainty_db=1))
