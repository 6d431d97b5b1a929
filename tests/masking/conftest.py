"""What several tests of this room need."""

import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.masking.audibility import MODEL_BANDS_HZ
from sleepnoise.masking.masker import masker_shapes

PUBLISHED = Path(__file__).parents[1] / "published"


@pytest.fixture(scope="session")
def published():
    """Read a table of published values by name."""
    return lambda name: tomllib.loads((PUBLISHED / f"{name}.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def passby(published):
    """Return the worked example: the event alone, its background, and the printed results."""
    table = published("passby_example")
    levels_db = table["event"]["levels_db"]
    event_db = np.full(len(MODEL_BANDS_HZ), -np.inf)
    event_db[1 : 1 + len(levels_db)] = levels_db
    brown = {shape.name: shape for shape in masker_shapes()}["brown"]
    background_db = brown.at(table["background"]["level_dba"]).levels_db.copy()
    background_db[0] = table["background"]["band_20_hz_db"]
    return SimpleNamespace(
        event=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=event_db),
        background=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=background_db),
        table=table,
        half_digit_db=table["source"]["printed_step_db"] / 2,
    )
