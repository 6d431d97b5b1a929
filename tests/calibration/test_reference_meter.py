import math

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import combine, pressure_level
from sleepnoise.calibration.reference_meter import LevelPair, calibration_from_reference, read_level_pairs
from sleepnoise.errors import CalibrationError

METER_DB = np.array([32.0, 38.0, 45.0, 51.0, 58.0, 66.0])  # invented sounds in an invented bedroom


def pairs(recorder_db, reference_db=METER_DB):
    return [
        LevelPair(reference_db=float(one), recorder_db=float(two))
        for one, two in zip(reference_db, recorder_db, strict=True)
    ]


def refused(given, **options):
    with pytest.raises(CalibrationError, match="reference meter") as caught:
        calibration_from_reference(given, **options)
    assert caught.value.remedy
    return caught.value


def test_the_gain_is_the_mean_difference():
    # Full scale is 100 dB; the differences of -1, +1, 0 ... leave the mean alone.
    found = calibration_from_reference(pairs(METER_DB - 100 + [-1, 1, 0, 0, 1, -1]))
    assert pressure_level(found.pascal_per_full_scale**2) == pytest.approx(100.0)
    assert found.absolute
    assert found.origin == "6 levels beside a class 2 meter, 32 to 66 dB, scatter 0.89 dB"
    assert found.remarks == ()


@pytest.mark.parametrize(("meter_class", "meter_u_db"), [(1, 0.5), (2, 1.5)])
def test_the_uncertainty_holds_recorder_meter_and_scatter(meter_class, meter_u_db):
    # Standard deviation of -1, 1, 0, 0, 1, -1 is sqrt(4/5); of the mean, sqrt(4/30).
    found = calibration_from_reference(pairs(METER_DB - 100 + [-1, 1, 0, 0, 1, -1]), meter_class=meter_class)
    by_hand_db = 2 * math.sqrt(1.5**2 + meter_u_db**2 + 4 / 30)
    assert found.expanded_uncertainty_db == pytest.approx(by_hand_db)


@pytest.mark.parametrize("scatter_seed", range(5))
def test_a_recorder_that_follows_is_taken_in_spite_of_scatter(scatter_seed):
    scatter = np.random.default_rng(scatter_seed).normal(0, 0.8, METER_DB.size)
    assert calibration_from_reference(pairs(METER_DB - 100 + scatter)).absolute


@pytest.mark.parametrize("slope", [0.91, 1.09])
def test_a_slope_within_what_meters_may_do_is_taken(slope):
    assert calibration_from_reference(pairs(slope * METER_DB - 80)).remarks == ()


@pytest.mark.parametrize("slope", [0.3, 0.5, 0.8])
def test_automatic_gain_is_told_by_the_slope(slope):
    error = refused(pairs(slope * METER_DB - 80))
    assert f"got {10 * slope:.1f} dB." in error.complaint
    assert "automatic gain" in error.remedy


def test_quiet_levels_in_the_recorders_own_noise_are_told_from_automatic_gain():
    meter_db = np.array([20.0, 24.0, 28.0, 45.0, 52.0, 60.0, 68.0])
    own_noise = [float(combine([level - 100, -62.0])) for level in meter_db]
    error = refused(pairs(own_noise, meter_db))
    assert "the louder half is right" in error.complaint
    assert "own noise" in error.remedy


def test_levels_that_are_all_alike_tell_no_slope_and_that_is_said():
    found = calibration_from_reference(pairs([-40.1, -39.8, -40.0, -40.2, -39.9], [60, 60.1, 59.9, 60, 60]))
    assert "to tell an automatic gain" in found.remarks[0]


def test_levels_of_different_sounds_are_refused():
    error = refused(pairs(METER_DB - 100 + [-4, 4, -4, 4, 4, -4]))
    assert "these do by 4.4 dB" in error.complaint
    assert "side by side" in error.remedy


def test_a_few_pairs_are_too_few():
    assert (
        "at least 5 pairs of levels are needed, got 4"
        in refused(pairs(METER_DB[:4] - 100, METER_DB[:4])).complaint
    )


@pytest.mark.parametrize(
    ("reference_db", "recorder_db", "complaint"),
    [
        (-31.0, -60.0, "pair 1: the meter's level must be 10 to 140 dB, got -31"),
        (60.0, 62.0, "pair 1: the recorder's level, re full scale, must be -140 to 10 dB, got 62"),
        (math.nan, -60.0, "got nan"),
    ],
)
def test_levels_the_wrong_way_round_are_refused(reference_db, recorder_db, complaint):
    wrong = [LevelPair(reference_db=reference_db, recorder_db=recorder_db), *pairs(METER_DB - 100)]
    assert complaint in refused(wrong).complaint


def test_only_two_classes_of_meters_exist():
    assert "must be 1 or 2, got 3" in refused(pairs(METER_DB - 100), meter_class=3).complaint


@pytest.mark.parametrize("text", ["62.1=-31.4", " 62.1 = -31.4 ", "62.1=\u221231.4"])
def test_a_pair_is_typed_with_the_meter_first(text):
    assert LevelPair.parse(text) == LevelPair(reference_db=62.1, recorder_db=-31.4)


@pytest.mark.parametrize("text", ["", "62.1", "62,1=-31,4", "a=b", "1=2=3", "nan=1"])
def test_anything_else_is_no_pair(text):
    with pytest.raises(CalibrationError, match="METER=RECORDER is needed") as caught:
        LevelPair.parse(text)
    assert "62.1=-31.4" in caught.value.remedy


@pytest.mark.parametrize(
    "text",
    [
        "reference_db,recorder_db\n62.1,-31.4\n",
        "# invented\nrecorder_db;reference_db\n-31,4;62,1\n",
        '"reference_db", "recorder_db"\n62.1, -31.4\n# the end\n',
    ],
)
def test_pairs_are_read_by_their_heads(tmp_path, text):
    path = tmp_path / "pairs.csv"
    path.write_text(text)
    assert read_level_pairs(path) == (LevelPair(reference_db=62.1, recorder_db=-31.4),)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("62.1,-31.4\n", "headed reference_db and recorder_db, got ''"),
        ("meter,recorder\n62.1,-31.4\n", "got 'meter,recorder'"),
        ("reference_db recorder_db\n62.1\n", "line 2: two levels are needed, got 1"),
    ],
)
def test_other_tables_are_refused(tmp_path, text, complaint):
    path = tmp_path / "pairs.csv"
    path.write_text(text)
    with pytest.raises(CalibrationError) as caught:
        read_level_pairs(path)
    assert complaint in caught.value.complaint
    assert caught.value.remedy
