"""Decays against independently computed values and rooms with known reverberation."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import fftconvolve

from sleepnoise.fieldwork import reverberation

TABLE = Path(__file__).parents[1] / "published" / "decay_times.csv"
TRUE_S = 0.5
RATE_PER_S = 6 * np.log(10) / TRUE_S
FS = 8000
RANGES = (reverberation.EDT_RANGE_DB, reverberation.T20_RANGE_DB, reverberation.T30_RANGE_DB)


def rows():
    with TABLE.open() as file:
        yield from csv.DictReader(line for line in file if not line.startswith("#"))


def envelope(seconds, floor_db, true_s=TRUE_S, rate_hz=FS):
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return 10 ** (-6 * time_s / true_s) + 10 ** (floor_db / 10)


def room(seed, true_s=TRUE_S, rate_hz=16_000, noise_db=-60.0):
    """Noise that decays, from one second on, over steady noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(2 * rate_hz) / rate_hz
    decaying = rng.standard_normal(time_s.size) * 10 ** (-3 * time_s / true_s)
    response = np.concatenate([np.zeros(rate_hz), decaying])
    return response + 10 ** (noise_db / 20) * rng.standard_normal(response.size)


@pytest.mark.parametrize(
    "row", [pytest.param(row, id=f"{row['floor_db']} {row['method']}") for row in rows()]
)
def test_backward_integration_at_every_row_of_the_table(row):
    floor_db = float(row["floor_db"] or -np.inf)
    squared = envelope(1.5 if row["floor_db"] else 3.0, floor_db)
    cut = row["method"] != "none"
    crossing_s = -floor_db / 60 * TRUE_S if cut else 0.0
    curve_db = reverberation.integrated_decay(
        squared,
        end=int(crossing_s * FS) if cut else None,
        noise=10 ** (floor_db / 10) if "noise off" in row["method"] else 0.0,
        tail=FS * np.exp(-RATE_PER_S * crossing_s) / RATE_PER_S if "tail" in row["method"] else 0.0,
    )
    expected_s = [float(row[key]) for key in ("edt_s", "t20_s", "t30_s")]
    found_s = [reverberation.decay_time_s(curve_db, 1 / FS, limits) for limits in RANGES]
    # Half a printed digit, and as much for the sample at which the range ends.
    assert found_s == pytest.approx(expected_s, abs=0.00015)


@pytest.mark.parametrize("floor_db", [-40.0, -50.0, -60.0, -120.0])
def test_noise_is_found_and_taken_off_without_being_told(floor_db):
    found = reverberation.decay_times(envelope(1.5, floor_db), FS)
    assert found.range_db == pytest.approx(-floor_db, abs=0.2)
    assert found.edt_s == pytest.approx(TRUE_S, rel=0.001)
    assert found.t20_s == pytest.approx(TRUE_S, rel=0.001)
    if floor_db <= -50.0:
        assert found.t30_s == pytest.approx(TRUE_S, rel=0.001)
        assert found.curvature_percent == pytest.approx(0.0, abs=0.1)
        assert found.warnings == ()


@pytest.mark.parametrize(
    ("floor_db", "t20_known", "t30_known"),
    [(-34, False, False), (-37, True, False), (-43, True, False), (-47, True, True)],
)
def test_too_little_range_gives_no_time_and_a_warning_without_t20(floor_db, t20_known, t30_known):
    """ISO 3382-1 5.3.3: noise 35 dB below for T20, 45 dB for T30 (library)."""
    found = reverberation.decay_times(envelope(1.5, floor_db), FS)
    assert np.isfinite(found.t20_s) == t20_known
    assert np.isfinite(found.t30_s) == t30_known
    assert bool(found.warnings) == (not t20_known)


def test_noise_alone_has_no_decay():
    noise = np.random.default_rng(3).standard_normal(FS) ** 2
    found = reverberation.decay_times(noise, FS)
    assert np.isnan([found.edt_s, found.t20_s, found.t30_s]).all()
    assert found.warnings == ("No decay stands out of the noise.",)


def test_silence_and_a_click_have_no_decay():
    assert np.isnan(reverberation.decay_times(np.zeros(FS), FS).t20_s)
    assert np.isnan(reverberation.decay_times(np.zeros(3), FS).t20_s)


def test_a_decay_that_was_cut_off_has_no_more_range_than_was_there():
    # Digital silence after 0.35 s: 42 dB of decay; T30 would need more.
    cut = np.where(np.arange(3 * FS) < 0.35 * FS, envelope(3.0, -np.inf), 0.0)
    for floor in (0.0, 1e-12):
        found = reverberation.decay_times(cut + floor, FS)
        assert found.range_db == pytest.approx(42.0, abs=1.3)
        assert found.t20_s == pytest.approx(TRUE_S, rel=0.005)
        assert np.isnan(found.t30_s)


