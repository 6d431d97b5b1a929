"""Figures say what the data say: places in a drawing are turned back into numbers by its printed axes."""

import itertools
import json
import math
import re
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import energy
from sleepnoise.comparison.before_after import difference_between
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.dossier.kept_door_test import door_test_from
from sleepnoise.dossier.night_sketch import night_sketch
from sleepnoise.planning.room_study import study_room
from sleepnoise.profiles.files import door_test_from as profile_from
from sleepnoise.profiles.files import read_door_test
from sleepnoise.report.ladder_plot import bands_figure, ladder_figure
from sleepnoise.report.night_strip import ShownNight, nights_figure, strip_figure
from sleepnoise.report.nights_sections import nights_sections
from sleepnoise.report.path_plot import OWN_COLOURS, levels_figure, shares_figure
from sleepnoise.report.trade_plot import map_of_first_plan, map_of_plan, stairs_figure
from sleepnoise.trials.door_test import study_door_test

DEMO = Path(__file__).parents[2] / "demo_audio"


def typed(*levels, background=None):
    steps = [{"title": f"change {place}", "laeq": [laeq]} for place, laeq in enumerate(levels, start=1)]
    table = {"kind": "door-test", "title": "Invented", "step": steps}
    if background is not None:
        table["background"] = {"laeq": [background]}
    return door_test_from(door_test_document(study_door_test(profile_from(table), Path())), "test")


@pytest.fixture(scope="module")
def recorded():
    """Return the door test of the demo, from its recordings, through its document as it is kept."""
    profile = read_door_test(DEMO / "door_test.toml")
    document = door_test_document(study_door_test(profile, DEMO))
    return door_test_from(json.loads(json.dumps(document)), "test")


def numbers(path):
    return [float(each) for each in re.findall(r"-?[\d.]+", path)]


def test_the_rungs_of_a_ladder_are_its_levels_and_whiskers_its_uncertainty(read_figure):
    # A usual door, open, closed, with a curtain, sealed: common practice, no source.
    test = typed(70.0, 60.0, 53.0, 49.0)
    drawn = read_figure(ladder_figure(test, "x").svg)
    level = drawn.up()
    rungs = [numbers(each.get("d"))[1] for each in drawn.having("step")]
    assert [level(y) for y in rungs] == pytest.approx([70, 60, 53, 49], abs=drawn.step)
    whiskers = [numbers(each.get("d")) for each in drawn.having("bar")]
    for step, (_, low, high) in zip(test.steps[1:], whiskers, strict=True):
        half = step.step_gain.expanded_uncertainty_db[0]
        assert level(low) == pytest.approx(step.corrected_db[0] - half, abs=drawn.step)
        assert level(high) == pytest.approx(step.corrected_db[0] + half, abs=drawn.step)
    told = [each.text for each in drawn.having("strong") if "±" in (each.text or "")]
    assert told == ["10.0 ± 2.0", "7.0 ± 2.0", "4.0 ± 2.0"]


def test_a_step_that_the_background_decides_is_drawn_as_a_limit(read_figure):
    # ISO 16283-1: 6 dB or less over the background, 1.3 dB are taken off and no more.
    drawn = read_figure(ladder_figure(typed(70.0, 38.0, background=33.0), "x").svg)
    assert len(drawn.having("limit")) == 1
    assert len(drawn.having("arrow")) == 1
    assert "≥ 33.3" in [each.text for each in drawn.having("strong")]


def test_lines_of_bands_are_gains_and_the_shaded_ones_their_uncertainty(read_figure, recorded):
    drawn = read_figure(bands_figure(recorded, "x").svg)
    level = drawn.up()
    for place, number in enumerate((2, 3), start=1):
        [line] = drawn.having(f"line{place}")
        heights = [numbers(each)[1] for each in re.split("[ML]", line.get("d"))[1:]]
        gains = recorded.gain(1, number).gain_db[1:]
        assert [level(y) for y in heights] == pytest.approx(gains, abs=drawn.step)
    [shade] = drawn.having("spread")
    boxes = [numbers(each) for each in shade.get("d").split("Z")[:-1]]
    last = recorded.gain(1, 3)
    for box, gain, half in zip(boxes, last.gain_db[1:], last.expanded_uncertainty_db[1:], strict=True):
        assert [level(box[1]), level(box[3])] == pytest.approx([gain - half, gain + half], abs=drawn.step)


