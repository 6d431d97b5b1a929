"""Reverberation index against the table of ISO 10052:2021 (library)."""

import csv
from pathlib import Path

import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.reverberation_index import reverberation_index

TABLE = Path(__file__).parents[1] / "published" / "iso_10052_table_4.csv"
VOLUMES_M3 = {
    "V<15": (0.1, 14.99),
    "15<=V<35": (15.0, 34.99),
    "35<=V<60": (35.0, 59.99),
    "60<=V<=150": (60.0, 150.0),
}
COLUMNS = ("k125", "k250", "k500", "k1000", "k2000")


def rows():
    with TABLE.open() as file:
        yield from csv.DictReader(line for line in file if not line.startswith("#"))


@pytest.mark.parametrize("row", [pytest.param(row, id=f"{row['volume_m3']} {row['room']}") for row in rows()])
def test_every_row_of_the_table(row):
    for volume_m3 in VOLUMES_M3[row["volume_m3"]]:
        found = reverberation_index(volume_m3, row["room"])
        assert found.octaves_db == tuple(float(row[column]) for column in COLUMNS)
        assert found.weighted_db == float(row["k_A_or_C"])


@pytest.mark.parametrize("volume_m3", [0.0, -1.0, 150.1, float("nan")])
def test_a_volume_outside_the_table_is_refused(volume_m3):
    with pytest.raises(SettingsError, match="between 0 and 150 m³"):
        reverberation_index(volume_m3)


def test_a_room_that_the_table_does_not_know_is_refused_with_those_it_knows():
    with pytest.raises(SettingsError, match="one of furnished, a, b"):
        reverberation_index(40.0, "kitchen")
