import json
import struct
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
    # PNG, third edition (W3C): eight bytes of signature, then width and height in the IHDR chunk.
    for drawing in (tmp_path / "night").glob("*.svg"):
        box = ElementTree.fromstring(drawing.read_text(encoding="utf-8")).attrib["viewBox"].split()
        picture = drawing.with_suffix(".png").read_bytes()
        assert picture[:8] == b"\x89PNG\r\n\x1a\n"
        assert struct.unpack(">II", picture[16:24]) == pytest.approx(
            (2 * float(box[2]), 2 * float(box[3])), abs=1
        )
    manifest = json.loads((tmp_path / "night" / "manifest.json").read_text(encoding="utf-8"))
    assert "report.pdf" in {mark["name"] for mark in manifest["outputs"]}
    page = (tmp_path / "night" / "report.html").read_text(encoding="utf-8")
    assert 'id="for-resident" checked' in page


def test_without_events_there_is_paper_too(silent: NightRecord, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    write_assessment(replace(silent), tmp_path / "night", paper=True)
    assert (tmp_path / "night" / "report.pdf").exists()