def test_paths_stand_at_their_levels_with_their_doubt_and_the_strongest_is_marked(read_figure, room_file):
    now = study_room(room_file).advice.now
    drawn = read_figure(levels_figure(now, "x").svg)
    level = drawn.across()
    order = np.argsort(-now.levels_dba, kind="stable")
    dots = [float(each.get("cx")) for each in drawn.having("dot")]
    assert [level(x) for x in dots] == pytest.approx(now.levels_dba[order], abs=drawn.step)
    bars = [numbers(each.get("d")) for each in drawn.having("bar")]
    for number, (low, _, high) in zip(order, bars, strict=True):
        half = 2 * now.paths.paths[number].u_db
        expected = [now.levels_dba[number] - half, now.levels_dba[number] + half]
        assert [level(low), level(high)] == pytest.approx(expected, abs=drawn.step)
    assert [each.get("class") for each in drawn.having("row")].index("row strong first") == 0
    # Energies of all paths add up to the line: levels add as in any handbook.
    [line] = drawn.having("value")
    together = 10 * math.log10(sum(10 ** (level(x) / 10) for x in dots))
    assert level(numbers(line.get("d"))[0]) == pytest.approx(together, abs=2 * drawn.step)


def test_parts_of_columns_are_shares_of_energy(read_figure, room_file):
    now = study_room(room_file).advice.now
    drawn = read_figure(shares_figure(now, "x").svg)
    share = drawn.up(" %")
    parts = [each for place in range(1, OWN_COLOURS + 2) for each in drawn.having(f"part{place}")]
    columns = {}
    for each in parts:
        columns.setdefault(float(each.get("x")), []).append(each)
    weighted = energy(now.band_levels_db)
    heard = [band for band in range(len(NOMINAL_HZ)) if weighted[:, band].sum() > 0]
    assert len(columns) == len(heard) + 1
    order = np.argsort(-now.levels_dba, kind="stable")
    tall = sum(float(each.get("height")) for each in columns[min(columns)])
    for band, x in zip(heard, sorted(columns), strict=False):
        expected = weighted[order, band] / weighted[:, band].sum()
        shown = [float(each.get("height")) / tall for each in columns[x]]
        assert shown == pytest.approx([each for each in expected if each > 0], abs=1e-3)
    top = min(float(each.get("y")) for each in parts)
    assert share(top) == pytest.approx(100.0, abs=0.1)
    whole = [float(each.get("height")) / tall for each in columns[max(columns)]]
    assert whole == pytest.approx(now.shares[order], abs=1e-3)


def test_stairs_are_the_fewest_audible_events_of_all_plans_within_money_and_masker(read_figure, summary):
    figure = stairs_figure(summary, "x")
    drawn = read_figure(figure.svg)
    count = drawn.up()
    count_step = drawn.step
    money = drawn.across()
    caps = re.findall(r"<span>(no masker|masker of up to (\d+) dB\(A\))</span>", figure.legend)
    assert len(caps) >= 2
    for place, (_, cap) in enumerate(caps, start=1):
        [line] = drawn.having(f"stair{place}")
        within = [each for each in summary.front if each.masker_dba <= float(cap or "-inf")]
        steps = re.findall(r"([MHV])([\d.]+)(?:,([\d.]+))?", line.get("d"))
        x = y = None
        corners = []
        for kind, one, other in steps:
            x, y = (one, other) if kind == "M" else (one, y) if kind == "H" else (x, one)
            corners.append((money(x), count(y)))
        for at, shown in corners[:-1]:
            near = [at - drawn.step, at + drawn.step]
            fewest = {min((p.audible for p in within if p.money <= edge), default=None) for edge in near}
            assert any(each is not None and abs(each - shown) <= count_step for each in fewest)
        assert corners[-1][1] == pytest.approx(min(each.audible for each in within), abs=count_step)
    [ring] = drawn.having("ring")
    best = summary.plan
    assert money(ring.get("cx")) == pytest.approx(best.money, abs=drawn.step)
    assert count(ring.get("cy")) == pytest.approx(best.audible, abs=count_step)


