from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.levels.history import LevelHistory
from sleepnoise.recording.quality import QualityFlag
from sleepnoise.report.night_trace import BOTTOM, COLUMNS, LEFT, RIGHT, TOP, drawn_levels, night_trace


def test_an_event_is_marked_where_it_was(record: NightRecord) -> None:
    trace = night_trace(record)
    history = record.history
    for mark, event in zip(trace.events, record.assessment.events, strict=True):
        share = (event.start - history.start).total_seconds() / history.seconds
        assert mark.x == pytest.approx(LEFT + share * (RIGHT - LEFT), abs=0.1)
        assert mark.width >= 1.5


def test_no_peak_is_lost_between_columns(record: NightRecord) -> None:
    """The loudest tick of the night reaches as high as its level says, though columns are 8 s wide."""
    trace = night_trace(record)
    heights = [float(pair.split(",")[1]) for pair in trace.top_edge.strip("M").split(" ")]
    assert len(heights) == COLUMNS
    low_db, high_db = (float(trace.levels[place].text) for place in (0, -1))
    loudest_db = float(record.history.lafmax.max())
    share = (loudest_db - low_db) / (high_db - low_db)
    assert min(heights) == pytest.approx(BOTTOM - share * (BOTTOM - TOP), abs=0.1)


def test_what_is_not_known_leaves_a_gap(record: NightRecord) -> None:
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    levels = {name: getattr(record.history, name).copy() for name in names}
    for array in levels.values():
        array[20_000:30_000] = np.nan
    history = LevelHistory(
        start=record.history.start, sample_rate_hz=48_000, nominal_hz=record.history.nominal_hz,
        bands=record.history.bands, left_out=record.history.left_out, **levels,
    )  # fmt: skip
    trace = night_trace(replace(record, history=history))
    assert trace.top_edge.count("M") == 2
    assert "nan" not in trace.band


def test_silence_is_drawn_at_the_bottom(silent: NightRecord) -> None:
    trace = night_trace(silent)
    assert {pair.split(",")[1] for pair in trace.top_edge.strip("M").split(" ")} == {f"{BOTTOM:.1f}"}


def test_clock_times_jump_with_the_clocks(record: NightRecord) -> None:
    """Central Europe put its clocks back at 01:00 UTC on 25 October 2026: 02:00 comes twice."""
    history = record.history
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands", "left_out")
    moved = LevelHistory(
        start=datetime(2026, 10, 24, 23, 50, tzinfo=UTC),
        sample_rate_hz=48_000,
        nominal_hz=history.nominal_hz,
        **{name: getattr(history, name) for name in names},
    )
    trace = night_trace(replace(record, history=moved))
    texts = [mark.text for mark in trace.clock]
    assert texts == ["02:00", "02:15", "02:30", "02:45", "02:00", "02:15", "02:30", "02:45", "03:00"]
    places = [mark.at for mark in trace.clock]
    assert np.ptp(np.diff(places)) < 0.2


def test_values_it_was_judged_against_are_drawn_once_each_and_no_others(record: NightRecord) -> None:
    trace = night_trace(record)
    judged = {
        verdict.criterion.level_db
        for verdict in record.assessment.verdicts
        if verdict.word != "shown only" and verdict.criterion.level_db is not None
    }
    low_db, high_db = (float(trace.levels[place].text) for place in (0, -1))
    drawn = {float(mark.text.rsplit(" ", 1)[1]) for mark in trace.values}
    assert drawn == {db for db in judged if low_db < db < high_db}
    assert len(trace.values) == len(drawn) >= 2


def test_a_fault_is_marked_where_it_was(record: NightRecord) -> None:
    trace = night_trace(record)
    [mark] = trace.faults
    share = 75 * 60 / record.history.seconds
    assert mark.x == pytest.approx(LEFT + share * (RIGHT - LEFT), abs=0.1)
    assert mark.title == "knock: noted"


def test_a_gap_between_files_is_not_drawn_and_does_not_stretch_the_scale(record: NightRecord) -> None:
    """Between two files the detectors fall towards nothing, -200 dB and below: that is no level of a room."""
    history = record.history
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    levels = {name: getattr(history, name).copy() for name in names}
    left_out = history.left_out.copy()
    left_out[20_000:20_804] = True
    for array in levels.values():
        array[20_000:20_800] = np.linspace(array[19_999], -210.0, 800)
        array[20_800:20_804] = -60.0
    fallen = LevelHistory(
        start=history.start, sample_rate_hz=48_000, nominal_hz=history.nominal_hz, bands=history.bands,
        left_out=left_out, **levels,
    )  # fmt: skip
    gap = QualityFlag(
        kind="gap",
        start=history.start + timedelta(seconds=2500),
        end=history.start + timedelta(seconds=2600),
        what="Nothing was recorded between two files.",
        effect="left out",
    )
    night = replace(record, history=fallen, quality=(gap,))
    before, after = night_trace(record), night_trace(night)
    assert after.levels == before.levels
    assert after.top_edge.count("M") == 2
    shown = drawn_levels(night)
    assert np.isnan(shown.highest[20_000:20_800]).all()
    assert not np.isnan(shown.highest[:20_000]).any()
    assert shown.range_db == drawn_levels(record).range_db


def test_a_dropout_within_a_file_is_drawn_but_does_not_stretch_the_scale(record: NightRecord) -> None:
    history = record.history
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "left_out")
    levels = {name: getattr(history, name).copy() for name in names}
    levels["lafmin"][20_000:20_100] = levels["lafmax"][20_000:20_100] = -150.0
    levels["left_out"][20_000:20_100] = True
    silent = LevelHistory(
        start=history.start, sample_rate_hz=48_000, nominal_hz=history.nominal_hz,
        bands=history.bands, **levels,
    )  # fmt: skip
    shown = drawn_levels(replace(record, history=silent))
    assert shown.range_db == drawn_levels(record).range_db
    assert shown.lowest[20_050] == -150.0
