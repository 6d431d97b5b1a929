import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.report.folder import write_assessment


def test_paper_comes_with_drawings_that_stand_alone(record: NightRecord, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    write_assessment(record, tmp_path / "night", reader="resident", paper=True)
    names = {path.name for path in (tmp_path / "night").iterdir()}
    assert {"report.html", "report.pdf", "night.svg", "spectra.svg", "third_octaves.svg"} <= names
    for drawing in (tmp_path / "night").glob("*.svg"):
        root = ElementTree.fromstring(drawing.read_text(encoding="utf-8"))
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert "var(" not in drawing.read_text(encoding="utf-8")
    manifest = json.loads((tmp_path / "night" / "manifest.json").read_text(encoding="utf-8"))
    assert "report.pdf" in {mark["name"] for mark in manifest["outputs"]}
    page = (tmp_path / "night" / "report.html").read_text(encoding="utf-8")
    assert 'id="for-resident" checked' in page


def test_without_events_there_is_paper_too(silent: NightRecord, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    write_assessment(replace(silent), tmp_path / "night", paper=True)
    assert (tmp_path / "night" / "report.pdf").exists()
