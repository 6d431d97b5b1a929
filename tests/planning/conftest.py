"""What several tests of this room need: events that are nothing but their spectra."""

from datetime import UTC, datetime

import numpy as np
import pytest

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.night.events import Event


def _event(maxima_db, background_db, nominal_hz=MODEL_BANDS_HZ):
    nan = float("nan")
    return Event(
        number=1,
        start=datetime(2026, 2, 10, 23, tzinfo=UTC),
        duration_s=5.0,
        first_tick=0,
        last_tick=40,
        lafmax=nan,
        lasmax=nan,
        lae=nan,
        lcpeak=nan,
        background_la90=nan,
        emergence_db=nan,
        max_spectrum=Spectrum(nominal_hz=nominal_hz, levels_db=np.asarray(maxima_db)),
        background_spectrum=Spectrum(nominal_hz=nominal_hz, levels_db=np.asarray(background_db)),
    )


@pytest.fixture(scope="session")
def make_event():
    """Return a maker of events from band maxima and background."""
    return _event


@pytest.fixture(scope="session")
def make_events():
    """Return a maker of many different events from a seed."""

    def make(seed, count):
        rng = np.random.default_rng(seed)
        bands = len(MODEL_BANDS_HZ)
        made = []
        for _ in range(count):
            background_db = rng.uniform(5, 25) - 0.6 * np.arange(bands) + rng.normal(0, 2, bands)
            maxima_db = (
                rng.uniform(20, 65) + rng.uniform(-2, 0.5) * np.arange(bands) + rng.normal(0, 4, bands)
            )
            made.append(_event(np.maximum(maxima_db, background_db), background_db))
        return made

    return make
