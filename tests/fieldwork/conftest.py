"""Level histories written down tick by tick."""

from datetime import UTC, datetime

import numpy as np
import pytest

from sleepnoise.levels.bands import bands_within
from sleepnoise.levels.history import LevelHistory


@pytest.fixture
def level_history_of():
    """Return a history of given LAF; bands lie 10 dB below it."""

    def history(laf, lceq=None):
        laf = np.asarray(laf, dtype=np.float32)
        nominal_hz = tuple(hz for hz in bands_within(8_000) if hz <= 2500)
        return LevelHistory(
            start=datetime(2026, 2, 7, 14, 0, tzinfo=UTC), sample_rate_hz=8_000, laeq=laf.copy(),
            laf=laf.copy(), lafmax=laf.copy(), lafmin=laf.copy(), lasmax=laf.copy(),
            lceq=laf + np.float32(9) if lceq is None else np.asarray(lceq, dtype=np.float32),
            lzeq=laf + np.float32(12), lcpeak=laf + np.float32(20), nominal_hz=nominal_hz,
            bands=np.tile(laf - np.float32(10), (len(nominal_hz), 1)),
            left_out=np.zeros(laf.size, dtype=np.bool_),
        )  # fmt: skip

    return history
