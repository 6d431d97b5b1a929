"""Dossiers in a survey, alone and beside what assess-many wrote."""

import json
from datetime import UTC, datetime

import pyarrow.dataset as ds
import pytest
from click.testing import CliRunner

from sleepnoise.casework.adding import add_file, add_night
from sleepnoise.casework.dossier import start_dossier
from sleepnoise.casework.night_results import assess_night
from sleepnoise.casework.written_files import DossierFile
from sleepnoise.cli.program import app
from sleepnoise.dossier.document import assessment_document
from sleepnoise.errors import OutputError, RecordingError, SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.portfolio.cases import bedrooms_in, rows_of_document
from sleepnoise.portfolio.ledger import Entry, Outcome, Place, write_entry
from sleepnoise.portfolio.survey import survey
from sleepnoise.portfolio.tables import keep_tables, rows_of
from sleepnoise.report.survey_page import survey_page

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
PLAN = {
    "schema": {"name": "sleepnoise/plan", "version": 1}, "events": [{}] * 8, "currency": "EUR",
    "plan": {"treatments": [{"guessed": True}], "money": 500.0, "audible": 2},
}  # fmt: skip


def write_quickly(record, folder):
    folder.mkdir()
    (folder / "assessment.json").write_text(document_text(assessment_document(record)), encoding="utf-8")


def dossier(root, title, recordings, evenings):
    start_dossier(root, DossierFile(title=title, zone="Europe/Vienna", night_hours="23:00-23:01"), NOW, {})
    for evening, recording in zip(evenings, recordings, strict=False):
        about = {"start": f"{evening}T23:00:00", "full_scale_level_db": 100.0}
        add_night(root, [recording], about, NOW)
        assess_night(root, evening, write=write_quickly, now=lambda: NOW)


@pytest.fixture(scope="module")
def cases(rooms, tmp_path_factory):
    """Two dossiers of two nights each, one with a plan; one more night is not assessed."""
    folder = tmp_path_factory.mktemp("cases")
    nights = sorted(rooms.glob("*1/*.wav"))
    for number, title in ((3, "Larch Court, flat 3"), (4, "=flat 4")):
        dossier(folder / f"flat-{number}", title, nights, ("2026-02-01", "2026-02-02"))
    (folder / "plan.json").write_text(json.dumps(PLAN), encoding="utf-8")
    add_file(folder / "flat-3", "plan", folder / "plan.json", NOW)
    add_night(folder / "flat-4", [nights[2]], {"start": "2026-02-03T23:00:00"}, NOW)
    return folder


def test_a_document_tells_the_tables_what_the_night_itself_does(record):
    document = json.loads(document_text(assessment_document(record)))
    done = Outcome(bedroom="a", night="b", state="finished")
    told, direct = (Entry(outcome=done, rows=each) for each in (rows_of_document(document), rows_of(record)))
    assert told.rows == direct.rows
    assert told.rows["events"]


def test_dossiers_are_ranked_with_the_gain_of_their_plans_and_common_sources(cases):
    found = survey([cases])
    assert found.nights == 4
    assert {room.bedroom for room in found.ranking.bedrooms} == {"Larch Court, flat 3", "=flat 4"}
    assert [(plan.bedroom, plan.per_money) for plan in found.plans] == [("Larch Court, flat 3", 6 / 500)]
    assert [each.night for each in found.failures] == ["2026-02-03"]
    assert found.failures[0].complaint.endswith(": is not assessed as things stand.")
    assert "6 of 8 for 500 EUR" in survey_page(found)


def test_one_dossier_alone_and_results_beside_it_do(cases, tmp_path, record):
    assert survey([cases / "flat-3"]).nights == 2
    place = Place(out=tmp_path / "many", bedroom="flat 5", night="one")
    place.prepare()
    done = Outcome(bedroom="flat 5", night="one", state="finished")
    write_entry(Entry(outcome=done, fingerprint="f", rows=rows_of(record)), place)
    found = survey([tmp_path / "many", cases])
    assert found.nights == 5
    # Results keep their own tables; a dossier is not written to.
    assert (tmp_path / "many" / "tables" / "nights").is_dir()
    assert not (cases / "tables").exists()


def test_two_bedrooms_of_one_name_are_refused(cases):
    with pytest.raises(SettingsError, match="so is that of"):
        bedrooms_in([cases, cases / "flat-3"])


def test_what_is_neither_results_nor_a_dossier_is_refused(cases, tmp_path):
    with pytest.raises(RecordingError, match="neither results of assess-many nor a dossier"):
        bedrooms_in([tmp_path])
    with pytest.raises(RecordingError, match="cannot be read as a folder"):
        bedrooms_in([cases / "plan.json"])


def test_a_result_that_was_changed_is_not_ranked(rooms, tmp_path):
    dossier(tmp_path / "case", "flat 3", list(rooms.glob("*1/*.wav")), ("2026-02-01",))
    [path] = tmp_path.glob("case/nights/*/assessed/*/assessment.json")
    path.write_text(path.read_text().replace("LAeq_dB", "LAeq_dB ", 1))
    with pytest.raises(RecordingError, match="not what was written there"):
        survey([tmp_path / "case"])


def test_tables_of_everything_are_kept_where_asked_and_nothing_is_overwritten(cases, tmp_path):
    place = tmp_path / "tables"
    found = survey([cases])
    keep_tables(found.tables, place, force=False)
    assert ds.dataset(place / "nights", partitioning="hive").count_rows() == 4
    with pytest.raises(OutputError, match="is there already"):
        keep_tables(found.tables, place, force=False)
    keep_tables(found.tables, place, force=True)
    (place / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match="something else than tables"):
        keep_tables(found.tables, place, force=True)
    assert (place / "notes.txt").read_text() == "mine"


def test_the_command_writes_list_page_and_tables_together_and_never_over_others(cases, tmp_path):
    words = ["survey", str(cases)]
    for option, name in (("--csv", "s.csv"), ("--page", "s.html"), ("--tables", "t")):
        words += [option, str(tmp_path / name)]
    first = CliRunner().invoke(app, words)
    assert first.exit_code == 0, first.output
    assert sorted(path.name for path in tmp_path.iterdir()) == ["s.csv", "s.html", "t"]
    assert "'=flat 4" in (tmp_path / "s.csv").read_text(encoding="utf-8")
    (tmp_path / "s.csv").write_text("mine")
    again = CliRunner().invoke(app, words)
    assert again.exit_code == 2
    assert (tmp_path / "s.csv").read_text() == "mine"
    assert CliRunner().invoke(app, [*words, "--force"]).exit_code == 0
    one = ["survey", str(cases), "--csv", str(tmp_path / "x"), "--page", str(tmp_path / "x")]
    assert CliRunner().invoke(app, one).exit_code == 2
