"""What is a source's own: without residual sound, and what it emerges by. All nights are invented."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.judgement.circumstances import Circumstances, StatedLevel
from sleepnoise.judgement.guidelines import criteria_of
from sleepnoise.profiles.files import read_guideline

[FRENCH, FRENCH_OCTAVES] = criteria_of(read_guideline("fr-sante-publique"))
[ITALIAN] = criteria_of(read_guideline("it-dpcm-14-11-1997"))
[DANISH] = criteria_of(read_guideline("dk-orientering-9-1997"))
TEN_PM = datetime(2025, 1, 10, 21, 0, tzinfo=UTC)
U_DB = math.sqrt(2)  # twice the root of 0.5 dB squared, twice


def spans(*hours):
    return tuple((TEN_PM + timedelta(hours=a), TEN_PM + timedelta(hours=b)) for a, b in hours)


def said(on, off, **keys):
    return Circumstances(source_on=spans(on), source_off=spans(off), **({"source_kind": "business"} | keys))


def with_source(nights, emergence_db, *, residual_db=30.0, from_h=3.0, to_h=4.0, **keys):
    """A night in which the source is on for a while and the rest is residual sound."""
    return nights.recording(residual_db, loud=[(from_h, to_h, residual_db + emergence_db)], **keys)


# French duration terms: the shorter the sound lasts in all, the more may be added to 3 dB.
TERMS = [
    (0.5, 6),
    (1.0, 6),
    (1.01, 5),
    (5.0, 5),
    (5.1, 4),
    (20, 4),
    (21, 3),
    (120, 3),
    (121, 2),
    (240, 2),
    (241, 1),
    (479, 1),
]


@pytest.mark.parametrize(("minutes", "term_db"), TERMS)
@pytest.mark.parametrize(
    ("beyond_db", "word"),
    [(-1.5, "kept"), (-1.3, "cannot tell"), (0.0, "cannot tell"), (1.3, "cannot tell"), (1.5, "exceeded")],
)
def test_a_french_emergence_is_judged_by_how_long_the_sound_lasts(nights, minutes, term_db, beyond_db, word):
    on = (1.0, 1.0 + minutes / 60)
    history = with_source(nights, 3 + term_db + beyond_db, from_h=on[0], to_h=on[1])
    found = nights.judged(FRENCH, history, said(on, (0.0, 0.99)))
    assert found.word == word
    assert found.margin_db == pytest.approx(beyond_db, abs=0.02)
    assert found.uncertainty_db == pytest.approx(U_DB)


@pytest.mark.parametrize(
    ("emergence_db", "word"), [(1.0, "kept"), (4.5, "cannot tell"), (5.3, "cannot tell"), (5.5, "exceeded")]
)
def test_beyond_eight_hours_the_step_that_was_not_seen_is_left_open(nights, emergence_db, word):
    # 3 dB for certain, 4 dB if the last step that was seen reached further.
    history = with_source(nights, emergence_db, from_h=0.5, to_h=8.75)
    assert nights.judged(FRENCH, history, said((0.5, 8.75), (0.0, 0.5))).word == word


def test_a_sound_in_two_parts_lasts_as_long_as_both(nights):
    history = nights.recording(
        30.0, loud=[(1, 1 + 3 / 60, 38), (2, 2 + 3 / 60, 38)]
    )  # 6 min in all: 3 + 4 dB
    both = Circumstances(
        source_kind="business", source_on=spans((1, 1 + 3 / 60), (2, 2 + 3 / 60)), source_off=spans((3, 4))
    )
    assert nights.judged(FRENCH, history, both).margin_db == pytest.approx(1.0, abs=0.02)


def test_only_time_within_the_night_counts(nights):
    # On from 06:30 to 07:30; the night ends at 07:00, so it lasts 30 min in it: 3 + 3 dB.
    history = with_source(nights, 6.0, from_h=8.5, to_h=9.5, hours=10)
    found = nights.judged(FRENCH, history, said((8.5, 9.5), (1, 2)))
    assert found.margin_db == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(
    ("start", "hours"),
    [(datetime(2025, 3, 29, 21, tzinfo=UTC), 8), (datetime(2025, 10, 25, 20, tzinfo=UTC), 10)],
)
def test_durations_are_those_that_pass_when_clocks_change(nights, start, hours):
    # Off for the first 30 min, on for the next 239 min, over the clock change: 3 + 2 dB.
    on = (start + timedelta(minutes=30), start + timedelta(minutes=30 + 239))
    history = nights.recording(30.0, start=start, hours=hours, loud=[(0.5, 0.5 + 239 / 60, 35.0)])
    found = nights.judged(
        FRENCH,
        history,
        Circumstances(source_kind="business", source_on=(on,), source_off=((start, on[0]),)),
    )
    assert found.margin_db == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(
    ("ambient_db", "word", "why"),
    [
        (23.9, "kept", "no emergence is looked at"),
        (24.1, "cannot tell", "closer to 25 dB"),
        (25.9, "cannot tell", "closer to 25 dB"),
        (26.1, "exceeded", ""),
    ],
)
def test_in_a_very_quiet_room_no_french_emergence_is_looked_at(nights, ambient_db, word, why):
    history = with_source(nights, 15.0, residual_db=ambient_db - 15)
    found = nights.judged(FRENCH, history, said((3, 4), (1, 2)))
    assert found.word == word
    assert why in found.reason


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({}, "times at which the source was on"),
        ({"source_on": spans((3, 4))}, "the level with the source off"),
        ({"source_off": spans((3, 4))}, "times at which the source was on"),
        ({"source_on": spans((3, 3.002)), "source_off": spans((1, 2))}, "at least 10 s"),
        ({"source_on": spans((3, 3.2)), "source_off": spans((1, 1.25))}, "30 min"),
        ({"source_on": spans((20, 21)), "source_off": spans((1, 2))}, "times at which the source was on"),
    ],
)
def test_an_emergence_says_what_it_needs(nights, keys, why):
    found = nights.judged(FRENCH, with_source(nights, 20.0), Circumstances(source_kind="business", **keys))
    assert found.word == "cannot tell"
    assert why in found.reason
    assert math.isnan(found.margin_db)


def test_a_residual_level_from_elsewhere_brings_its_own_uncertainty(nights):
    typed = {"source_off": (), "residual": StatedLevel(level_db=30.0, uncertainty_db=2.0)}
    keys = {"source_kind": "business", "source_on": spans((3, 4)), **typed}
    found = nights.judged(FRENCH, with_source(nights, 6.0), Circumstances(**keys))
    assert found.uncertainty_db == pytest.approx(math.sqrt(1 + 4))
    assert found.margin_db == pytest.approx(0.0, abs=0.02)
    octaves = nights.judged(FRENCH_OCTAVES, with_source(nights, 20.0), Circumstances(**keys))
    assert octaves.word == "cannot tell"
    assert "octaves take times" in octaves.reason


def test_half_of_the_named_time_is_too_little_to_keep_an_emergence(nights):
    history = with_source(nights, 0.0)
    left_out = history.left_out.copy()
    left_out[3 * 28_800 : round(3.5 * 28_800)] = True
    found = nights.judged(FRENCH, nights.without(history, left_out=left_out), said((3, 4), (1, 2)))
    assert found.word == "cannot tell"
    assert "not recorded" in found.reason


@pytest.mark.parametrize(
    ("over_db", "word"), [(-1.5, "kept"), (-1.3, "cannot tell"), (1.3, "cannot tell"), (1.5, "exceeded")]
)
@pytest.mark.parametrize(
    ("octave_hz", "allowed_db"), [(125, 7), (250, 7), (500, 5), (1000, 5), (2000, 5), (4000, 5)]
)
def test_the_worst_octave_decides_a_french_spectral_emergence(nights, octave_hz, allowed_db, over_db, word):
    history = with_source(nights, 1.0)
    bands = np.array(history.bands[:])
    middle = NOMINAL_HZ.index(octave_hz)
    bands[middle - 1 : middle + 2, 3 * 28_800 : 4 * 28_800] = 30.0 + allowed_db + over_db
    found = nights.judged(FRENCH_OCTAVES, nights.without(history, bands=bands), said((3, 4), (1, 2)))
    assert found.word == word
    assert f"octave {octave_hz} Hz" in found.reason
    assert found.margin_db == pytest.approx(over_db, abs=0.02)


# The Italian differential limit: 3 dB, waived below 25 dB(A), windows closed, and 40 dB(A), windows open.
NO_CHARACTER = {"adjustments_db": {"tone": 0.0, "impulse": 0.0}}


@pytest.mark.parametrize(
    ("windows", "ambient_db", "emergence_db", "word"),
    [
        ("closed", 30.0, 1.5, "kept"),
        ("closed", 30.0, 1.7, "cannot tell"),
        ("closed", 30.0, 4.3, "cannot tell"),
        ("closed", 30.0, 4.5, "exceeded"),
        ("closed", 26.1, 10.0, "exceeded"),
        ("closed", 25.9, 10.0, "cannot tell"),
        ("closed", 24.0, 10.0, "cannot tell"),
        ("closed", 23.0, 10.0, "cannot tell"),
        ("open", 41.1, 10.0, "exceeded"),
        ("open", 40.9, 10.0, "cannot tell"),
        ("open", 38.0, 10.0, "cannot tell"),
        ("open", 38.0, 1.0, "kept"),
        (None, 30.0, 10.0, "cannot tell"),
        (None, 41.1, 10.0, "exceeded"),
        (None, 30.0, 1.0, "kept"),
    ],
)
def test_the_italian_limit_is_waived_by_the_state_of_the_windows(
    nights, windows, ambient_db, emergence_db, word
):
    history = with_source(nights, emergence_db, residual_db=ambient_db - emergence_db)
    found = nights.judged(ITALIAN, history, said((3, 4), (1, 2), windows=windows, **NO_CHARACTER))
    assert found.word == word


def test_without_a_word_on_its_character_no_italian_limit_is_kept(nights):
    history = with_source(nights, 0.0, residual_db=30.0)
    assert nights.judged(ITALIAN, history, said((3, 4), (1, 2))).word == "cannot tell"
    tonal = said((3, 4), (1, 2), windows="closed", adjustments_db={"tone": 3.0, "impulse": 3.0})
    assert nights.judged(ITALIAN, history, tonal).word == "exceeded"


@pytest.mark.parametrize("kind", ["road", "rail", "aircraft", "neighbours"])
@pytest.mark.parametrize("each", [FRENCH, FRENCH_OCTAVES, ITALIAN])
def test_emergences_of_activities_say_nothing_of_traffic_and_households(nights, each, kind):
    found = nights.judged(each, with_source(nights, 20.0), said((3, 4), (1, 2), source_kind=kind))
    assert found.word == "shown only"


# A source's own level.


@pytest.mark.parametrize(
    ("total_db", "residual_db", "word", "alone_db"),
    [
        (33.0, None, "cannot tell", 33.0),
        (28.0, None, "kept", 28.0),
        (33.01, 30.0, "cannot tell", 30.0),
        (32.9, 30.0, "cannot tell", 32.9),
        (36.0, 30.0, "exceeded", 34.743),
        (31.5, 28.4, "cannot tell", 28.58),
        (28.5, 30.0, "kept", 28.5),
    ],
)
def test_a_value_for_the_source_alone_takes_the_level_with_the_source_off(
    nights, total_db, residual_db, word, alone_db
):
    residual = None if residual_db is None else StatedLevel(level_db=residual_db, uncertainty_db=1.0)
    found = nights.judged(
        nights.criterion(source_alone=True), nights.recording(total_db), Circumstances(residual=residual)
    )
    assert found.word == word
    assert found.measured_db == pytest.approx(alone_db, abs=0.01)


def test_a_level_without_residual_sound_is_as_uncertain_as_iso_1996_2_says(nights):
    # F.7 and F.8: 33.01 dB over 30 dB, half of it residual: c = 2 and -1, U = 1 dB each.
    residual = StatedLevel(level_db=29.99, uncertainty_db=1.0)
    found = nights.judged(
        nights.criterion(source_alone=True), nights.recording(33.0103), Circumstances(residual=residual)
    )
    assert found.uncertainty_db == pytest.approx(math.hypot(2, 1), abs=0.02)


# The Danish sum of low bands.


def low(level_db):
    """Bands relative to silence such that 20 to 160 Hz sum up to one A-weighted level."""
    weights = band_weighting_db(NOMINAL_HZ)
    bands = np.full(len(NOMINAL_HZ), -200.0)
    bands[:10] = level_db - 10.0 - weights[:10]  # ten bands of a tenth each
    return bands


@pytest.mark.parametrize(
    ("level_db", "word"), [(18.9, "kept"), (19.1, "cannot tell"), (20.9, "cannot tell"), (21.1, "exceeded")]
)
def test_the_danish_sum_is_that_of_the_weighted_bands(nights, level_db, word):
    history = nights.recording(0.0, bands_db=low(level_db))
    all_said = Circumstances(source_kind="services", residual=None, source_off=())
    found = nights.judged(DANISH, history, all_said)
    assert found.measured_db == pytest.approx(level_db, abs=0.02)
    # Above the value it takes the sum with the source off.
    assert found.word == ("cannot tell" if word == "exceeded" else word)


def test_the_danish_value_is_for_the_source_alone(nights):
    history = nights.recording(0.0, bands_db=low(40.0), loud=[(0, 1, -30.0)])
    found = nights.judged(DANISH, history, Circumstances(source_kind="services", source_off=spans((0, 1))))
    assert found.word == "exceeded"
    assert found.measured_db == pytest.approx(40.0, abs=0.1)
    assert "in the loudest 10 min" in found.reason


def test_what_lies_below_the_bands_is_bounded_by_the_unweighted_level(nights):
    # A weighting at 17.8 Hz is -53.6 dB: 74 dB of unweighted level may hide 20.4 dB(A).
    history = nights.recording(0.0, bands_db=low(10.0))
    loud = nights.without(history, lzeq=np.full(history.ticks, 74.0, dtype=np.float32))
    found = nights.judged(DANISH, loud, Circumstances(source_kind="services"))
    assert found.word == "cannot tell"
    assert found.measured_db == pytest.approx(20.8, abs=0.3)
    fine = nights.without(history, lzeq=np.full(history.ticks, 60.0, dtype=np.float32))
    assert nights.judged(DANISH, fine, Circumstances(source_kind="services")).word == "kept"


def test_a_sum_of_half_a_night_exceeds_if_it_would_with_the_rest_silent(nights):
    """By hand: 20 dB(A) in half of the night are 17.0 over all of it; U = 1 dB."""
    history = nights.recording(0.0, hours=4.5, bands_db=low(30.0))
    thresholds = {40.0: math.inf, 50.0: 19.0 - band_weighting_db((50.0,))[0], 63.0: math.inf}
    for level_db, word in ((15.9, "exceeded"), (16.1, "cannot tell")):
        each = nights.criterion(quantity="band_sum", thresholds_db=thresholds, level_db=level_db)
        assert nights.judged(each, history).word == word


def test_a_sum_may_leave_out_bands_below_the_hearing_threshold(nights):
    history = nights.recording(0.0, bands_db=low(30.0))
    at_50_hz = 30.0 - 10.0 - band_weighting_db((50.0,))[0]
    only = {hz: math.inf for hz in (40.0, 50.0, 63.0)}
    for threshold_db, expected in ((at_50_hz - 0.1, 20.0), (at_50_hz + 0.1, -math.inf)):
        each = nights.criterion(quantity="band_sum", thresholds_db=only | {50.0: threshold_db})
        assert nights.judged(each, history).measured_db == pytest.approx(expected, abs=0.02)
