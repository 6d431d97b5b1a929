"""NC and NR against printed curves and worked examples."""

import csv
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.character.room_criteria import (
    NC_DB_BY_BAND,
    NC_INDEX,
    OCTAVES_HZ,
    nc_rating,
    nr_rating,
    octave_levels,
    room_criteria,
)

TABLE = Path(__file__).parents[1] / "published" / "room_criteria.csv"


@pytest.fixture(scope="module")
def curves():
    """Return printed curves: (family, index) -> ten octave levels, nan where there is none."""
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return {
        (row["curve"], row["index"]): np.array([float(row[f"{hz:g}"] or "nan") for hz in OCTAVES_HZ])
        for row in csv.DictReader(lines)
    }


def spectrum(levels, first_hz):
    octaves = np.full(len(OCTAVES_HZ), np.nan)
    octaves[OCTAVES_HZ.index(first_hz) :] = levels
    return octaves


def test_the_table_of_nc_curves_is_that_printed(curves):
    for place, index in enumerate(NC_INDEX):
        printed = curves["NC_ansi_s12.2_2019", str(index)]
        assert [band[place] for band in NC_DB_BY_BAND] == printed.tolist()


def test_every_printed_curve_rates_as_itself(curves):
    for (family, index), levels in curves.items():
        if family == "NC_ansi_s12.2_2019":
            # 16 Hz has one level for three curves and 31.5 Hz for two: they say no more than "up to".
            rating = nc_rating(levels)
        elif family == "NR":
            rating = nr_rating(levels)
            # Printed to 0.1 dB; an index is at most 1/0.681 of that.
            assert rating.index == pytest.approx(float(index), abs=0.05 / 0.681)
            continue
        else:
            continue
        assert (rating.index, rating.printed) == (float(index), int(index))


def test_worked_examples_of_nc_are_met(published):
    for example in published("room_criteria_examples")["nc"]:
        octaves = spectrum(example["levels_63_8000"], 63.0)
        found = room_criteria(octaves)
        if "printed" in example:
            assert found.nc.printed == example["printed"], example["id"]
        if "index" in example:
            assert round(found.nc.index) == example["index"], example["id"]
        if "meets" in example:
            assert found.nc.printed <= example["meets"], example["id"]
        if "speech_interference_db" in example:
            assert found.speech_interference_db == example["speech_interference_db"]


def test_worked_examples_of_nr_are_met(published):
    for example in published("room_criteria_examples")["nr"]:
        found = nr_rating(spectrum(example["levels_31p5_8000"], 31.5))
        assert found.index == pytest.approx(example["index"], abs=0.05)
        assert found.governing_hz == example.get("governing_hz", found.governing_hz)


def test_nc_is_the_speech_level_unless_a_band_lies_above_its_curve(curves):
    nc_30 = curves["NC_ansi_s12.2_2019", "30"]
    # Mean of 35, 32, 29 and 28.
    plain = room_criteria(nc_30)
    assert (plain.nc_index, plain.nc_by_speech) == (31.0, True)
    rumbling = nc_30.copy()
    rumbling[OCTAVES_HZ.index(63.0)] = 64.0
    found = room_criteria(rumbling)
    assert (found.nc_index, found.nc_by_speech, found.nc.governing_hz) == (40.0, False, 63.0)


def test_a_level_between_two_curves_is_rated_in_proportion(curves):
    levels = curves["NC_ansi_s12.2_2019", "25"].copy()
    levels[OCTAVES_HZ.index(1000.0)] = 29.0  # NC-25 has 27, NC-30 has 32
    rating = nc_rating(levels)
    assert (rating.index, rating.printed, rating.governing_hz) == (27.0, 30, 1000.0)


def test_beyond_the_curves_no_number_is_made_up(curves):
    loud = nc_rating(curves["NC_ansi_s12.2_2019", "70"] + 1)
    assert (loud.index, loud.printed) == (np.inf, None)
    quiet = nc_rating(curves["NC_ansi_s12.2_2019", "15"] - 1)
    assert (quiet.index, quiet.printed) == (-np.inf, 15)
    unknown = room_criteria(np.full(len(OCTAVES_HZ), np.nan))
    assert np.isnan([unknown.nc_index, unknown.nr.index]).all()
    assert (unknown.nc.printed, unknown.nc.not_measured_hz) == (None, OCTAVES_HZ)
    silent = room_criteria(np.full(len(OCTAVES_HZ), -np.inf))
    assert (silent.nc_index, silent.nr.index, silent.nr.printed) == (-np.inf, -np.inf, None)


def test_octaves_are_sums_of_three_third_octaves():
    thirds = np.full(len(NOMINAL_HZ), 30.0)
    octaves = octave_levels(NOMINAL_HZ, thirds)
    assert np.isnan(octaves[0])
    np.testing.assert_allclose(octaves[1:], 30 + 10 * np.log10(3))
    short = octave_levels(NOMINAL_HZ[: NOMINAL_HZ.index(8000) + 1], thirds[: NOMINAL_HZ.index(8000) + 1])
    assert np.isnan(short[-1])
    assert np.isfinite(short[-2])
