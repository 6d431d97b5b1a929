"""The filter behind which a night is heard: exact, without delay, whatever the blocks."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.proving.filtering import filtered

RATE = 8_000
START = datetime(2026, 2, 10, 23, tzinfo=UTC)
NOISE = np.random.default_rng(1).normal(0.0, 0.01, 3 * RATE + 123).astype(np.float32)
BANDS = len(MODEL_BANDS_HZ)


def heard(samples, loss_db, cuts=(), **others):
    pieces = np.split(samples, sorted(cuts))
    blocks = (PressureBlock(pressure_pa=each, sample_rate_hz=RATE, start=START) for each in pieces)
    return np.concatenate([block.pressure_pa for block in filtered(blocks, loss_db, **others)])


def steady(loss_db):
    return lambda seconds: np.broadcast_to(loss_db, (seconds.size, BANDS))


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, NOISE.size), max_size=5))
def test_cutting_the_sound_elsewhere_changes_nothing(cuts):
    loss_db = steady(np.linspace(0.0, 20.0, BANDS))
    assert heard(NOISE, loss_db, cuts) == pytest.approx(heard(NOISE, loss_db), abs=1e-8)


@pytest.mark.parametrize("samples", [1, 100, NOISE.size])
def test_the_same_loss_in_all_bands_is_a_factor_without_delay(samples):
    assert heard(NOISE[:samples], steady(20.0)) == pytest.approx(NOISE[:samples] / 10.0, abs=1e-7)


def test_a_tone_at_mid_band_loses_what_its_band_loses():
    loss_db = np.arange(BANDS, dtype=float)
    row = MODEL_BANDS_HZ.index(1000.0)
    tone = np.sin(2 * np.pi * 1000.0 * np.arange(2 * RATE) / RATE).astype(np.float32)
    middle = heard(tone, steady(loss_db))[RATE // 2 : -RATE // 2]
    assert 20 * np.log10(np.sqrt(2.0 * np.mean(middle**2))) == pytest.approx(-loss_db[row], abs=0.01)


def test_a_bang_stays_where_it_was_and_spreads_little():
    """Of the energy of a bang behind a door all but a thousandth stays within 10 ms."""
    bang = np.zeros(2 * RATE, dtype=np.float32)
    bang[RATE] = 1.0
    found = heard(bang, steady(np.linspace(0.0, 25.0, BANDS))) ** 2
    assert found.argmax() == RATE
    near = found[RATE - RATE // 100 : RATE + RATE // 100].sum()
    assert near > 0.999 * found.sum()


def test_a_loss_that_changes_does_not_click():
    """Between two losses the level runs from one to the other, and nothing new is heard above the tone."""
    tone = np.sin(2 * np.pi * 100.0 * np.arange(4 * RATE) / RATE).astype(np.float32)
    found = heard(tone, lambda s: np.broadcast_to(np.where(s < 2.0, 0.0, 20.0)[:, None], (s.size, BANDS)))
    assert np.abs(found).max() < 1.0001
    above = np.abs(np.fft.rfft(found[RATE : 3 * RATE] * np.hanning(2 * RATE)))
    assert above[2 * 300 :].max() < 1e-4 * above.max()


def test_a_loss_sets_in_when_it_is_said_to():
    """Half of the pressure that is lost is lost at the instant itself, within half a tick."""
    tone = np.sin(2 * np.pi * 1000.0 * np.arange(4 * RATE) / RATE).astype(np.float32)
    found = heard(tone, lambda s: np.broadcast_to(np.where(s < 2.0, 0.0, 60.0)[:, None], (s.size, BANDS)))
    rms = np.sqrt(np.mean(found.reshape(-1, RATE // 100) ** 2, axis=1) * 2.0)
    assert 0.01 * np.argmax(rms < 0.5) == pytest.approx(2.0, abs=0.0625)


def test_what_is_added_for_the_microphone_is_added():
    found = heard(NOISE, steady(0.0), correction_db=lambda hz: np.full_like(hz, 6.0))
    assert found == pytest.approx(NOISE * 10 ** (6 / 20), rel=1e-4, abs=1e-6)


def test_blocks_follow_each_other_from_the_start_of_the_sound_on():
    blocks = [PressureBlock(pressure_pa=NOISE, sample_rate_hz=RATE, start=START)]
    found, given = list(filtered(blocks, steady(3.0))), 0
    assert len(found) > 1
    for block in found:
        assert block.start == START + timedelta(seconds=given / RATE)
        given += block.pressure_pa.size
    assert given == NOISE.size


def test_silence_stays_silence_and_nothing_stays_nothing():
    assert not heard(np.zeros(RATE, dtype=np.float32), steady(3.0)).any()
    assert list(filtered([], steady(3.0))) == []
