"""A spectrum keeps its bands, its silence and its gaps in knowledge."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ, mid_band_hz
from sleepnoise.acoustics.spectrum import Spectrum

THREE = (500.0, 630.0, 800.0)


def of_three(*levels_db):
    return Spectrum(nominal_hz=THREE, levels_db=np.array(levels_db))


def test_levels_are_copied_and_locked():
    given = np.array([50.0, 40.0, 30.0])
    spectrum = Spectrum(nominal_hz=THREE, levels_db=given)
    given[0] = 99.0
    assert spectrum.levels_db[0] == 50.0
    with pytest.raises(ValueError, match="read-only"):
        spectrum.levels_db[0] = 1.0


@pytest.mark.parametrize(
    "nominal_hz", [(500.0, 800.0, 630.0), (500.0, 500.0, 630.0), (500.0, 630.0, 801.0), (10.0, 500.0, 630.0)]
)
def test_bands_that_are_unknown_doubled_or_out_of_order_are_refused(nominal_hz):
    with pytest.raises(ValueError, match="rising third octaves"):
        Spectrum(nominal_hz=nominal_hz, levels_db=np.zeros(3))


def test_bands_and_levels_must_be_as_many():
    with pytest.raises(ValueError, match="3 bands need as many levels"):
        Spectrum(nominal_hz=THREE, levels_db=np.zeros(2))


def test_a_loss_is_taken_off_band_by_band_and_leaves_silence_and_doubt_alone():
    left = of_three(50.0, -np.inf, np.nan).attenuated([10.0, 20.0, 30.0]).levels_db
    assert left[0] == 40.0
    assert np.isneginf(left[1])
    assert np.isnan(left[2])
    assert (of_three(50.0, 40.0, 30.0).attenuated(5.0).levels_db == [45.0, 35.0, 25.0]).all()


def test_two_sounds_together_sum_their_energies():
    both = of_three(60.0, -np.inf, np.nan).combined(of_three(60.0, 40.0, 40.0)).levels_db
    assert both[:2] == pytest.approx([63.0103, 40.0], abs=5e-5)
    assert np.isnan(both[2])
    other = Spectrum(nominal_hz=(630.0, 800.0, 1000.0), levels_db=np.zeros(3))
    with pytest.raises(ValueError, match="same bands"):
        of_three(1.0, 2.0, 3.0).combined(other)


def test_other_bands_keep_what_is_known_and_fill_the_rest():
    wider = of_three(50.0, 40.0, 30.0).on_bands((400.0, *THREE[1:]))
    assert np.isneginf(wider.levels_db[0])
    assert (wider.levels_db[1:] == [40.0, 30.0]).all()
    unknown = of_three(50.0, 40.0, 30.0).on_bands((400.0,), fill_db=np.nan)
    assert np.isnan(unknown.levels_db).all()


def test_the_reference_traffic_spectrum_has_its_published_a_weighted_sum():
    """ASTM E1332, reference source spectrum 80 Hz to 4 kHz and the constant 100.13 dB of its formula.

    Both from memory; they agree with each other to a hundredth.
    """
    levels_db = [103, 102, 101, 98, 97, 95, 94, 93, 93, 91, 90, 89, 89, 88, 88, 87, 85, 84]
    bands = NOMINAL_HZ[NOMINAL_HZ.index(80.0) : NOMINAL_HZ.index(4000.0) + 1]
    spectrum = Spectrum(nominal_hz=bands, levels_db=np.array(levels_db, dtype=float))
    # The document uses A weights printed to 0.1 dB: 18 roundings, none with more than a tenth of the sum.
    assert spectrum.weighted_level("A") == pytest.approx(100.13, abs=0.03)


def test_a_flat_spectrum_unweighted_is_its_plain_sum():
    flat = Spectrum(nominal_hz=NOMINAL_HZ, levels_db=np.full(mid_band_hz().size, 30.0))
    assert flat.weighted_level("Z") == pytest.approx(30.0 + 10 * np.log10(31), abs=1e-9)


def test_silence_has_no_weighted_level_and_doubt_makes_it_unknown():
    assert of_three(-np.inf, -np.inf, -np.inf).weighted_level() == -np.inf
    assert np.isnan(of_three(50.0, np.nan, 50.0).weighted_level())