def test_noise_is_taken_from_all_that_follows_the_decay():
    """In a narrow band the last tenth alone would give the noise 2 dB too high or too low."""
    found = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        noise = reverberation.band_squared(rng.standard_normal(4 * FS), FS, 125.0)
        knee = reverberation.find_knee(envelope(4.0, -np.inf) + 1e-5 * noise, FS)
        found.append(knee.noise / (1e-5 * noise.mean()))
    # Half of 4 s at 29 Hz: B T = 58, so 13 %; the last 0.4 s would give 29 %.
    assert np.std(found) < 0.15


def test_a_bent_decay_is_reported():
    """ISO 3382-2 B.3: curvature above 10 % is suspicious (library)."""
    bent = envelope(3.0, -np.inf, 0.3) + 0.003 * envelope(3.0, -np.inf, 1.5)
    found = reverberation.decay_times(bent + 1e-9, FS)
    assert found.curvature_percent > 10.0
    assert "bent" in found.warnings[0]


@pytest.mark.parametrize("nominal_hz", [250.0, 500.0, 1000.0, 2000.0, 4000.0])
@pytest.mark.parametrize("true_s", [0.3, 0.5, 0.9])
def test_bands_of_a_noisy_response_have_the_rooms_reverberation(nominal_hz, true_s):
    found_s = [reverberation.impulse_decay(room(seed, true_s), 16_000, nominal_hz).t20_s for seed in range(6)]
    # ISO 3382-2 (memory): relative spread of T20 is 0.88 sqrt((1 + 1.9/n)/(N B T)), n = 10 for impulses.
    spread = 0.88 * np.sqrt(1.19 / (6 * 0.23 * nominal_hz * true_s))
    assert np.mean(found_s) == pytest.approx(true_s, rel=3 * spread)


def test_octaves_have_it_too():
    found = reverberation.impulse_decay(room(1), 16_000, 1000.0, octave=True)
    assert found.t20_s == pytest.approx(TRUE_S, rel=0.08)
    # Curvature is about 0: one slope.
    assert abs(found.curvature_percent) < 10.0


def test_a_short_decay_in_a_narrow_band_is_marked():
    """ISO 3382-2 7.3: B T above 16 (memory); 23 Hz x 0.5 s are 12, 46 Hz x 0.5 s are 23."""
    assert any("filter" in text for text in reverberation.impulse_decay(room(2), 16_000, 100.0).warnings)
    assert not any("filter" in text for text in reverberation.impulse_decay(room(2), 16_000, 400.0).warnings)


def test_interrupted_noise_has_the_rooms_reverberation():
    rate_hz, found_s = 16_000, []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        response = room(seed, rate_hz=rate_hz, noise_db=-np.inf)[rate_hz:]
        noise = rng.standard_normal((3, 2 * rate_hz))
        heard = np.stack([fftconvolve(one, response)[: 4 * rate_hz - 1] for one in noise])
        heard += 10 ** (-50 / 20) * heard[:, :rate_hz].std() * rng.standard_normal(heard.shape)
        found_s.append(reverberation.interrupted_decay(heard, rate_hz, 2 * rate_hz, 1000.0).t20_s)
    assert np.mean(found_s) == pytest.approx(TRUE_S, rel=0.07)


def test_the_onset_is_where_the_bang_begins():
    bang = np.concatenate([0.01 * np.ones(50), [0.2, 1.0], np.zeros(10)])
    assert reverberation.onset(bang) == 50


def test_thirds_of_a_signal_hold_its_energy():
    rng = np.random.default_rng(5)
    signal = rng.standard_normal(32_000)
    octave = reverberation.band_squared(signal, 16_000, 1000.0, octave=True).sum()
    thirds = sum(reverberation.band_squared(signal, 16_000, hz).sum() for hz in (800.0, 1000.0, 1250.0))
    assert 10 * np.log10(octave / thirds) == pytest.approx(0.0, abs=0.02)


@settings(max_examples=25)
@given(st.floats(0.2, 2.0), st.floats(1e-6, 1e6))
def test_loudness_changes_no_time(true_s, gain):
    squared = envelope(3.0, -70.0, true_s)
    plain, louder = (reverberation.decay_times(factor * squared, FS) for factor in (1.0, gain))
    assert plain.t20_s == pytest.approx(true_s, rel=0.002)
    assert louder.t20_s == pytest.approx(plain.t20_s, rel=1e-6)


def test_a_signal_that_breaks_off_makes_no_click_in_other_bands():
    # A 100 Hz tone that ends at its crest has nothing to say at 1 kHz; its end, cut, would.
    tone = np.cos(2 * np.pi * 100.0 * np.arange(-2 * FS, 1) / FS)
    found = reverberation.band_squared(tone, FS, 1000.0)
    assert found[-FS // 50 :].max() < 1e-6
