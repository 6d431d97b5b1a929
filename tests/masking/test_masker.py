"""Masking spectra: their shapes, their limits and the one that fits the events."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.decibels import combine, energy, level
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import ProfileError, SettingsError
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, margin_db
from sleepnoise.masking.limits import HARD_CAP_DBA
from sleepnoise.masking.masker import (
    NEIGHBOUR_STEP_DB,
    MaskerShape,
    masker_shapes,
    masker_spectrum,
    needed_level_dba,
    needed_masker_db,
    shape_from_profile,
    shaped_to_events,
    smooth_cover_db,
)
from sleepnoise.profiles.files import read_masker
from sleepnoise.profiles.schema import MaskerProfile

BANDS = len(MODEL_BANDS_HZ)
A_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)
SHAPES = {shape.name: shape for shape in masker_shapes()}
FILES = {"pink": "pink", "brown": "brown", "falling_5_db": "falling-5-db"}


def profile(slope_db, lowest_hz=25.0, highest_hz=12500.0):
    """Return a masker profile that no file holds."""
    return MaskerProfile.model_validate(
        {
            "kind": "masker",
            "title": "Test",
            "summary": "Test",
            "band_slope_db_per_octave": slope_db,
            "lowest_hz": lowest_hz,
            "highest_hz": highest_hz,
            "source": "s",
            "sources": {"s": {"document": "None", "place": "none", "how_known": "assumption"}},
        }
    )


def random_events(seed, count):
    """Return sounds and backgrounds, shape (count, bands) each, dB: broad, tilted, some bands silent."""
    rng = np.random.default_rng(seed)
    tilt_db = rng.uniform(-1.5, 0.5, (count, 1)) * np.arange(BANDS)
    signal_db = rng.uniform(30, 65, (count, 1)) + tilt_db + rng.normal(0, 4, (count, BANDS))
    signal_db[rng.random((count, BANDS)) < 0.2] = -np.inf
    return signal_db, rng.uniform(5, 20, (count, 1)) - 0.5 * np.arange(BANDS)


def margins_with(signal_db, background_db, masker_db):
    """Return margins by the raw model."""
    return margin_db(signal_db, level(energy(background_db) + energy(masker_db)))


def test_shapes_agree_with_those_worked_out_by_hand(published):
    table = published("masker_shapes_40_dba")
    # Half a printed digit, and 0.01 dB because the table's A-weights are rounded to 0.1 dB.
    tolerance_db = table["source"]["printed_step_db"] / 2 + 0.01
    for entry in table["shape"]:
        made = profile(entry["slope_db_per_octave"], entry["lowest_hz"], entry["highest_hz"])
        spectrum = masker_spectrum(made, 40.0)
        for nominal_hz, level_db in zip(spectrum.nominal_hz, spectrum.levels_db, strict=True):
            printed_db = entry["levels_db"].get(f"{nominal_hz:g}", -np.inf)
            assert level_db == pytest.approx(printed_db, abs=tolerance_db), (entry["name"], nominal_hz)


@pytest.mark.parametrize("name", ["pink", "brown", "white", "falling-5-db"])
def test_shipped_shapes_have_the_level_asked_for(name):
    assert SHAPES[name].at(37.5).weighted_level("A") == pytest.approx(37.5, abs=1e-9)
    assert masker_spectrum(read_masker(name), 37.5).levels_db == pytest.approx(
        SHAPES[name].at(37.5).levels_db, abs=1e-9
    )


@pytest.mark.parametrize("level_dba", [50.01, 80.0, np.inf, np.nan])
def test_no_masker_is_made_above_the_hard_cap(level_dba):
    with pytest.raises(SettingsError, match=r"50 dB\(A\) at the pillow and no more"):
        SHAPES["pink"].at(level_dba)
    with pytest.raises(SettingsError):
        masker_spectrum(profile(0.0), level_dba)


def test_no_masker_is_silence():
    assert (SHAPES["pink"].at(-np.inf).levels_db == -np.inf).all()


def test_a_profile_without_a_band_is_refused():
    with pytest.raises(ProfileError, match="must hold a third octave"):
        shape_from_profile("narrow", profile(0.0, 13_000.0, 20_000.0))


def test_needed_levels_agree_with_the_worked_example(passby):
    for row in passby.table["needed"]:
        # The example leaves the background as it is behind every loss.
        heard_db = passby.event.levels_db - row["loss_db"]
        needed_db = needed_masker_db(heard_db, passby.background.levels_db, 0.0)
        for printed, name in FILES.items():
            if printed in row:
                ours_dba = float(needed_level_dba(needed_db, SHAPES[name]))
                assert ours_dba == pytest.approx(row[printed], abs=passby.half_digit_db), (row, name)
        per_band_dba = float(combine(needed_db + A_WEIGHTING_DB))
        assert per_band_dba == pytest.approx(row["shaped_per_band"], abs=passby.half_digit_db)


def test_the_fitted_shape_costs_little_more_than_the_bands_alone(passby):
    needed_db = needed_masker_db(passby.event.levels_db, passby.background.levels_db, 0.0)
    fitted = shaped_to_events(needed_db[None], cap_dba=50.0)
    fitted_dba = float(needed_level_dba(needed_db, fitted))
    # Evenness may only add; here it adds less than a digit to the 44.3 dB(A) of the worked example.
    assert 44.25 <= fitted_dba <= 44.4


@given(st.integers(0, 10_000), st.sampled_from(sorted(SHAPES)), st.floats(-10, 13))
def test_needed_level_is_where_the_raw_model_reaches_the_margin(seed, name, margin):
    signal_db, background_db = random_events(seed, 4)
    signal_db[:, 0] = -np.inf  # 20 Hz, where no standard shape sounds
    needed_db = needed_masker_db(signal_db, background_db, margin)
    for i, level_dba in enumerate(needed_level_dba(needed_db, SHAPES[name])):
        if level_dba == -np.inf:
            assert margin_db(signal_db[i], background_db[i]) <= margin + 1e-9
        else:
            masker_db = SHAPES[name].spectrum.levels_db + level_dba
            at_limit_db = float(margins_with(signal_db[i], background_db[i], masker_db))
            assert at_limit_db == pytest.approx(margin, abs=1e-6)


def test_a_shape_that_is_silent_where_masking_is_needed_never_covers():
    needed_db = np.where(np.array(MODEL_BANDS_HZ) == 50, 60.0, -np.inf)
    high = shape_from_profile("high", profile(0.0, lowest_hz=100.0))
    assert float(needed_level_dba(needed_db, high)) == np.inf
    assert float(needed_level_dba(np.full(BANDS, np.nan), high)) == -np.inf


@given(st.integers(0, 10_000), st.integers(1, 12))
def test_fitted_shape_is_even_and_covers_and_no_standard_shape_is_quieter(seed, count):
    signal_db, background_db = random_events(seed, count)
    signal_db[:, 0] = -np.inf
    needed_db = needed_masker_db(signal_db, background_db, 0.0)
    fitted = shaped_to_events(needed_db, cap_dba=200.0)
    fitted_dba = needed_level_dba(needed_db, fitted).max()
    if fitted_dba == -np.inf:
        return
    assert np.abs(np.diff(fitted.spectrum.levels_db)).max() <= NEIGHBOUR_STEP_DB + 1e-9
    masker_db = fitted.spectrum.levels_db + fitted_dba
    assert margins_with(signal_db, background_db, masker_db).max() == pytest.approx(0.0, abs=1e-6)
    # White, pink and brown are even too, so none of them can cover with less; 20 Hz, where only the
    # fitted shape sounds, is worth less than 0.01 dB(A).
    for name in ("white", "pink", "brown"):
        assert fitted_dba <= needed_level_dba(needed_db, SHAPES[name]).max() + 0.01


@given(st.lists(st.floats(-20, 60) | st.just(-np.inf), min_size=BANDS, max_size=BANDS).map(np.array))
def test_smooth_cover_is_the_least_even_spectrum_above(levels_db):
    cover_db = smooth_cover_db(levels_db)
    assert (cover_db >= levels_db).all()
    if (levels_db == -np.inf).all():
        assert (cover_db == -np.inf).all()
        return
    assert np.abs(np.diff(cover_db)).max() <= NEIGHBOUR_STEP_DB + 1e-9
    # Least: every band is held up by the given spectrum, or by a neighbour that is a full step higher.
    neighbour_db = np.maximum(np.append(cover_db[1:], -np.inf), np.insert(cover_db[:-1], 0, -np.inf))
    assert np.maximum(levels_db, neighbour_db - NEIGHBOUR_STEP_DB) == pytest.approx(cover_db)


def test_events_out_of_reach_or_given_up_do_not_shape_the_masker():
    needed_db = np.full((3, BANDS), -np.inf)
    bands = [MODEL_BANDS_HZ.index(hz) for hz in (1000, 2000, 500)]
    needed_db[range(3), bands] = [20.0, 30.0, 60.0]

    def peak(**how):
        fitted = shaped_to_events(needed_db, **how)
        return MODEL_BANDS_HZ[int(np.argmax(fitted.spectrum.levels_db))]

    assert peak(cap_dba=40.0) == 2000  # 500 Hz is out of reach
    assert peak(cap_dba=40.0, uncovered_allowed=1) == 2000  # which is the one that may stay audible
    assert peak(cap_dba=40.0, uncovered_allowed=2) == 1000
    assert peak(cap_dba=70.0) == 500
    assert peak(cap_dba=25.0) == 1000
    silent = shaped_to_events(needed_db, cap_dba=15.0)  # too little for any of them
    assert (silent.spectrum.levels_db == -np.inf).all()


@given(st.integers(0, 10_000), st.integers(1, 12), st.sampled_from([30.0, 40.0, 50.0]))
def test_the_events_that_shape_a_masker_are_covered_within_the_cap(seed, count, cap_dba):
    signal_db, background_db = random_events(seed, count)
    needed_db = needed_masker_db(signal_db, background_db, 0.0)
    fitted = shaped_to_events(needed_db, cap_dba=cap_dba)
    covered = np.sum(needed_level_dba(needed_db, fitted) <= cap_dba + 1e-9)
    by_demand_db = needed_db[np.argsort(combine(needed_db + A_WEIGHTING_DB, axis=-1))]
    for together in range(1, count + 1):
        cover_db = smooth_cover_db(by_demand_db[:together].max(axis=0))
        if combine(cover_db + A_WEIGHTING_DB) <= cap_dba:
            assert covered >= together


def test_nothing_needed_gives_no_sound():
    for needed_db in (np.empty((0, BANDS)), np.full((2, BANDS), -np.inf), np.full((2, BANDS), np.nan)):
        fitted = shaped_to_events(needed_db, cap_dba=40.0)
        assert (fitted.spectrum.levels_db == -np.inf).all()
        assert (fitted.at(40.0).levels_db == -np.inf).all()


def test_hard_cap_stays_where_the_sleep_evidence_puts_it():
    # Basner et al. 2026 and Hugh et al. 2014 (looked-up): 50 dB(A).
    assert HARD_CAP_DBA == 50.0
    assert isinstance(SHAPES["pink"], MaskerShape)
