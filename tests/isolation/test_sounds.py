"""Generic sounds: brought to 0 dB(A), octaves shared out, and what standards print of them."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import combine
from sleepnoise.isolation.sounds import sound, sound_from_profile
from sleepnoise.profiles.files import read_sound, shipped_profiles
from sleepnoise.profiles.schema import SoundProfile

NAMES = [found.name for found in shipped_profiles("sound")]


def profile(bands, levels_db):
    """Return a sound profile that no file holds."""
    return SoundProfile.model_validate(
        {
            "kind": "sound",
            "title": "Test",
            "summary": "Test",
            "bands": bands,
            "a_weighted_db": levels_db,
            "source": "s",
            "sources": {"s": {"document": "None", "place": "none", "how_known": "assumption"}},
        }
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_sound_is_brought_to_0_db_a_and_hardly_had_to_be(name):
    shipped = sound(name)
    assert combine(shipped.a_weighted_db) == pytest.approx(0.0, abs=1e-9)
    # Spectrum No. 2 of ISO 717-1, in whole decibels, adds up to 0.23 dB; the others to half a step.
    assert combine(list(read_sound(name).a_weighted_by_hz.values())) == pytest.approx(0.0, abs=0.24)


@pytest.mark.parametrize(
    ("name", "sum_db"),
    [("pink-noise", 28.212), ("road-urban", 26.355)],
)
def test_adaptation_spectra_reproduce_the_sums_that_iso_717_1_prints(name, sum_db):
    """ISO 717-1:2020 Table C.2, 50 to 5000 Hz (library): -10 lg sum 10^((L - R)/10) of its example."""
    # Annex C: R from 50 Hz to 5000 Hz.
    r = [18.7, 19.2, 20.0, 20.4, 16.3, 17.7, 22.6, 22.4, 22.7, 24.8, 26.6, 28.0, 30.5, 31.8, 32.5, 33.4]
    r += [33.0, 31.0, 25.5, 26.8, 29.2]
    printed_db = list(read_sound(name).a_weighted_by_hz.values())
    assert -combine(np.subtract(printed_db, r)) == pytest.approx(
        sum_db, abs=0.001
    )  # the standard adds rounded terms


def test_an_octave_is_shared_equally_by_its_thirds():
    shape = sound_from_profile("test", profile("octaves", {"125": -3.0, "500": -3.0})).a_weighted_db
    by_hz = dict(zip(NOMINAL_HZ, shape, strict=True))
    thirds = [by_hz[hz] for hz in (100.0, 125.0, 160.0, 400.0, 500.0, 630.0)]
    assert thirds == pytest.approx([10 * np.log10(1 / 6)] * 6)
    assert np.isneginf(by_hz[250.0])


def test_thirds_stay_where_they_are():
    shape = sound_from_profile("test", profile("thirds", {"100": 12.0})).a_weighted_db
    assert shape[NOMINAL_HZ.index(100.0)] == pytest.approx(0.0)
    assert np.isneginf(shape).sum() == len(NOMINAL_HZ) - 1


def test_a_third_is_no_octave():
    with pytest.raises(ValueError, match="100 are no octaves"):
        profile("octaves", {"100": 0.0})
