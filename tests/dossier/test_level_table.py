import os
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.level_table import write_level_table
from sleepnoise.levels.history import TICKS_TOGETHER, LevelHistory
from sleepnoise.levels.hundredths import NOT_KNOWN, SILENCE


@pytest.fixture
def written(record: NightRecord, tmp_path: Path) -> Path:
    path = tmp_path / "levels.parquet"
    write_level_table(record.history, path)
    return path


def test_every_level_comes_back_within_half_a_hundredth(record: NightRecord, written: Path) -> None:
    table = pq.read_table(written)
    history = record.history
    assert np.abs(table["LAeq_dB_x100"].to_numpy() / 100 - history.laeq).max() <= 0.005 + 1e-5
    assert np.abs(table["LAFmax_dB_x100"].to_numpy() / 100 - history.lafmax).max() <= 0.005 + 1e-5
    for nominal, band in zip(history.nominal_hz, history.bands, strict=True):
        back = table[f"LZeq_{nominal:g}Hz_dB_x100"].to_numpy() / 100
        assert np.abs(back - band).max() <= 0.005 + 1e-5
    assert not table["left_out"].to_numpy().any()


def test_ticks_and_start_give_the_time_of_every_row(record: NightRecord, written: Path) -> None:
    table = pq.read_table(written)
    about = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    ticks = table["tick"].to_numpy()
    assert ticks.tolist() == list(range(record.history.ticks))
    last = datetime.fromisoformat(about["start_utc"]) + timedelta(
        seconds=int(ticks[-1]) / int(about["ticks_per_second"])
    )
    assert last == record.history.time_of(record.history.ticks - 1)


def test_the_file_itself_says_how_to_read_it(written: Path) -> None:
    schema = pq.read_schema(written)
    about = {key.decode(): value.decode() for key, value in schema.metadata.items()}
    assert (about["silence"], about["not_known"]) == (str(SILENCE), str(NOT_KNOWN))
    assert about["level"] == "dB = stored / 100"
    assert schema.field("LAF_dB_x100").metadata == {b"unit": b"dB", b"scale": b"0.01"}


def test_a_night_is_written_in_pieces_of_an_hour(record: NightRecord, written: Path) -> None:
    about = pq.ParquetFile(written).metadata
    assert about.num_row_groups == -(-record.history.ticks // TICKS_TOGETHER)
    column = about.row_group(0).column(1)
    assert column.compression == "ZSTD"
    assert "DELTA_BINARY_PACKED" in column.encodings


def test_the_same_history_gives_the_same_bytes(record: NightRecord, written: Path, tmp_path: Path) -> None:
    write_level_table(record.history, tmp_path / "again.parquet")
    assert (tmp_path / "again.parquet").read_bytes() == written.read_bytes()


def test_an_empty_history_is_still_a_table(record: NightRecord, tmp_path: Path) -> None:
    history: LevelHistory = record.history.between(0, 0)
    write_level_table(history, tmp_path / "empty.parquet")
    assert pq.read_table(tmp_path / "empty.parquet").num_rows == 0


def test_a_folder_whose_name_is_not_utf_8_gets_the_same_table(
    record: NightRecord, tmp_path: Path, written: Path
) -> None:
    try:
        folder = tmp_path / os.fsdecode(b"night\xff")
        folder.mkdir()
    except (OSError, UnicodeError):
        pytest.skip("this file system takes no such names")
    write_level_table(record.history, folder / "levels.parquet")
    assert (folder / "levels.parquet").read_bytes() == written.read_bytes()
