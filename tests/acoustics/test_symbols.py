"""Symbols are the standard's spelling, and code, files and pages use the same ones."""

from dataclasses import fields

import pytest

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.levels.statistics import LevelStatistics


def test_a_symbol_is_registered_under_its_own_name():
    assert all(name == symbol.name for name, symbol in SYMBOLS.items())


def test_the_spelling_differs_from_the_code_in_case_only():
    for symbol in SYMBOLS.values():
        assert symbol.text.replace(",", "_").lower() == symbol.name
        assert symbol.html.replace("<sub>", "").replace("</sub>", "") == symbol.text


@pytest.mark.parametrize(
    ("name", "column"), [("laeq", "LAeq_dB"), ("lafmax", "LAFmax_dB"), ("la90", "LA90_dB"), ("lae", "LAE_dB")]
)
def test_column_heads_carry_the_unit(name, column):
    assert SYMBOLS[name].column == column


def test_every_level_of_the_statistics_has_a_symbol():
    levels = {field.name for field in fields(LevelStatistics)} - {"seconds", "left_out_s"}
    assert levels <= set(SYMBOLS)


def test_the_exceeded_levels_say_how_often_not_which_percentile():
    assert SYMBOLS["la90"].meaning == "A-weighted F level exceeded 90 % of the time"
