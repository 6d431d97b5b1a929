"""Verdicts on promised levels."""

import math

import pytest

from sleepnoise.proving.held import altogether, held


@pytest.mark.parametrize(
    ("measured", "both_ways", "word"),
    [
        (30.0, False, "kept"),  # as promised, and 10 dB from before
        (33.9, False, "kept"),  # within U = 4 dB of the promise, not of before
        (34.1, False, "not kept"),
        (25.0, False, "kept"),  # better than promised
        (25.0, True, "not kept"),  # a masker that is too quiet
        (math.nan, False, "cannot tell"),
    ],
)
def test_a_level_is_held_against_promise_and_before(measured, both_ways, word):
    assert held("x", 40.0, 30.0, measured, [1.2, 1.6], both_ways=both_ways).word == word


def test_what_fits_promise_and_no_change_alike_cannot_be_told():
    found = held("x", 33.0, 30.0, 31.0, [2.0], both_ways=False)
    assert (found.word, found.expanded, found.difference) == ("cannot tell", 4.0, 1.0)


@pytest.mark.parametrize(
    ("before", "measured", "word"),
    [
        (32.0, 30.0, "cannot tell"),  # U = 2 dB from no change at all
        (32.1, 30.0, "kept"),
        (40.0, 32.0, "kept"),  # U = 2 dB above the promise
        (40.0, 32.1, "not kept"),
        (29.0, 28.0, "cannot tell"),  # U = 2 dB below the promise is not yet better than it
        (29.0, 27.9, "kept"),
    ],
)
def test_what_lies_just_as_far_as_the_uncertainty_lies_within_it(before, measured, word):
    assert held("x", before, 30.0, measured, [1.0], both_ways=False).word == word


def test_one_broken_part_breaks_the_whole_promise():
    kept, broken = held("x", 40, 30, 30, [1], both_ways=False), held("x", 40, 30, 38, [1], both_ways=False)
    unsure = held("x", 31, 30, 30, [1], both_ways=False)
    assert altogether([kept, broken, unsure]) == "not kept"
    assert altogether([kept, unsure]) == "kept"
    assert altogether([unsure]) == altogether([]) == "cannot tell"
