import math
import os

import pytest

from sleepnoise.errors import OutputError, RecordingError
from sleepnoise.portfolio.ledger import Entry, Outcome, Place, entries, write_entry
from sleepnoise.portfolio.tables import rows_of, write_tables

ROOMS = ("Larch Court, flat 3", "Größe 50 %")


@pytest.fixture
def portfolio(tmp_path, record, silent):
    """Two bedrooms with one night each, the second of digital silence and uncalibrated; one that failed."""
    for room, night in zip(ROOMS, (record, silent), strict=True):
        place = Place(out=tmp_path, bedroom=room, night="one")
        place.prepare()
        outcome = Outcome(bedroom=room, night="one", state="finished")
        write_entry(Entry(outcome=outcome, fingerprint="f", rows=rows_of(night)), place)
    place = Place(out=tmp_path, bedroom=ROOMS[0], night="two")
    write_entry(Entry(outcome=Outcome(bedroom=ROOMS[0], night="two", state="failed", complaint="x")), place)
    return tmp_path


def test_pandas_reads_what_was_found_unrounded(portfolio, record):
    pandas = pytest.importorskip("pandas")
    write_tables(portfolio)
    nights = pandas.read_parquet(portfolio / "tables" / "nights").set_index("bedroom")
    assert sorted(nights.index) == sorted(ROOMS)
    assert nights.loc[ROOMS[0], "LAeq_dB"] == record.assessment.statistics.laeq
    assert nights.loc[ROOMS[0], "start_utc"].to_pydatetime() == record.assessment.start
    events = pandas.read_parquet(portfolio / "tables" / "events")
    assert list(events["LAFmax_dB"]) == [event.lafmax for event in record.assessment.events]
    assert list(events["start_utc"]) == [event.start for event in record.assessment.events]


def test_polars_reads_silence_as_silence_and_what_is_not_known_as_null(portfolio):
    polars = pytest.importorskip("polars")
    write_tables(portfolio)
    nights = polars.read_parquet(portfolio / "tables" / "nights" / "**" / "*.parquet", hive_partitioning=True)
    silent = nights.filter(polars.col("bedroom") == ROOMS[1]).row(0, named=True)
    assert silent["LAeq_dB"] == -math.inf
    assert silent["absolute"] is False
    assert silent["uncertainty_dB"] is None
    assert nights.height == 2


def test_duckdb_counts_events_by_bedroom(portfolio, record):
    duckdb = pytest.importorskip("duckdb")
    write_tables(portfolio)
    query = (
        "select bedroom, count(*) from read_parquet('"
        f"{portfolio}/tables/events/**/*.parquet', hive_partitioning = true) group by bedroom"
    )
    assert duckdb.sql(query).fetchall() == [(ROOMS[0], len(record.assessment.events))]


def test_the_same_ledger_gives_the_same_bytes_and_replaces_the_old_tables(portfolio, bytes_below):
    write_tables(portfolio)
    first = bytes_below(portfolio / "tables")
    write_tables(portfolio)
    assert bytes_below(portfolio / "tables") == first
    assert {path.name for path in portfolio.iterdir()} == {"ledger", "nights", "tables"}


def test_a_failed_night_and_a_torn_entry_are_in_no_table(portfolio):
    (portfolio / "ledger" / ROOMS[0] / "torn.json").write_text('{"outcome": {"bed')
    assert write_tables(portfolio)["nights"].num_rows == 2
    assert len(list(entries(portfolio))) == 3


def test_an_empty_folder_gets_a_complaint(tmp_path):
    with pytest.raises(OutputError, match="no folder of assessed nights"):
        write_tables(tmp_path)
    (tmp_path / "ledger").mkdir()
    with pytest.raises(OutputError, match="no night is finished"):
        write_tables(tmp_path)


@pytest.mark.parametrize(
    ("table", "cell"),
    [
        ("nights", {"start_utc": "yesterday"}), ("nights", {"start_utc": 5}), ("nights", {"events": 10**30}),
        ("nights", {"LAeq_dB": "loud"}), ("nights", {"absolute": "yes"}), ("events", {"label": 7}),
        ("verdicts", {"count": "many"}),
    ],
)  # fmt: skip
def test_a_ledger_that_holds_what_no_assessment_writes_is_refused_with_its_column(portfolio, table, cell):
    outcome = Outcome(bedroom="x", night="y", state="finished")
    place = Place(out=portfolio, bedroom="x", night="y")
    place.prepare()
    write_entry(Entry(outcome=outcome, rows={table: [cell]}), place)
    with pytest.raises(RecordingError, match=f"ledger: {table}: {next(iter(cell))}: ") as caught:
        write_tables(portfolio)
    assert caught.value.remedy
    assert not (portfolio / "tables").exists()


def test_a_pipe_in_a_ledger_is_no_night(portfolio):
    before = len(list(entries(portfolio)))
    os.mkfifo(portfolio / "ledger" / ROOMS[0] / "three.json")
    assert len(list(entries(portfolio))) == before
