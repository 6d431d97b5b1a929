import json
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.document import assessment_document
from sleepnoise.evidence.plain import document_text


def read_back(record: NightRecord) -> dict[str, Any]:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    document: dict[str, Any] = json.loads(document_text(assessment_document(record)), parse_constant=refuse)
    return document


def test_numbers_are_not_rounded(record: NightRecord) -> None:
    document = read_back(record)
    statistics = record.assessment.statistics
    assert document["night"]["statistics"]["LAeq_dB"] == statistics.laeq
    assert document["night"]["statistics"]["LA90_dB"] == statistics.la90
    for written, event in zip(document["events"], record.assessment.events, strict=True):
        assert written["LAFmax_dB"] == event.lafmax
        assert written["background_LA90_dB"] == event.background_la90
        assert written["max_spectrum"]["levels_db"] == event.max_spectrum.levels_db.tolist()
        assert datetime.fromisoformat(written["start_local"]) == event.start


def test_silence_is_a_string_that_turns_back_into_the_level(silent: NightRecord) -> None:
    laeq = read_back(silent)["night"]["statistics"]["LAeq_dB"]
    assert laeq == "-Infinity"
    assert float(laeq) == silent.assessment.statistics.laeq


def test_the_unknown_is_null(uncalibrated: NightRecord) -> None:
    document = read_back(uncalibrated)
    assert document["calibration"]["expanded_uncertainty_db"] is None
    assert document["uncertainty"]["expanded_db"] is None
    assert {verdict["word"] for verdict in document["verdicts"]} == {"cannot tell"}


def test_the_document_names_its_schema_and_its_conventions(record: NightRecord) -> None:
    document = read_back(record)
    assert document["schema"] == {"name": "sleepnoise/assessment", "version": 1}
    assert {"null", "-Infinity"} <= set(document["conventions"])


def test_every_verdict_says_whether_its_value_was_verified(record: NightRecord) -> None:
    verdicts = read_back(record)["verdicts"]
    assert {verdict["verified"] for verdict in verdicts} == {True, False}
    for verdict in verdicts:
        assert verdict["verified"] == (verdict["criterion"]["source"]["how_known"] != "memory")
        assert verdict["verified"] or verdict["word"] == "shown only"


def test_the_same_night_gives_the_same_bytes(record: NightRecord) -> None:
    assert document_text(assessment_document(record)) == document_text(assessment_document(record))


@pytest.mark.parametrize("text", ["<script>", "[red]", "a\nb", "🚋", '"', "\\"])
def test_any_text_survives(record: NightRecord, text: str) -> None:
    event = replace(record.assessment.events[0], label=text)
    night = replace(record.assessment, events=(event,))
    assert read_back(replace(record, assessment=night))["events"][0]["label"] == text


def test_no_folder_of_this_machine_is_written(record: NightRecord) -> None:
    assert "/" not in read_back(record)["recording"]["files"][0]["name"]
    assert "path" not in json.dumps(read_back(record)["recording"])
