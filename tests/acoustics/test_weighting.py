"""Frequency weightings against IEC 61672-1:2013; values and their source stand in tests/published."""

import numpy as np
import pytest
from scipy.signal import freqs_zpk

from sleepnoise.acoustics.bands import NOMINAL_HZ, exact_hz
from sleepnoise.acoustics.weighting import (
    A_LOWER_POLE_HZ,
    A_UPPER_POLE_HZ,
    HIGH_POLE_HZ,
    LOW_POLE_HZ,
    band_weighting_db,
    weighting_db,
    weighting_response,
)


@pytest.mark.parametrize(("weighting", "column"), [("A", 1), ("C", 2)])
def test_every_row_of_table_3_is_met_to_half_a_printed_digit(iec_61672, weighting, column):
    table = iec_61672["weighting"]
    rows = np.array(table["rows"])
    assert len(rows) == 34
    exact = [exact_hz(nominal) for nominal in rows[:, 0]]
    np.testing.assert_allclose(
        weighting_db(exact, weighting), rows[:, column], rtol=0, atol=table["printed_step_db"] / 2
    )


def test_nominal_frequencies_would_not_meet_the_table(iec_61672):
    """The check above has teeth: it is met at exact frequencies and fails at nominal ones."""
    rows = np.array(iec_61672["weighting"]["rows"])
    assert np.abs(weighting_db(rows[:, 0], "A") - rows[:, 1]).max() > 0.2


def test_poles_follow_from_the_four_frequencies_of_annex_e(iec_61672):
    table = iec_61672["poles"]
    reference2, low2, high2 = 1000.0**2, table["lowest_hz"] ** 2, table["highest_hz"] ** 2
    d = np.sqrt(0.5)
    b = (reference2 + low2 * high2 / reference2 - d * (low2 + high2)) / (1 - d)
    root = np.sqrt(b**2 - 4 * low2 * high2)
    f1, f4 = np.sqrt((-b - root) / 2), np.sqrt((-b + root) / 2)
    f2, f3 = (table["a_hz"] * (3 + sign * np.sqrt(5)) / 2 for sign in (-1, 1))
    ours = [LOW_POLE_HZ, A_LOWER_POLE_HZ, A_UPPER_POLE_HZ, HIGH_POLE_HZ]
    np.testing.assert_allclose(ours, [f1, f2, f3, f4], rtol=1e-10)


@pytest.mark.parametrize(("weighting", "name"), [("A", "a1000_db"), ("C", "c1000_db")])
def test_the_formula_needs_the_printed_normalisation(iec_61672, weighting, name):
    table = iec_61672["poles"]
    low2, high2, f2 = LOW_POLE_HZ**2, HIGH_POLE_HZ**2, 1000.0**2
    bare = high2 * f2 / ((f2 + low2) * (f2 + high2))
    if weighting == "A":
        bare *= f2 / np.sqrt((f2 + A_LOWER_POLE_HZ**2) * (f2 + A_UPPER_POLE_HZ**2))
    assert 20 * np.log10(bare) == pytest.approx(table[name], abs=table["printed_step_db"] / 2)
    assert weighting_db(1000.0, weighting) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("weighting", ["A", "C"])
def test_the_phase_is_that_of_an_analogue_filter_with_the_same_poles(weighting):
    """Peaks depend on the phase, on which tables say nothing: compared with scipy's analogue filter."""
    poles = [LOW_POLE_HZ] * 2 + [HIGH_POLE_HZ] * 2
    zeros = [0.0] * 2
    if weighting == "A":
        poles, zeros = [*poles, A_LOWER_POLE_HZ, A_UPPER_POLE_HZ], [0.0] * 4
    frequency_hz = np.geomspace(5.0, 96_000.0, 200)
    _, expected = freqs_zpk(zeros, [-2 * np.pi * pole for pole in poles], 1.0, 2 * np.pi * frequency_hz)
    turned = weighting_response(frequency_hz, weighting) / expected
    np.testing.assert_allclose(np.angle(turned), 0.0, atol=1e-9)
    np.testing.assert_allclose(np.abs(turned), np.abs(turned[0]), rtol=1e-9)


def test_z_changes_nothing_and_a_and_c_let_no_steady_pressure_through():
    assert (weighting_db([0.0, 1.0, 1e5], "Z") == 0.0).all()
    assert np.isneginf(weighting_db([0.0], "A")).all()
    assert np.isneginf(weighting_db([0.0], "C")).all()


def test_bands_are_weighted_at_their_exact_frequencies():
    expected = [float(weighting_db(exact_hz(nominal), "A")) for nominal in NOMINAL_HZ]
    np.testing.assert_allclose(band_weighting_db(NOMINAL_HZ, "A"), expected, rtol=1e-12)
    np.testing.assert_array_equal(band_weighting_db(NOMINAL_HZ), band_weighting_db(NOMINAL_HZ, "A"))
