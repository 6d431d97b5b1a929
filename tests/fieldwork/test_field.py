"""Field quantities against published formulas and hand arithmetic; sources stand in the table."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.fieldwork import field

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "field_insulation.toml").read_text())


def test_absorption_of_a_bedroom_follows_from_its_reverberation():
    (case,) = PUBLISHED["sabine"]
    volume_m3 = float(np.prod(case["dimensions_m"]))
    assert volume_m3 == pytest.approx(case["volume_m3"], abs=0.0005)
    assert field.absorption_area_m2(volume_m3, case["t_s"]) == pytest.approx(case["a_m2"], abs=0.005)
    assert field.reverberation_for_s(volume_m3, 10.0) == pytest.approx(case["t_for_10_m2"], abs=0.0005)


def test_sound_from_the_hall_arrives_in_the_bedroom_as_worked_out_by_hand():
    (case,) = PUBLISHED["hall_to_bedroom"]
    l2_db = field.level_behind(case["l1"], case["r"], case["s"], case["a"])
    assert l2_db == pytest.approx(case["l2"], abs=0.005)
    assert field.level_difference(case["l1"], l2_db) == pytest.approx(case["d"], abs=0.005)


@pytest.mark.parametrize("case", PUBLISHED["d_nt"])
def test_standardized_level_difference(case):
    found = field.standardized_level_difference(case["d"], case["t"])
    assert found == pytest.approx(case["d_nt"], abs=0.005)


def test_normalized_level_difference():
    (case,) = PUBLISHED["d_n"]
    assert field.normalized_level_difference(case["d"], case["a"]) == pytest.approx(case["d_n"], abs=0.005)


def test_apparent_reduction_index_between_rooms():
    (case,) = PUBLISHED["r_prime"]
    a_m2 = field.absorption_area_m2(case["v"], case["t"])
    assert a_m2 == pytest.approx(case["a"])
    found = field.apparent_reduction_index(case["d"], case["s"], a_m2)
    assert found == pytest.approx(case["r_prime"], abs=0.0005)


def test_apparent_reduction_index_of_a_facade_with_loudspeaker_and_with_traffic():
    (case,) = PUBLISHED["r_45"]
    a_m2 = field.absorption_area_m2(case["v"], case["t"])
    for incidence_db, expected_db in (
        (field.LOUDSPEAKER_45_DEG_DB, case["r_45"]),
        (field.TRAFFIC_DB, case["r_tr_s"]),
    ):
        found = field.apparent_reduction_index(case["d"], case["s"], a_m2, incidence_db)
        assert found == pytest.approx(expected_db, abs=0.05)


def test_facade_level_difference_and_the_level_indoors_undo_each_other():
    (case,) = PUBLISHED["facade"]
    d_2m_nt = field.facade_level_difference(case["r_prime"], case["v"], case["s"])
    assert d_2m_nt == pytest.approx(case["d_2m_nt"], abs=0.005)
    indoors_db = field.level_behind_facade(70.0, d_2m_nt, 0.4)
    measured = field.standardized_level_difference(field.level_difference(70.0, indoors_db), 0.4)
    assert measured == pytest.approx(d_2m_nt)


def test_low_frequency_level_takes_the_loudest_corner_of_each_band():
    case = PUBLISHED["low_frequency"]
    corners_db = np.array([case["corner"], case["corner"], case["corner"]]) - [
        [0, 3, 9],
        [5, 0, 9],
        [5, 3, 0],
    ]
    found = field.low_frequency_level(case["room"], corners_db)
    assert found == pytest.approx(case["level"], abs=0.0005)


@pytest.mark.parametrize(("volume_m3", "needed"), PUBLISHED["low_frequency"]["trigger"])
def test_rooms_under_25_cubic_metres_need_the_low_frequency_procedure(volume_m3, needed):
    assert field.needs_low_frequency_procedure(volume_m3) is needed


def test_door_insertion_is_corrected_for_the_change_on_the_source_side():
    """ASTM E2964-21 clause 5 as described publicly (looked-up); plain difference without a change."""
    assert field.door_insertion_loss(70.0, 60.0) == pytest.approx(10.0)
    # The hall got 1 dB louder when the door was shut, so the door did 1 dB more.
    assert field.door_insertion_loss(70.0, 60.0, 80.0, 81.0) == pytest.approx(11.0)


@pytest.mark.parametrize(
    ("volume_m3", "dimension_m", "allowed"),
    [
        (30.0, 2.4, True),
        (24.9, 2.4, False),
        (25.0, 2.3, True),
        (149.0, 2.4, True),
        (150.0, 2.4, False),
        (30.0, 2.2, False),
    ],
)
def test_normalized_class_needs_a_room_of_middling_size(volume_m3, dimension_m, allowed):
    assert field.nnic_may_be_stated(volume_m3, dimension_m) is allowed


def test_mean_over_positions_is_an_energy_mean_and_keeps_the_unknown():
    # 10 lg((1e6 + 1e4)/2) = 57.03 dB.
    found = field.position_mean([[60.0, np.nan, -np.inf], [40.0, 50.0, -np.inf]])
    assert found == pytest.approx([57.033, np.nan, -np.inf], abs=0.0005, nan_ok=True)
