"""Verdicts in words: what is allowed where a rule raises it, and what emerges with its sign."""

import math

import pytest

from sleepnoise.acoustics.source import Source
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.wording.verdicts import verdict_groups

SEEN = Source(document="An invented document", place="its only page", how_known="looked-up")


def row(measured_db, margin_db, **keys):
    plain = {
        "guideline": "Invented", "jurisdiction": "nowhere", "id": "invented", "title": "Invented value",
        "quantity": "laeq", "rule": "not exceeded", "over": "period", "where": "inside", "applies_to": "all",
        "note": "", "period": None, "level_db": 31.0, "bands_db": {}, "count_allowed": None,
        "single_night_ok": True, "source": SEEN,
    }  # fmt: skip
    verdict = Verdict(
        criterion=Criterion(**(plain | keys)), word="cannot tell", reason="Invented.",
        measured_db=measured_db,
        margin_db=margin_db, uncertainty_db=1.0, count=None,
    )  # fmt: skip
    [group] = verdict_groups([verdict])
    return group.rows[0]


@pytest.mark.parametrize(
    ("measured_db", "margin_db", "keys", "allowed", "measured"),
    [
        (33.0, 2.0, {}, "31", "33.0"),
        (math.nan, math.nan, {}, "31", "–"),
        (33.0, -2.0, {"rule": "over underlying"}, "35", "33.0"),
        (33.0, 2.0, {"rule": "over underlying"}, "31", "33.0"),
        (8.2, 1.2, {"rule": "emergence", "level_db": 3.0}, "+7", "+8.2"),
        (-0.4, -3.4, {"rule": "emergence", "level_db": 3.0}, "+3", "−0.4"),
        (math.nan, math.nan, {"rule": "emergence", "level_db": 3.0}, "+3", "–"),
        (50.0, 7.0, {"level_db": None, "bands_db": {50.0: 43.0}}, "by band", "50.0"),
    ],
)
def test_what_is_allowed_is_what_the_level_was_compared_with(measured_db, margin_db, keys, allowed, measured):
    found = row(measured_db, margin_db, **keys)
    assert (found.allowed, found.measured) == (allowed, measured)
