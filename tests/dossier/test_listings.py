import csv
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.listings import harmless, write_events, write_intervals

# Columns that the output contract asks for at least.
ASKED_FOR = [
    "event", "start_utc", "start_local", "duration_s", "LAFmax_dB", "LASmax_dB", "LAE_dB",
    "background_LA90_dB", "emergence_dB", "group", "label", "flags",
]  # fmt: skip


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_events_come_back_as_they_were(record: NightRecord, tmp_path: Path) -> None:
    write_events(record, tmp_path / "events.csv")
    rows = rows_of(tmp_path / "events.csv")
    assert set(ASKED_FOR) <= set(rows[0])
    assert len(rows) == len(record.assessment.events) == 3
    for row, event in zip(rows, record.assessment.events, strict=True):
        assert int(row["event"]) == event.number
        assert datetime.fromisoformat(row["start_utc"]) == event.start
        assert datetime.fromisoformat(row["start_local"]) == event.start
        assert row["start_utc"].endswith("+00:00")
        assert row["start_local"].endswith("+01:00")
        assert float(row["duration_s"]) == event.duration_s
        assert float(row["LAFmax_dB"]) == pytest.approx(event.lafmax, abs=0.005 + 1e-9)
        assert float(row["background_LA90_dB"]) == pytest.approx(event.background_la90, abs=0.005 + 1e-9)
        highest_1k = event.max_spectrum.levels_db[event.max_spectrum.nominal_hz.index(1000.0)]
        assert float(row["highest_1000Hz_dB"]) == pytest.approx(highest_1k, abs=0.005 + 1e-9)


@pytest.mark.parametrize("text", ["=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1"])
def test_no_text_can_become_a_formula(record: NightRecord, tmp_path: Path, text: str) -> None:
    hostile = replace(record.assessment.events[0], label=text, group=text, flags=(text,))
    night = replace(record.assessment, events=(hostile,))
    write_events(replace(record, assessment=night), tmp_path / "events.csv")
    [row] = rows_of(tmp_path / "events.csv")
    for column in ("label", "group", "flags"):
        assert row[column] == f"'{text}"


def test_text_that_runs_nothing_stays_as_it_is() -> None:
    for text in ["", "tram", "🚋 5 = 5", 'a,b\n"c"', "[red]<script>"]:
        assert harmless(text) == text


def test_quarter_hours_and_hours_are_both_listed(record: NightRecord, tmp_path: Path) -> None:
    write_intervals(record, tmp_path / "intervals.csv")
    rows = rows_of(tmp_path / "intervals.csv")
    lengths = [row["interval"] for row in rows]
    night = record.assessment
    assert lengths == ["15 min"] * len(night.quarter_hours) + ["1 h"] * len(night.hours)
    assert float(rows[0]["LAeq_dB"]) == pytest.approx(night.quarter_hours[0].statistics.laeq, abs=0.0051)
    assert {row["complete"] for row in rows} <= {"yes", "no"}


def test_silence_and_the_unknown_differ(silent: NightRecord, tmp_path: Path) -> None:
    quarter = silent.assessment.quarter_hours[0]
    unknown = replace(quarter, statistics=replace(quarter.statistics, lcpeak=float("nan")))
    night = replace(silent.assessment, quarter_hours=(unknown,), hours=())
    write_intervals(replace(silent, assessment=night), tmp_path / "intervals.csv")
    [row] = rows_of(tmp_path / "intervals.csv")
    assert row["LAeq_dB"] == "-inf"
    assert row["LCpeak_dB"] == ""
