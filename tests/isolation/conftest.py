"""What several tests of this room need."""

import tomllib
from pathlib import Path

import pytest

DOORS = Path(__file__).parents[1] / "published" / "door_transmission_loss.toml"


@pytest.fixture(scope="session")
def doors():
    """Return published transmission losses and ratings of doors."""
    return tomllib.loads(DOORS.read_text(encoding="utf-8"))
