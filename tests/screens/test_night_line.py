"""The night as a line of blocks."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.screens.night_line import BLOCKS, COLUMNS, UNKNOWN, blocks, night_line
from sleepnoise.wording.rounding import duration_text


def test_a_loud_minute_stands_where_it_was(record):
    line, said = night_line(record)
    assert len(line) == COLUMNS
    night = record.assessment
    loudest = max(night.events, key=lambda event: event.lafmax)
    share = (loudest.start - night.start) / (night.end - night.start)
    assert line.index(BLOCKS[-1]) == int(share * COLUMNS)
    seconds = (night.end - night.start).total_seconds() / COLUMNS
    assert said.startswith(f"Each block: the highest LAF within {duration_text(seconds)}, ")


def test_silence_and_gaps_have_a_line_too(silent, record):
    assert night_line(silent) == ("", "")
    gap = record.history.left_out.copy()
    gap[record.history.ticks // 2 : record.history.ticks // 2 + 4000] = True
    line, _ = night_line(replace(record, history=record.history.without(gap)))
    assert UNKNOWN in line


@given(st.lists(st.floats(-20, 120), min_size=1, max_size=90))
def test_a_higher_level_never_has_a_lower_block(levels):
    line = blocks(np.array(levels))
    heights = [BLOCKS.index(block) for block in line]
    order = np.argsort(levels, kind="stable")
    assert sorted(heights) == [heights[place] for place in order]


def test_a_steady_night_is_flat():
    assert set(blocks(np.array([30.0, 30.4, 30.9]))) == {BLOCKS[0]}


@pytest.mark.parametrize("levels", [[np.nan], [-np.inf], []])
def test_nothing_known_is_no_error(levels):
    assert len(blocks(np.array(levels))) == len(levels)
