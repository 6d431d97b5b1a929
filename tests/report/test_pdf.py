import sys
from dataclasses import replace

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.errors import OutputError
from sleepnoise.report.pdf import night_pdf

HOSTILE = '#panic("taken") $x$ `code` ]] *bold* <script> \\u{1F68B} 🚋 مرحبا "' + "long" * 2500


@pytest.mark.parametrize("reader", ["resident", "consultant"])
def test_it_is_a_tagged_document_for_everybody_and_always_the_same(record: NightRecord, reader: str) -> None:
    pytest.importorskip("typst")
    made = night_pdf(record, reader=reader)
    assert made.startswith(b"%PDF-")
    # PDF/UA-1 (ISO 14289-1) names itself in its metadata; typst refuses to claim it for what breaks it.
    assert b"pdfuaid:part" in made
    assert b"/StructTreeRoot" in made or b"/ObjStm" in made
    if reader == "resident":
        assert night_pdf(record, reader=reader) == made


def test_hostile_texts_are_set_as_texts(record: NightRecord) -> None:
    pytest.importorskip("typst")
    mark = replace(record.provenance.inputs[0], name=HOSTILE)
    night = replace(record, remarks=(HOSTILE,), provenance=replace(record.provenance, inputs=(mark,)))
    assert night_pdf(night, reader="landlord").startswith(b"%PDF-")


def test_without_the_library_it_says_what_to_install(
    record: NightRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(OutputError) as caught:
        night_pdf(record)
    assert "sleepnoise[report]" in caught.value.remedy
