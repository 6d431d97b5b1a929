"""Figures of a night, from its record and from what was written of it."""

import json
import math
from dataclasses import replace
from datetime import date

import pytest

from sleepnoise.comparison.night_figures import figures_from_document, figures_of
from sleepnoise.dossier.document import assessment_document
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text


def test_a_record_and_its_document_give_the_same_figures(record):
    noted = {"name": "larch", "window_state": "closed", "day_label": "delivery"}
    found = figures_of(record.assessment, **noted)
    document = json.loads(document_text(assessment_document(record)))
    assert figures_from_document(document, **noted) == found
    # The recording begins at 22:55 local time, and lasts 2.25 h of which 2 h 10 min lie in the night.
    assert (found.evening, found.window, found.absolute) == (date(2026, 1, 14), "23:00-07:00", True)
    assert found.measured_share == pytest.approx((2.25 - 1 / 12) / 8)
    assert found.events == len(record.assessment.events)
    assert found.laeq == record.assessment.statistics.laeq
    assert set(found.verdicts.values()) <= {"exceeded", "kept", "cannot tell", "shown only"}
    assert len(found.verdicts) == len(record.assessment.verdicts)


def test_silence_and_the_unknown_survive_the_document(silent):
    document = json.loads(document_text(assessment_document(silent)))
    found = figures_from_document(document, name="silent")
    assert found.laeq == -math.inf
    assert not found.absolute
    assert math.isnan(found.expanded_uncertainty_db)


def test_a_night_that_was_recorded_after_midnight_only_began_the_evening_before(record):
    night = record.assessment
    late = replace(night, start=night.start.replace(hour=23, minute=30))
    assert figures_of(late, name="late").evening == date(2026, 1, 14)


@pytest.mark.parametrize("document", [{}, {"night": 3}, [], {"night": {"statistics": {}}}])
def test_another_document_is_refused(document):
    with pytest.raises(SettingsError, match="odd: is no assessment"):
        figures_from_document(document, name="odd")


def test_evenings_before_a_free_day_are_fridays_and_saturdays(night):
    assert [day for day in range(7) if night(day).free_day_ahead] == [4, 5]


@pytest.mark.parametrize(
    ("part", "key", "value"),
    [("night", "events", math.inf), ("night", "window_s", 0), ("night", "start_utc", "x" * 10_000)],
)
def test_a_document_with_numbers_that_no_night_has_is_refused_shortly(record, part, key, value):
    document = json.loads(document_text(assessment_document(record)))
    document[part][key] = value
    with pytest.raises(SettingsError, match="can be compared") as caught:
        figures_from_document(document, name="larch")
    assert len(caught.value.complaint) < 400