def test_a_plan_that_costs_nothing_stands_at_the_left_end(read_figure, summary):
    nothing = summary.front[0].model_copy(update={"money": 0.0})
    alone = summary.model_copy(update={"front": (nothing,), "plan": None})
    drawn = read_figure(stairs_figure(alone, "x").svg)
    money = drawn.across()
    [point] = drawn.having("points")[0]
    assert money(point.get("cx")) == pytest.approx(0.0, abs=drawn.step)
    assert "−" not in "".join(drawn.root.itertext())


def test_the_map_has_every_count_outlines_what_reaches_the_target_and_rings_the_plan(read_figure, summary):
    drawn = read_figure(map_of_plan(summary, "x").svg)
    cells = drawn.having("cell")
    counts = [int(cell[-1].text) for cell in cells]
    expected = list(itertools.chain(*summary.map.audible))
    assert counts == expected
    assert len(set(counts)) > 1
    allowed = summary.wish.events_allowed
    assert [("reached" in cell.get("class")) for cell in cells] == [count <= allowed for count in expected]
    [chosen] = [place for place, cell in enumerate(cells) if "chosen" in cell.get("class")]
    row, column = divmod(chosen, len(summary.map.levels_dba))
    best = summary.plan
    assert summary.map.money[row] >= best.money
    assert row == 0 or summary.map.money[row - 1] < best.money
    assert summary.map.levels_dba[column] >= best.masker_dba
    assert counts[chosen] <= best.audible
    for cell, count in zip(cells, expected, strict=True):
        assert float(cell[0].get("fill-opacity")) == pytest.approx(count / len(summary.events), abs=1e-3)


def test_the_first_plans_map_is_the_best_of_every_masker_shape(read_figure, record):
    plan = record.plan
    drawn = read_figure(map_of_first_plan(plan, "x").svg)
    counts = [int(cell[-1].text) for cell in drawn.having("cell")]
    steps = list(dict.fromkeys(choice.step.key for choice in plan.choices))
    columns = len(counts) // len(steps)
    for row, key in enumerate(steps):
        mine = [choice for choice in plan.choices if choice.step.key == key]
        assert counts[row * columns] == min(choice.audible_by_level[0] for choice in mine)
        assert counts[(row + 1) * columns - 1] == min(min(choice.audible_by_level) for choice in mine)


def night(day, laeq, *, windows="closed", share=1.0):
    return NightFigures(
        name=f"night {day}", evening=date(2026, 2, 1) + timedelta(days=day), window="23:00-07:00",
        window_state=windows, day_label="", absolute=True, expanded_uncertainty_db=3.0, measured_share=share,
        laeq=laeq, lafmax=laeq + 18.0, la90=laeq - 6.0, events=4, verdicts={},
    )  # fmt: skip


