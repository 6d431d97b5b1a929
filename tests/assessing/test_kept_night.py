"""An assessed night, read back from its folder."""

import json

import numpy as np
import pytest

from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.dossier.document import assessment_document
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.plain import document_text


@pytest.fixture(scope="module")
def document(record):
    return assessment_document(record)


def kept(folder, document):
    (folder / "assessment.json").write_text(document_text(document))
    return read_kept_night(folder)


def test_events_and_background_come_back_as_they_were(record, document, tmp_path):
    night = kept(tmp_path, document)
    assert night.name == tmp_path.name
    assert night.laeq == record.assessment.statistics.laeq
    assert len(night.events) == len(record.assessment.events) == 3
    for read, heard in zip(night.events, record.assessment.events, strict=True):
        assert (read.number, read.lafmax) == (heard.number, heard.lafmax)
        assert read.max_spectrum.nominal_hz == heard.max_spectrum.nominal_hz
        assert np.array_equal(read.max_spectrum.levels_db, heard.max_spectrum.levels_db)
        assert np.array_equal(read.background_spectrum.levels_db, heard.background_spectrum.levels_db)
    assert night.mark.role == "assessment"
    assert read_kept_night(tmp_path / "assessment.json").events[0].number == 1


def test_levels_that_are_silent_or_not_known_come_back_as_such(document, tmp_path):
    changed = json.loads(document_text(document))
    changed["events"][0]["max_spectrum"]["levels_db"][:2] = [None, "-Infinity"]
    levels_db = kept(tmp_path, changed).events[0].max_spectrum.levels_db
    assert np.isnan(levels_db[0])
    assert levels_db[1] == -np.inf


def test_only_verified_values_for_the_whole_night_indoors_are_kept(document, tmp_path):
    values = kept(tmp_path, document).values
    assert {(value.guideline.split(",")[0], value.level_db) for value in values} == {("WHO 1999", 30.0)}


def test_values_that_are_not_verified_are_left_out(document, tmp_path):
    changed = json.loads(document_text(document))
    for verdict in changed["verdicts"]:
        verdict["verified"] = False
    assert kept(tmp_path, changed).values == ()


def test_a_night_without_calibration_is_refused(uncalibrated, tmp_path):
    with pytest.raises(SettingsError, match="relative to full scale"):
        kept(tmp_path, assessment_document(uncalibrated))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda document: document["schema"].update(version=99),
        lambda document: document["schema"].update(name="other"),
        lambda document: document.pop("events"),
        lambda document: document["events"][0].update(event=0),
        lambda document: document["events"][0]["max_spectrum"]["levels_db"].pop(),
        lambda document: document["events"][0]["max_spectrum"]["nominal_hz"].reverse(),
        lambda document: document["night"]["background_spectrum"]["levels_db"].append("loud"),
        lambda document: document["events"][0].update(LAFmax_dB=1e308),
        lambda document: document["events"][0]["max_spectrum"]["levels_db"].__setitem__(0, -1e308),
        lambda document: document["events"][0].update(duration_s=1e308),
        lambda document: document["night"]["statistics"].update(duration_s=-1.0),
    ],
)
def test_what_no_assessment_writes_is_refused(spoil, document, tmp_path):
    spoilt = json.loads(document_text(document))
    spoil(spoilt)
    with pytest.raises(RecordingError) as raised:
        kept(tmp_path, spoilt)
    assert "assess" in raised.value.remedy


@pytest.mark.parametrize("text", [b"", b"[]", b"\xff\xfe", b"{"])
def test_what_is_no_document_at_all_is_refused(text, tmp_path):
    (tmp_path / "assessment.json").write_bytes(text)
    with pytest.raises(RecordingError):
        read_kept_night(tmp_path)


def test_a_folder_without_assessment_is_refused(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_kept_night(tmp_path)
