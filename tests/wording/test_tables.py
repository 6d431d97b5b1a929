from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.wording import plan_table, rounding, tables, verdicts
from sleepnoise.wording.sentences import decisions, in_short, settings_lines


@pytest.mark.parametrize(
    ("level_db", "text"),
    [
        (30.04, "30.0"),
        (-0.04, "0.0"),
        (29.96, "30.0"),
        (float("-inf"), "silence"),
        (float("nan"), "not known"),
    ],
)
def test_levels_are_shown_to_a_tenth(level_db: float, text: str) -> None:
    assert rounding.level_text(level_db) == text


@pytest.mark.parametrize(
    ("difference_db", "text"),
    [(2.34, "+2.3"), (-2.34, "−2.3"), (0.01, "0.0"), (-0.01, "0.0"), (float("inf"), "–")],
)
def test_differences_carry_their_sign(difference_db: float, text: str) -> None:
    assert rounding.signed_text(difference_db) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.125, "0.1 s"), (59.96, "1 min"), (60, "1 min"), (3599.6, "1 h"), (3723, "1 h 2 min"), (0, "0.0 s")],
)
def test_lengths_of_time_never_show_sixty_of_anything(seconds: float, text: str) -> None:
    assert rounding.duration_text(seconds) == text


def test_a_date_says_its_offset_and_needs_no_language_of_the_machine() -> None:
    text = rounding.date_text(datetime(2026, 3, 1, 21, 55, tzinfo=UTC), ZoneInfo("Europe/Vienna"))
    assert text == "1 March 2026, 22:55:00 (UTC+01:00)"


def test_a_night_is_named_by_both_its_dates(record: NightRecord) -> None:
    assert rounding.night_text(record.assessment) == "Night of 14 to 15 January 2026"


def test_the_loudest_come_first(record: NightRecord) -> None:
    loudest = tables.loudest_events(record.assessment.events)
    assert [event.lafmax for event in loudest] == sorted((event.lafmax for event in loudest), reverse=True)
    assert tables.loudest_events(record.assessment.events, 1) == loudest[:1]


def test_every_cell_of_a_table_has_its_column(record: NightRecord) -> None:
    night = record.assessment
    zone = night.window.zone
    for table in (
        tables.event_table("", night.events, zone),
        tables.interval_table("", night.quarter_hours, zone),
        tables.spectrum_table("", {"Background": night.background_spectrum}),
    ):
        assert table.rows
        assert {len(row) for row in table.rows} == {len(table.columns)}


def test_a_link_is_only_made_of_an_address(record: NightRecord) -> None:
    verdict = record.assessment.verdicts[0]
    source = replace(verdict.criterion.source, url="javascript:alert(1)")
    hostile = replace(verdict, criterion=replace(verdict.criterion, source=source))
    [group] = verdicts.verdict_groups([hostile])
    assert group.rows[0].url == ""


def test_what_is_known_from_memory_only_is_marked(record: NightRecord) -> None:
    for group in verdicts.verdict_groups(record.assessment.verdicts):
        for row in group.rows:
            assert (row.doubt == "unverified") == ("Unverified" in row.reason)


def test_the_plan_says_plainly_what_is_out_of_reach(record: NightRecord) -> None:
    rows = plan_table.plan_rows(record.plan)
    cells = [cell for row in rows for cell in row.cells]
    assert {len(row.cells) for row in rows} == {len(plan_table.plan_shapes(record.plan))}
    assert len(cells) == len(record.plan.choices)
    for cell, choice in zip(cells, record.plan.choices, strict=True):
        assert (cell.text == "not reachable") == (not choice.reachable)


def test_the_sentences_hold_the_numbers(record: NightRecord) -> None:
    levels, events, _, plan = in_short(record)
    assert f"LAeq {record.assessment.statistics.laeq:.1f} dB" in levels
    assert "of a night of 8 h" in levels
    assert events.startswith("Three sounds")
    assert f"{record.plan.audible_now} of 3 events" in plan


def test_a_silent_night_has_sentences_too(silent: NightRecord) -> None:
    levels, _, events, verdicts, plan = in_short(silent)
    assert "LAeq silence" in levels
    assert events == "No sound stood out from the background."
    assert "No published value can be judged" in verdicts
    assert plan == "There is nothing to isolate or to mask."


def test_every_decision_says_where_it_came_from(record: NightRecord) -> None:
    for subject, value, origin, option in decisions(record):
        assert all((subject, value, origin))
        assert option.startswith("--")


def test_every_setting_is_written_with_its_unit(record: NightRecord) -> None:
    lines = dict(settings_lines(record))
    assert lines["onset, dB"] == "6"
    assert lines["cap, dB(A)"] == "40"


def test_a_series_tells_how_many_sounds_it_has(record):
    event = replace(record.assessment.events[0], count=7)
    [row] = tables.event_table("", (event,), record.assessment.window.zone).rows
    assert "series of 7" in row[-1]


def test_the_most_helpful_steps_keep_their_order_and_the_room_as_it_is_comes_first(record):
    plan = record.plan
    rows = plan_table.helpful_rows(plan, 3)
    everything = plan_table.best_rows(plan)
    assert rows[0] == everything[0]
    assert len(rows) == 4
    assert [row for row in everything if row in rows] == list(rows)
    left = min(choice.audible_events for choice in plan.best[1:])
    assert any(row[2].startswith(f"{left} of") for row in rows) or any(c.reachable for c in plan.best)
    assert plan_table.helpful_rows(plan, 99) == everything


def test_what_stays_audible_in_the_first_plan_is_said_to_be_with_the_masker_beside_it(record):
    """The room as it is has another count than its row, which is with the masker that helps most."""
    plan = record.plan
    assert plan_table.AUDIBLE_HEAD.endswith("with it")
    for level_dba, reachable, words in (
        (40.0, False, "not reachable; closest: pink, 40 dB(A)"),
        (float("-inf"), False, "not reachable, no masker helps"),
        (31.6, True, "pink, 32 dB(A)"),
        (float("-inf"), True, "no masker needed"),
    ):
        choice = replace(plan.best[0], shape="pink", level_dba=level_dba, reachable=reachable)
        [row] = plan_table.best_rows(replace(plan, best=(choice,)))
        assert row[1:] == (words, f"{choice.audible_events} of {plan.events}")
