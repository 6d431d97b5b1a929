"""The engine's correction for a microphone whose response is not flat."""

from datetime import UTC, datetime

import numpy as np
import pytest

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.levels.engine import level_history

RATE_HZ = 16_000
HUNDREDTH = 0.01  # Both histories keep bands as whole hundredths of a decibel.
START = datetime(2026, 1, 14, tzinfo=UTC)


def _history(pressure_pa, **options):
    block = PressureBlock(pressure_pa=pressure_pa.astype(np.float32), sample_rate_hz=RATE_HZ, start=START)
    return level_history([block], **options)


@pytest.mark.parametrize("frequency_hz", [25.0, 100.0, 1000.0, 5000.0])
def test_a_correction_undoes_what_the_microphone_did_to_a_tone(frequency_hz):
    """A microphone that is 4 dB weak at a tone, and a correction of 4 dB, give the tone as it was."""
    tone_pa = np.sqrt(2) * 0.02 * np.sin(2 * np.pi * frequency_hz * np.arange(4 * RATE_HZ) / RATE_HZ)
    true = _history(tone_pa)
    heard = _history(
        tone_pa * 10 ** (-4 / 20), correction_db=lambda hz: 4.0 * np.exp(-((hz / frequency_hz - 1) ** 4))
    )
    middle = slice(12, 20)
    for name in ("laeq", "lceq", "lzeq", "lafmax", "lcpeak"):
        assert getattr(heard, name)[middle] == pytest.approx(getattr(true, name)[middle], abs=0.02)
    band = np.argmax(true.bands[:, 16])
    assert heard.bands[band, middle] == pytest.approx(true.bands[band, middle], abs=0.02)


def test_a_correction_acts_in_its_own_bands_only():
    noise_pa = np.random.default_rng(3).standard_normal(6 * RATE_HZ) * 0.02
    plain = _history(noise_pa)
    corrected = _history(noise_pa, correction_db=lambda hz: np.where(hz > 500, 2.0, -3.0))
    difference_db = corrected.bands[:, 24] - plain.bands[:, 24]
    hz = np.array(plain.nominal_hz)
    assert difference_db[hz < 400] == pytest.approx(-3.0, abs=0.01 + HUNDREDTH)
    assert difference_db[hz > 630] == pytest.approx(2.0, abs=0.01 + HUNDREDTH)
