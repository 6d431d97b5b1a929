"""Published tables that the vocabulary is checked against."""

import tomllib
from pathlib import Path

import pytest

PUBLISHED = Path(__file__).parents[1] / "published"


@pytest.fixture(scope="session")
def iec_61672():
    return tomllib.loads((PUBLISHED / "iec_61672_1_2013.toml").read_text())


@pytest.fixture(scope="session")
def iec_61260():
    return tomllib.loads((PUBLISHED / "iec_61260_1_2014.toml").read_text())