def test_nights_stand_at_their_levels_evening_by_evening(read_figure):
    nights = [night(0, 34.2), night(2, 31.0, windows="open"), night(3, 29.5, share=0.4)]
    figure = nights_figure(nights, [(date(2026, 2, 3), "seals")], "x", "dB")
    drawn = read_figure(figure.svg)
    level = drawn.up()
    marks = drawn.having("one")
    assert [each.get("class") for each in marks] == ["one closed", "one open", "one closed partial"]
    for each, figures in zip(marks, nights, strict=True):
        _, low, high = numbers(drawn.having("bar", each)[0].get("d"))
        expected = [figures.laeq - 3.0, figures.laeq + 3.0]
        assert [level(low), level(high)] == pytest.approx(expected, abs=drawn.step)
        for class_name, value in (("top", figures.lafmax), ("low", figures.la90)):
            [stroke] = drawn.having(class_name, each)
            assert level(numbers(stroke.get("d"))[1]) == pytest.approx(value, abs=drawn.step)
    places = [numbers(drawn.having("bar", each)[0].get("d"))[0] for each in marks]
    # Two days lie twice as far apart as one, and the change half a day before its first evening.
    assert places[1] - places[0] == pytest.approx(2 * (places[2] - places[1]), abs=0.3)
    [change] = drawn.having("value")
    assert numbers(change.get("d"))[0] == pytest.approx((places[0] + 3 * places[1]) / 4, abs=0.2)


def test_the_strip_draws_every_quarter_hour_at_its_time_and_level(read_figure, record):
    from sleepnoise.dossier.document import assessment_document

    document = assessment_document(record)
    opens = record.assessment.window.overlapping(record.assessment.start, record.assessment.end)[0]
    sketch = night_sketch(document, opens, "x")
    shown = ShownNight(
        name="2026-01-14", evening=date(2026, 1, 14), windows="closed", opens_minute=23 * 60,
        figures=None, sketch=sketch,
    )  # fmt: skip
    figure = strip_figure([shown], "x")
    drawn = read_figure(figure.svg)
    low, high = map(float, re.search(r"(\d+) to (\d+) dB in every row", figure.legend).groups())
    [field] = drawn.having("field")
    x, y, width, height = (float(field.get(name)) for name in ("x", "y", "width", "height"))
    boxes = [numbers(each) for each in drawn.having("spread")[0].get("d").split("Z")[:-1]]
    quarters = [each for each in record.assessment.quarter_hours if math.isfinite(each.statistics.la90)]
    assert len(boxes) == len(quarters) > 5

    def level(at):
        # The trace keeps a little off the field's rim.
        return low + (high - low) * (y + height - 1 - at) / (height - 4)

    for box, quarter in zip(boxes, quarters, strict=True):
        after = (quarter.start - opens).total_seconds() / 28800
        assert (box[0] - x) / width == pytest.approx(after, abs=0.001)
        found = [level(box[1]), level(box[3])]
        assert found == pytest.approx([quarter.statistics.la90, quarter.statistics.lafmax], abs=0.3)
    assert len(drawn.having("events")[0]) == len(record.assessment.events)


def test_differences_have_their_interval_and_word_and_what_cannot_be_told_says_so(read_figure, compared):
    [section] = [each for each in nights_sections(compared) if each.key == "change-1"]
    levels = next(each for each in section.figures if each.key.endswith("1-levels"))
    drawn = read_figure(levels.svg)
    value = drawn.across()
    found = compared.changes[0].by_windows["closed"]
    for bar, difference in zip(drawn.having("bar"), (found.laeq, found.lafmax, found.la90), strict=True):
        low, _, high = numbers(bar.get("d"))
        expected = [difference.low, difference.high]
        assert [value(low), value(high)] == pytest.approx(expected, abs=drawn.step)
    assert found.laeq.word == "quieter"
    assert "quieter" in levels.svg
    # One night on a side: no interval, and no word but this.
    single = difference_between([33.0], [28.0, 29.0], as_energy=True)
    assert single.word == "cannot tell"
    [windows] = [each for each in nights_sections(compared) if each.key == "windows"]
    events = windows.figures[1]
    assert f"{compared.windows.events.word}" in events.svg or "fewer" in events.svg


@pytest.fixture(scope="module")
def compared(case_folder):
    from sleepnoise.casework.comparing import compare_nights
    from sleepnoise.casework.dossier import read_dossier

    return compare_nights(read_dossier(case_folder))
