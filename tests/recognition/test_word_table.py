"""Small tables as people and spreadsheets write them."""

import os
from pathlib import Path

import pytest

from sleepnoise.errors import RecordingError
from sleepnoise.recognition.word_table import LARGEST_BYTES, LONGEST_CELL, read_rows

HEADS = {"time": "Uhrzeit", "words": "Geräusch"}
TEXT = 'Nr;Geräusch;uhrzeit\r\n1;Tür;02:13\r\n;;\r\n2;"laut, dumpf\nund lang";02:14\r\n'


@pytest.mark.parametrize(
    "content",
    [
        TEXT.encode(),
        b"\xef\xbb\xbf" + TEXT.encode(),
        TEXT.encode("utf-16"),
        TEXT.encode("cp1252"),
        ("sep=;\r\n" + TEXT).encode(),
        TEXT.replace(";", "\t").encode(),
    ],
)
def test_byte_order_marks_separators_and_capitals_make_no_difference(written, content):
    rows = read_rows(written(content), HEADS, ("time", "words"))
    later = 1 if content.startswith(b"sep") else 0
    assert [(row.line, dict(row.cells)) for row in rows] == [
        (2 + later, {"time": "02:13", "words": "Tür"}),
        (5 + later, {"time": "02:14", "words": "laut, dumpf und lang"}),
    ]


def test_a_column_that_is_missing_is_named_with_what_was_found(written):
    with pytest.raises(RecordingError, match=r"line 1: must have the heads Uhrzeit, Geräusch; lacking Gerä"):
        read_rows(written("Uhrzeit;Dauer\n02:13;5\n"), HEADS, ("time", "words"))


def test_an_empty_file_lacks_its_heads(written):
    with pytest.raises(RecordingError, match="got 'nothing'"):
        read_rows(written(""), HEADS, ("time",))


def test_a_column_that_need_not_be_there_is_empty_in_a_short_row_and_missing_if_there_is_none(written):
    rows = read_rows(written("Uhrzeit,Geräusch\n02:13\n"), HEADS, ("time",))
    assert rows[0].cells == {"time": "02:13", "words": ""}
    assert read_rows(written("Uhrzeit\n02:13\n"), HEADS, ("time",))[0].cells == {"time": "02:13"}


def test_formulas_stay_text_and_commands_for_terminals_go(written):
    rows = read_rows(written('Uhrzeit,Geräusch\n02:13,"=HYPERLINK(""x"")\x1b[2J"\n'), HEADS, ("words",))
    assert rows[0].cells["words"] == '=HYPERLINK("x") [2J'


def test_long_cells_are_cut(written):
    rows = read_rows(written(f"Uhrzeit,Geräusch\n1,{'x' * 1000}\n"), HEADS, ("words",))
    assert rows[0].cells["words"] == "x" * LONGEST_CELL


def test_a_quotation_mark_that_is_not_closed_is_named_with_its_line(written):
    with pytest.raises(RecordingError, match="line 3: is no row"):
        read_rows(written('Uhrzeit,Geräusch\n1,a\n2,"b\n'), HEADS, ("words",))


def test_files_that_are_missing_too_large_or_no_text_are_refused(written, tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_rows(tmp_path / "none.csv", HEADS, ("time",))
    with pytest.raises(RecordingError, match="larger than 4 MB"):
        read_rows(written(b"x" * (LARGEST_BYTES + 1)), HEADS, ("time",))
    with pytest.raises(RecordingError, match="is no text"):
        read_rows(written(b"\x81\x8d\x8f"), HEADS, ("time",))


def test_a_pipe_or_device_is_no_table(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    for path in (tmp_path / "pipe.csv", Path("/dev/zero"), tmp_path):
        with pytest.raises(RecordingError, match="no plain file"):
            read_rows(path, HEADS, ("time",))


@pytest.mark.parametrize("sign", ['"', "\r", "x", "\0", " "])
def test_only_what_separates_cells_may_be_named_as_separator(written, sign):
    with pytest.raises(RecordingError, match="line 1: cells must be separated"):
        read_rows(written(f"sep={sign}\nUhrzeit{sign}x\n".encode()), HEADS, ("time",))


def test_a_first_line_or_a_cell_without_end_is_refused(written):
    with pytest.raises(RecordingError, match="lacking Uhrzeit"):
        read_rows(written("x" * 200_000), HEADS, ("time",))
    with pytest.raises(RecordingError, match="line 2: is no row"):
        read_rows(written("Uhrzeit\n" + "x" * 200_000), HEADS, ("time",))
