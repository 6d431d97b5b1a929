"""Quantities and units are spelled one way, in everything that people read."""

import ast
import re
from pathlib import Path

import pytest

import sleepnoise
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.profiles.files import shipped_folder

ROOT = Path(sleepnoise.__file__).parent
CHECKOUT = Path(__file__).parents[2]
TEXTS = sorted(
    path
    for folder in (ROOT, shipped_folder(), CHECKOUT)
    for pattern in (
        ["*.md", "*.cff"] if folder == CHECKOUT else ["**/*.py", "**/*.toml", "**/*.html", "**/*.css"]
    )
    for path in folder.glob(pattern)
)

_SPELLED = {symbol.text for symbol in SYMBOLS.values()} | set(SYMBOLS)
_ANY_SYMBOL = re.compile(
    r"(?<![A-Za-z0-9])(?:l[acz]eq|la[fs]|la[fs]m(?:ax|in)|lcpeak|lae|la\d\d?)(?![A-Za-z0-9])", re.IGNORECASE
)
_ANY_WEIGHTED_DB = re.compile(r"(?<![A-Za-z0-9_])db ?(?:\([acz]\)|[acz](?![A-Za-z0-9_]))", re.IGNORECASE)
_ANY_UNIT = re.compile(r"(?<=\d)[ \u00a0]?(db|hz|khz|kpa|mpa|pa)(?![A-Za-z0-9_])", re.IGNORECASE)
_UNITS = {"dB", "Hz", "kHz", "Pa", "kPa", "mPa", "MPa"}


def misspelled(text):
    """Every symbol, weighted decibel or unit in a text that is not spelled as the standards do."""
    yield from (found for found in _ANY_SYMBOL.findall(text) if found not in _SPELLED)
    for found in _ANY_WEIGHTED_DB.findall(text):
        # "dB a night" is a sentence; "dB A", "dBA" and "db(a)" are units.
        if found not in ("dB(A)", "dB(C)", "dB(Z)", "dB a"):
            yield found
    yield from (found for found in _ANY_UNIT.findall(text) if found not in _UNITS)


def strings(path):
    """What people may read of a file: the strings of a module, the whole of any other text."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        return [text]
    return [
        node.value
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: "/".join(path.parts[-2:]))
def test_symbols_and_units_are_spelled_as_the_standards_do(path):
    assert [wrong for text in strings(path) for wrong in misspelled(text)] == []


@pytest.mark.parametrize(
    "text",
    [
        *(
            "Laeq",
            "LAEQ",
            "LAeQ 30",
            "Lafmax",
            "LAFMAX",
            "LAFMax_dB",
            "La90",
            "LAe",
            "LCEQ",
            "Lcpeak",
            "LaSmax",
        ),
        *("30 dBA", "30 db(A)", "dB(a)", "DB(A)", "dB (A)", "dbA", "30 db", "30 DB"),
        *("3 hz", "3 HZ", "3 KHz", "3 khz"),
    ],
)
def test_a_wrong_spelling_is_seen(text):
    assert list(misspelled(text))


@pytest.mark.parametrize(
    "text",
    [
        *(
            "LAeq 30 dB(A)",
            "LAFmax_dB",
            "laeq",
            "la90",
            "LA90",
            "L<sub>A90</sub>",
            "LAE, dB re 1 s",
            "level_db",
        ),
        *(
            "3 dB a night",
            "31.5 Hz",
            "16 kHz",
            "20 µPa",
            "2 Pa",
            "dB re 20 µPa",
            "Laerm",
            "a database",
            "lapse",
        ),
    ],
)
def test_a_right_spelling_is_left_alone(text):
    assert list(misspelled(text)) == []
