"""Third octaves against IEC 61260-1:2014; values and their source stand in tests/published."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import (
    NOMINAL_HZ,
    OCTAVE_RATIO,
    band_edges_hz,
    band_label,
    exact_hz,
    mid_band_hz,
)


def test_every_band_has_the_published_name_middle_and_edges(iec_61260):
    table = iec_61260["bands"]
    rows = np.array(table["rows"])
    assert tuple(rows[:, 0]) == NOMINAL_HZ
    np.testing.assert_allclose(mid_band_hz(), rows[:, 1], rtol=0, atol=table["printed_step_hz"] / 20)
    np.testing.assert_allclose(band_edges_hz(), rows[:, 2:].T, rtol=0, atol=table["printed_step_hz"] / 2)


def test_a_band_ends_where_the_next_one_begins():
    lower_hz, upper_hz = band_edges_hz()
    np.testing.assert_allclose(upper_hz[:-1], lower_hz[1:], rtol=1e-12)


def test_three_bands_are_an_octave_and_ten_a_decade():
    middle_hz = mid_band_hz()
    np.testing.assert_allclose(middle_hz[3:] / middle_hz[:-3], OCTAVE_RATIO, rtol=1e-12)
    np.testing.assert_allclose(middle_hz[10:] / middle_hz[:-10], 10.0, rtol=1e-12)


def test_the_name_is_the_exact_frequency_rounded_as_annex_e_asks():
    """Three figures if the first is 1 to 4, else two (IEC 61260-1:2014, Annex E.3, library): within 1.3 %."""
    for nominal, middle_hz in zip(NOMINAL_HZ, mid_band_hz(), strict=True):
        assert nominal == pytest.approx(middle_hz, rel=0.013)


@pytest.mark.parametrize(
    ("nominal_hz", "label"), [(20.0, "20"), (31.5, "31.5"), (1000.0, "1000"), (12500.0, "12500")]
)
def test_a_band_is_called_by_its_nominal_frequency(nominal_hz, label):
    assert band_label(nominal_hz) == label


def test_nominal_frequencies_outside_the_audible_range_have_exact_ones_too(iec_61672):
    """Table 3 of IEC 61672-1 starts at 10 Hz."""
    assert exact_hz(iec_61672["weighting"]["rows"][0][0]) == pytest.approx(10.0)
    assert exact_hz(12.5) == pytest.approx(12.589, abs=0.0005)
