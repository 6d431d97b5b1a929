"""The tables of a portfolio as partitioned Parquet, one folder for each bedroom: nights, events, verdicts.

Any reader of partitioned Parquet opens them, for example ``pandas.read_parquet("tables/nights")``.
Null is not known, ``-inf`` digital silence; times are UTC. They are made anew from the ledger each
time and take the place of the old ones in one step; the same ledger gives the same bytes.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.dataset as ds

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.record import NightRecord
from sleepnoise.errors import OutputError, RecordingError
from sleepnoise.evidence.durable import held
from sleepnoise.evidence.placing import check_file_place, placed
from sleepnoise.evidence.plain import plain_value, utc_text
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.night.events import Event
from sleepnoise.portfolio.ledger import Entry, Row, entries

MOST_PARTITIONS = 100_000
"""Bedrooms at most. Chosen: the largest landlords have fewer; a folder holds that many folders."""

_TIME, _LEVEL, _WORD = pa.timestamp("ms", tz="UTC"), pa.float64(), pa.string()
_NAMES = {"bedroom": _WORD, "night": _WORD}

COLUMNS = {
    "nights": _NAMES | {
        "start_utc": _TIME, "end_utc": _TIME, "zone": _WORD, "window_s": _LEVEL, "recorded_s": _LEVEL,
        "left_out_s": _LEVEL, "absolute": pa.bool_(), "uncertainty_dB": _LEVEL, "LAeq_dB": _LEVEL,
        "LAFmax_dB": _LEVEL, "LA10_dB": _LEVEL, "LA50_dB": _LEVEL, "LA90_dB": _LEVEL, "LCeq_dB": _LEVEL,
        "events": pa.int32(), "event_time_s": _LEVEL, "fingerprint": _WORD,
    },
    "events": _NAMES | {
        "event": pa.int32(), "start_utc": _TIME, "duration_s": _LEVEL, "LAFmax_dB": _LEVEL,
        "LAE_dB": _LEVEL, "background_LA90_dB": _LEVEL, "group": _WORD, "label": _WORD,
    },
    "verdicts": _NAMES | {
        "criterion": _WORD, "guideline": _WORD, "title": _WORD, "quantity": _WORD, "word": _WORD,
        "verified": pa.bool_(), "measured_dB": _LEVEL, "margin_dB": _LEVEL, "uncertainty_dB": _LEVEL,
        "count": pa.int32(),
    },
}  # fmt: skip
"""Tables, their columns and what these hold."""


def tables_of(lines: Iterable[Entry]) -> dict[str, pa.Table]:
    """Return the tables of all finished nights, by name.

    Raises
    ------
    OutputError
        If there is no finished night.
    """
    done = [entry for entry in lines if entry.outcome.state == "finished"]
    if not done:
        raise OutputError(
            "survey: no night is finished.",
            remedy="Run assess-many or 'dossier assess' first, or mend what failed.",
        )
    return {name: _table(name, done) for name in COLUMNS}


def write_tables(out: Path) -> dict[str, pa.Table]:
    """Write the tables of a portfolio into its folder ``tables/`` and return them.

    Raises
    ------
    OutputError
        If there is no finished night, or the disk refuses.
    """
    made = tables_of(entries(out))
    with held(out / "ledger" / "tables.claim", tries=None):
        keep_tables(made, out / "tables", force=True)
    return made


def check_tables_place(place: Path, *, force: bool) -> None:
    """Refuse a place where tables cannot be kept.

    Raises
    ------
    OutputError
        If something is there and *force* is false, or what is there is no folder of tables.
    """
    if not place.exists():
        check_file_place(place, force=False)
        return
    if not force:
        raise OutputError(
            f"{place}: is there already; nothing is overwritten unasked.",
            remedy="Choose another name, or use --force.",
        )
    if not place.is_dir() or {path.name for path in place.iterdir()} - set(COLUMNS):
        raise OutputError(f"{place}: holds something else than tables.", remedy="Choose another name.")


def keep_tables(made: Mapping[str, pa.Table], place: Path, *, force: bool) -> None:
    """Write tables into a folder of their own.

    Raises
    ------
    OutputError
        As :func:`check_tables_place`, or if the disk refuses.
    """
    check_tables_place(place, force=force)
    with placed(place, replace=force) as (fresh,):
        for name, table in made.items():
            _write(table, fresh / name)


def _table(name: str, done: Iterable[Entry]) -> pa.Table:
    lines = [
        {
            **row,
            "bedroom": entry.outcome.bedroom,
            "night": entry.outcome.night,
            "fingerprint": entry.fingerprint,
        }
        for entry in done
        for row in entry.rows.get(name, [])
    ]
    return pa.table({column: _column(name, column, lines) for column in COLUMNS[name]})


def _column(name: str, column: str, lines: Iterable[Mapping[str, Any]]) -> pa.Array:
    kind = COLUMNS[name][column]
    try:
        return pa.array([_value(line.get(column), kind) for line in lines], type=kind)
    except (ValueError, TypeError, OverflowError, pa.ArrowException) as error:
        raise RecordingError(
            f"ledger: {name}: {column}: holds what no assessment writes ({error!s:.200}).",
            remedy="Remove the night's file from the folder 'ledger' and run assess-many again.",
        ) from None


def _value(cell: Any, kind: pa.DataType) -> Any:
    return datetime.fromisoformat(cell) if kind == _TIME and cell is not None else cell


def _write(table: pa.Table, folder: Path) -> None:
    ds.write_dataset(
        table,
        folder,
        format="parquet",
        partitioning=ds.partitioning(pa.schema([("bedroom", pa.string())]), flavor="hive"),
        basename_template="part-{i}.parquet",
        use_threads=False,
        max_partitions=MOST_PARTITIONS,
    )


# What one night adds to them.

LEVELS = ("laeq", "lafmax", "la10", "la50", "la90", "lceq")
"""Levels of a night that its line holds."""


def rows_of(record: NightRecord) -> dict[str, list[Row]]:
    """Return the lines of each table, numbers unrounded."""
    rows = {
        "nights": [_night(record)],
        "events": [_event(event) for event in record.assessment.events],
        "verdicts": [_verdict(verdict) for verdict in record.assessment.verdicts],
    }
    plain = plain_value(rows)
    assert isinstance(plain, dict)
    return plain


def _night(record: NightRecord) -> dict[str, object]:
    night = record.assessment
    statistics = night.statistics
    return {
        "start_utc": utc_text(night.start),
        "end_utc": utc_text(night.end),
        "zone": night.window.zone.key,
        "window_s": night.window_s,
        "recorded_s": statistics.seconds,
        "left_out_s": statistics.left_out_s,
        "absolute": night.absolute,
        "uncertainty_dB": night.expanded_uncertainty_db,
        **{SYMBOLS[name].column: getattr(statistics, name) for name in LEVELS},
        "events": len(night.events),
        "event_time_s": night.event_time_s,
    }


def _event(event: Event) -> dict[str, object]:
    return {
        "event": event.number,
        "start_utc": utc_text(event.start),
        "duration_s": event.duration_s,
        "LAFmax_dB": event.lafmax,
        "LAE_dB": event.lae,
        "background_LA90_dB": event.background_la90,
        "group": event.group,
        "label": event.label,
    }


def _verdict(verdict: Verdict) -> dict[str, object]:
    criterion = verdict.criterion
    return {
        "criterion": criterion.id,
        "guideline": criterion.guideline,
        "title": criterion.title,
        "quantity": criterion.quantity,
        "word": verdict.word,
        "verified": criterion.source.verified,
        "measured_dB": verdict.measured_db,
        "margin_dB": verdict.margin_db,
        "uncertainty_dB": verdict.uncertainty_db,
        "count": verdict.count,
    }
