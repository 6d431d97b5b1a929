"""What people read about several nights."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from sleepnoise.comparison.before_after import before_and_after, difference_between
from sleepnoise.comparison.groups import pooled
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.wording.comparison_words import (
    change_sentences,
    change_table,
    exceedance_table,
    group_sentences,
    group_table,
    more_nights_text,
    nights_table,
    value_sentence,
    week_table,
)


def nights(levels, first=0, **unusual):
    return [
        replace(
            NightFigures(
                name=f"night-{place}", evening=date(2026, 1, 12) + timedelta(days=first + place),
                window="23:00-07:00", window_state="closed", day_label="", absolute=True,
                expanded_uncertainty_db=3.0, measured_share=1.0, laeq=level, lafmax=level + 20,
                la90=level - 8, events=4, verdicts={},
            ),
            **unusual,
        )
        for place, level in enumerate(levels)
    ]  # fmt: skip


def test_one_two_and_three_nights_say_how_little_they_tell():
    assert group_sentences(pooled(nights([34.0]))) == (
        "1 whole night, 23:00-07:00, windows closed.",
        "LAeq 34.0 dB in the one night; one night does not tell how nights differ.",
    )
    two = group_sentences(pooled(nights([33.0, 36.0])))
    assert two[1].startswith(
        "LAeq 34.8 dB as energy mean of 2 nights, 95 % interval 13.8 to 56.2; all nights"
    )
    assert two[2].endswith("from 33.0 to 36.0. With so few nights the interval says little.")
    three = group_sentences(pooled(nights([30.0, 33.0, 36.0])))
    # By hand: see the tests of the mean.
    assert three[1] == (
        "LAeq 33.7 dB as energy mean of 3 nights, 95 % interval 25.4 to 42.7; all nights may be off together "
        "by ±3.0 dB (calibration, k = 2)."
    )


def test_relative_levels_unknown_windows_and_partial_nights_are_said():
    some = nights([-30.0, -31.0], absolute=False, window_state="", expanded_uncertainty_db=float("nan"))
    some.append(replace(some[0], name="c", evening=date(2026, 1, 20), measured_share=0.4))
    found = group_sentences(pooled(some))
    assert found[0] == "2 whole nights, 23:00-07:00, windows not noted."
    assert "dB re full scale as energy mean" in found[1]
    assert "calibration" not in found[1]
    assert found[-1] == "Left out, because part of the night was not measured: 2026-01-20."
    silent = group_sentences(pooled(nights([float("-inf")])))
    assert silent[1] == "No night has a level that can be averaged."


def test_the_week_is_told_only_if_it_shows():
    levels = [35.0 + (day % 7 in (4, 5)) * 10 + day % 2 * 0.4 for day in range(21)]
    assert group_sentences(pooled(nights(levels)))[-1].startswith(
        "Friday and Saturday nights are louder (+10.0 dB, 95 %: +"
    )
    noisy = group_sentences(pooled(nights([30, 44, 35, 41, 33, 45, 38])))
    assert noisy[-1] == "Whether Friday and Saturday nights differ from the others: cannot tell."


@pytest.mark.parametrize(
    ("levels", "value", "told"),
    [
        (
            [40, 41, 40, 41, 40],
            30,
            "The mean of such nights lies above 30 dB, beyond calibration and chance.",
        ),
        (
            [20, 21, 20, 21, 20],
            30,
            "The mean of such nights lies below 30 dB, beyond calibration and chance.",
        ),
        ([34], 30, "cannot tell from one night; at least two are needed."),
        ([31, 32, 31], 30, "cannot tell from 3; neither would 60 nights, or a better calibration is needed"),
        ([34, 38, 42], 30, "cannot tell from 3; about 2 more would probably do."),
    ],
)
def test_a_mean_is_told_from_a_value_or_not(levels, value, told):
    group = pooled(nights(levels))
    assert told in value_sentence(group, value)
    assert [*group_sentences(group, value)].count(value_sentence(group, value)) == 1
    assert value_sentence(group, value) not in group_sentences(group)


def test_uncalibrated_nights_are_told_from_no_value():
    group = pooled(nights([-30, -31], absolute=False))
    assert "cannot tell without calibrated levels" in value_sentence(group, 30)
    unknown = pooled(nights([40, 41, 40], expanded_uncertainty_db=float("nan")))
    assert "cannot tell" in value_sentence(unknown, 30)


def test_a_change_is_told_with_its_interval():
    found = change_sentences(before_and_after(nights([45, 46, 45.5]), nights([30, 31, 30.5], first=5)))
    assert found == (
        "The nights are quieter: LAeq −15.0 dB (95 %: −16.1 to −13.9; 3 nights after against 3 before).",
    )


def test_a_change_that_cannot_be_told_says_how_many_more_nights():
    before, after = nights([45, 38, 41]), nights([44, 37, 40], first=5, window_state="open")
    found = change_sentences(before_and_after(before, after))
    assert found[0].startswith("Whether the nights became quieter: cannot tell yet; LAeq −1.0 dB (95 %: −")
    assert found[0].endswith("More than 60 nights on each side would be needed.")
    assert found[1] == (
        "Before, the windows were closed, afterwards open: the difference is that of the windows and of the "
        "change together."
    )
    one = before_and_after(nights([45]), nights([30, 31], first=5))
    assert "interval not known; 2 nights after against 1 before" in change_sentences(one)[0]
    nothing = before_and_after(nights([45], measured_share=0.5), nights([30], first=5))
    assert change_sentences(nothing) == (
        "What changed cannot be told: 1 night after against 0 before.",
        "Left out, because part of the night was not measured: 2026-01-12.",
    )


def test_more_nights_are_put_into_words():
    few = difference_between([44, 40, 42], [40, 42, 44], as_energy=False)
    assert more_nights_text(few) == "About 29 more on each side would probably settle it."
    one = difference_between([44], [40], as_energy=False)
    assert more_nights_text(one).startswith("Measure at least two nights on each side")


def test_tables_hold_every_figure():
    group = pooled(
        nights([30.0, 34.0], verdicts={"WHO: mean": "exceeded"}, day_label="delivery", window_state="")
    )
    assert nights_table("Nights", group.nights).rows[0] == (
        "Mon 2026-01-12", "not noted", "delivery", "30.0", "50.0", "22.0", "4", "100 %",
    )  # fmt: skip
    events = group_table(group).rows[-1]
    assert events == ("Events a night", "2", "4.0", "4.0", "4.0", "0.0", "4.0", "4.0")
    assert exceedance_table(group).rows == (("WHO: mean", "2", "0", "0", "0", "16 to 100 %"),)
    assert [row[0] for row in week_table(group).rows] == ["Monday", "Tuesday", "delivery"]
    change = change_table(before_and_after(nights([40, 41], events=9), nights([30, 31], first=5, events=2)))
    assert change.rows[-1] == ("Events a night", "9.0", "2.0", "−7.0", "−7.0 to −7.0", "fewer", "Student's t")
    for table in (change, group_table(group), exceedance_table(group), week_table(group)):
        assert all(len(row) == len(table.columns) for row in table.rows)
