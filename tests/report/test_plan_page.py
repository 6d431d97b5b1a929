"""What the page of a kept plan says of whose ears, published values and alarms."""

import copy

import pytest

from sleepnoise.dossier.plan_summary import plan_from
from sleepnoise.errors import SettingsError
from sleepnoise.report.contents import sections_of
from sleepnoise.report.finding_pages import plan_page
from sleepnoise.report.plan_sections import plan_sections

RULE = {
    "rule": "75 dB(A) at the pillow",
    "needed_dba": 75.0,
    "short_by_db": 24.1,
    "source": {"document": "a book", "place": "p. 1", "how_known": "looked-up", "url": ""},
}
ALARM = {
    "title": "behind the plan",
    "pitch": "high",
    "level_dba": 50.9,
    "noise_dba": "-Infinity",
    "rules": [RULE] * 4,
    "older_margin_db": 3.0,
}
LIMIT = {
    "guideline": "A document",
    "criterion": "the night",
    "quantity": "laeq",
    "level_db": 30.0,
    "allowed": 0,
    "document": "a book, p. 2",
}


@pytest.fixture
def asked(plan_of_room):
    """A plan that was asked for an age, a published value and an alarm."""
    plan = copy.deepcopy(plan_of_room)
    plan["listener"] = {"age_years": 60.0, "sex": "female", "share_hearing_better": 0.5}
    plan["alarms"] = [ALARM]
    plan["published_limits"] = {"used": [LIMIT], "passed_over": ["Outdoors: is meant outside."]}
    return plan


def test_the_page_names_listener_published_value_and_what_is_left_of_the_alarm(asked):
    page = plan_page(plan_from(asked, "x"))
    assert "at 60 years of age" in page
    assert "30 dB is that of A document, the night [a book, p. 2]" in page
    assert "No limits for this plan: Outdoors: is meant outside." in page
    assert "What is left of the smoke alarm" in page
    [alarms] = [each for each in plan_sections(plan_from(asked, "x"), "p") if each.key == "p-alarms"]
    assert alarms.tables[0].rows[0][:3] == ("behind the plan", "50.9", "24.1")


def test_a_plan_without_them_has_no_such_part(plan_of_room):
    for key in ("listener", "alarms", "published_limits"):
        plan_of_room = {name: value for name, value in plan_of_room.items() if name != key}
    page = plan_page(plan_from(plan_of_room, "x"))
    assert "years of age" not in page
    assert "smoke alarm</h2>" not in page


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("alarms", [{**ALARM, "rules": [RULE]}]),
        ("alarms", [{"title": "x"}]),
        ("published_limits", {"used": [{**LIMIT, "quantity": "lden"}], "passed_over": []}),
        ("listener", {"age_years": -3.0, "sex": "female", "share_hearing_better": 0.5}),
    ],
)
def test_what_no_plan_can_hold_is_refused(asked, key, value):
    with pytest.raises(SettingsError):
        plan_from({**asked, key: value}, "x")


def test_the_first_plan_on_page_and_paper_counts_what_stays_audible_with_the_masker_beside_it(record):
    [section] = [each for each in sections_of(record) if each.key == "plan"]
    assert section.tables[0].columns[-1].text == "Still audible with it"
