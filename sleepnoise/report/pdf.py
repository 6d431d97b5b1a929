"""The page of a night as a PDF for paper and archive, tagged, and its drawings as pictures.

All of it needs the extra ``report``.

The document is typeset from a template and the data, which travel apart: no text of a night can
act as mark-up. The same night gives the same bytes.
"""

import json
import re
from typing import Any

from sleepnoise.assessing.record import NightRecord
from sleepnoise.errors import OutputError
from sleepnoise.report.contents import sections_of
from sleepnoise.report.drawings import standalone, template_text
from sleepnoise.report.sections import Reader, Section
from sleepnoise.wording.next_steps import EMPTY
from sleepnoise.wording.rounding import night_text
from sleepnoise.wording.sentences import files_text
from sleepnoise.wording.tables import Table

WIDE_FROM = 16
"""Letters in a cell from which on its column shares the space that is left. Chosen: fewer fit on a line."""

EVENNESS = 0.35
"""Power of mean times longest length that a column's share follows. Chosen: names keep room beside prose."""

UNBROKEN = 24
"""Letters after which a word may be broken. Chosen: the longest that fits a narrow column."""

PIXELS_PER_INCH = 192
"""Sharpness of pictures. Chosen: two pixels for each of the drawing's own, as on sharp screens."""

SANS = '"Source Sans 3", "Noto Sans", "DejaVu Sans", sans-serif'
"""Fonts of pictures. Chosen: those of the page; the typesetter knows no sans-serif by that word alone."""

PICTURE = b"""#set page(width: auto, height: auto, margin: 0pt, fill: white)
#image(bytes(sys.inputs.svg), format: "svg")
"""
"""A page that is one drawing. Chosen: no margin, so that it can stand anywhere."""


def night_pdf(record: NightRecord, *, reader: Reader = "consultant") -> bytes:
    """Return the page of one night for one reader as a PDF, tagged throughout.

    It claims PDF/UA-1 (ISO 14289-1) unless it holds letters for which this machine has no font.

    Raises
    ------
    OutputError
        If the typesetting library is not installed.
    """
    typst = _typesetting()
    sheets = {"report": json.dumps(_document(record, reader), ensure_ascii=False)}
    template = template_text("report.typ").encode()
    try:
        return bytes(typst.compile(template, format="pdf", sys_inputs=sheets, pdf_standards="ua-1"))
    except typst.TypstError:
        # The standard refuses letters that no font here can draw, such as in a file's name.
        return bytes(typst.compile(template, format="pdf", sys_inputs=sheets))


def drawing_png(svg: str) -> bytes:
    """Return a drawing as a PNG picture on white, drawn by the same library as the pages.

    Parameters
    ----------
    svg : str
        See :func:`~sleepnoise.report.drawings.standalone`.

    Raises
    ------
    OutputError
        If the typesetting library is not installed.
    """
    named = svg.replace("font-family: sans-serif", f"font-family: {SANS}", 1)
    return bytes(
        _typesetting().compile(PICTURE, format="png", ppi=PIXELS_PER_INCH, sys_inputs={"svg": named})
    )


def _typesetting() -> Any:
    try:
        import typst
    except ImportError:
        raise OutputError(
            "report.pdf: typst, which sets PDF pages, is not installed.",
            remedy="Install it with: pip install 'sleepnoise[report]'. Or print report.html.",
        ) from None
    return typst


def _document(record: NightRecord, reader: Reader) -> dict[str, Any]:
    night, name = record.assessment, _breakable(files_text(record))
    lacking = "" if night.absolute else " · not calibrated: levels relative to full scale, no verdicts"
    version = record.provenance.versions.get("sleepnoise", "")
    return {
        "title": night_text(night),
        "kicker": f"Night noise in a bedroom · for the {reader}",
        "file": f"{name} · {night.window.text} {night.window.zone.key}{lacking}",
        "footer": f"{night_text(night)} · sleepnoise {version}",
        "sections": [
            _section(section, whole=reader == "consultant")
            for section in sections_of(record)
            if reader in section.readers and not section.live_only
        ],
    }


def _section(section: Section, *, whole: bool) -> dict[str, Any]:
    # What is folded away on screen would bury the rest on paper.
    tables = (*section.tables, *section.folded) if whole else section.tables
    return {
        "title": section.title,
        "sentences": [_breakable(text) for text in section.sentences],
        "points": [_breakable(text) for text in section.points],
        "notes": [_breakable(text) for text in section.notes],
        "figures": [
            {"svg": standalone(figure), "description": figure.description} for figure in section.figures
        ],
        "tables": [_table(table) for table in tables if table.rows],
    }


def _table(table: Table) -> dict[str, Any]:
    columns = [[len(cell) for cell in cells] for cells in zip(*table.rows, strict=True)]
    shares = [
        (sum(lengths) / len(lengths) * max(lengths)) ** EVENNESS if max(lengths) >= WIDE_FROM else 0.0
        for lengths in columns
    ]
    if not any(shares):
        shares = [1.0] * len(columns)
    return {
        "title": table.title,
        "roomy": any(cell == EMPTY for row in table.rows for cell in row),
        "columns": [
            {"text": column.text, "number": column.number, "share": share}
            for column, share in zip(table.columns, shares, strict=True)
        ],
        "rows": [[_breakable(cell) for cell in row] for row in table.rows],
    }


def _breakable(text: str) -> str:
    """Return a text whose longest words may be broken, best at a joint: a space of no width stands where."""
    return re.sub(rf"((?<=\w)[_/](?=\w)|\S{{{UNBROKEN}}}(?=\S))", "\\1\u200b", text)
