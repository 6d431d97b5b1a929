"""Excitation along the inner ear: what the filters must always do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.excitation import (
    EAR_HZ,
    FILTER_CAM,
    FILTER_HZ,
    MIDDLE_EAR_DB,
    OUTER_EAR_DB,
    band_excitations,
    excitations,
    filter_width_hz,
)

BANDS = len(NOMINAL_HZ)
few = settings(max_examples=25, deadline=None)
spectra_db = st.lists(st.floats(-20, 80), min_size=BANDS, max_size=BANDS).map(np.array)


def spectrum(levels_db):
    return Spectrum(nominal_hz=NOMINAL_HZ, levels_db=np.asarray(levels_db, float))


def test_filters_lie_on_the_scale_of_glasberg_and_moore_1990():
    # Glasberg & Moore 1990: Cam = 21.4 lg(4.37 f/kHz + 1), ERB = 24.7 (4.37 f/kHz + 1) Hz (library; ISO 532-2
    # has more digits of both, hence 0.3 %).
    assert pytest.approx(21.4 * np.log10(4.37 * FILTER_HZ / 1000 + 1), rel=0.003) == FILTER_CAM
    assert filter_width_hz(FILTER_HZ) == pytest.approx(24.7 * (4.37 * FILTER_HZ / 1000 + 1), rel=0.003)
    assert FILTER_CAM.size == 372
    assert (len(MIDDLE_EAR_DB), len(OUTER_EAR_DB["free"]), len(OUTER_EAR_DB["diffuse"])) == (39, 39, 39)
    assert (np.diff(EAR_HZ) > 0).all()


def test_a_tone_excites_its_own_filter_most_and_fully():
    (excitation,) = excitations(np.array([1000.0]), np.array([[51.0]]), "free")
    best = int(np.argmax(excitation))
    assert FILTER_HZ[best] == pytest.approx(1000.0, rel=0.01)
    # Outer and middle ear cancel at 1 kHz: +2.6 and -2.6 dB.
    assert level(excitation[best]) == pytest.approx(51.0, abs=0.05)


def test_a_louder_tone_reaches_further_up_but_not_further_down():
    def energies(level_db):
        return excitations(np.array([1000.0]), np.array([[level_db]]), "free")[0]

    # Filters below 200 Hz hear nothing of 1 kHz, loud or not.
    above, below = FILTER_HZ > 1200, (FILTER_HZ > 250) & (FILTER_HZ < 1000)
    with np.errstate(invalid="ignore"):
        change_db = level(energies(80.0) / energies(40.0)) - 40.0
    assert (change_db[above] > 0).all()
    assert change_db[below] == pytest.approx(0.0, abs=1e-9)


@few
@given(spectra_db, spectra_db)
def test_excitations_of_sounds_heard_together_add_up(one_db, other_db):
    one, other = spectrum(one_db), spectrum(other_db)
    apart = band_excitations((one, other))
    (together,) = band_excitations((one.combined(other),))
    assert apart.sum(axis=0) == pytest.approx(together, rel=1e-9)


def test_bands_are_heard_as_components_that_fill_them(components):
    levels_db = np.full(BANDS, 40.0)
    levels_db[NOMINAL_HZ.index(1000)] = 60.0
    (by_band,) = band_excitations((spectrum(levels_db),), "free")
    frequency_hz, components_db = components.third_octaves(NOMINAL_HZ, levels_db)
    (fine,) = excitations(frequency_hz, components_db[None], "free")
    # Nominal bands overlap here and gape there, and steps of 10 Hz miss a little of each.
    compared = (FILTER_HZ > 400) & (FILTER_HZ < 10000)
    assert level(by_band / fine)[compared] == pytest.approx(0.0, abs=0.7)


def test_silence_excites_nothing_and_unknown_bands_take_no_part():
    silence = spectrum(np.full(BANDS, -np.inf))
    assert (band_excitations((silence, silence)) == 0).all()
    levels_db = np.full(BANDS, 30.0)
    without_db, unknown_db = levels_db.copy(), levels_db.copy()
    without_db[20], unknown_db[20] = -np.inf, np.nan
    quiet = np.full(BANDS, 10.0)
    hidden = quiet.copy()
    hidden[20] = -np.inf
    expected = band_excitations((spectrum(without_db), spectrum(hidden)))
    assert band_excitations((spectrum(unknown_db), spectrum(quiet))) == pytest.approx(expected)


def test_sounds_with_other_bands_are_refused():
    short = Spectrum(nominal_hz=NOMINAL_HZ[:3], levels_db=np.zeros(3))
    with pytest.raises(ValueError, match="the same bands"):
        band_excitations((short, spectrum(np.zeros(BANDS))))
