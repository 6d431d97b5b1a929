import pytest

from sleepnoise.calibration import columns
from sleepnoise.calibration.columns import read_columns
from sleepnoise.errors import CalibrationError


@pytest.fixture
def read(tmp_path):
    def from_text(text):
        path = tmp_path / "table.txt"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        heading, rows = read_columns(path, "a table")
        return heading, [row.numbers for row in rows]

    return from_text


@pytest.mark.parametrize(
    "text",
    [
        "20 -1.5\n1000 0\n",
        "20,-1.5\n1000,0",
        "20\t-1.5\r\n1000\t0\r\n",
        "20;-1,5\n1000;0\n",
        "20\t-1,5\n1000\t0\n",
        "  20   -1.5  \n\n\n 1e3 .0 \n",
        "\ufeff# invented\n20 -1.5\n* a remark\n1000 0\n; the end\n",
    ],
)
def test_numbers_are_read_whatever_separates_them(read, text):
    assert read(text) == ("", [(20.0, -1.5), (1000.0, 0.0)])


def test_the_last_line_before_the_numbers_is_the_heading(read):
    assert read("Invented microphone\nFrequency level\n20 0\n")[0] == "Frequency level"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("20 0\nabc\n", "line 2: numbers are needed, got 'abc'"),
        ("20 0\n30 x", "line 2: numbers are needed"),
        ("20 nan", "line 1: numbers are needed"),
        ("20 1e999", "line 1: numbers are needed"),
        ("20 0x1", "line 1: numbers are needed"),
        ("20,0,5", "line 1: commas must separate two numbers"),
        (b"20 0\n\xff", "is not UTF-8"),
    ],
)
def test_anything_else_is_refused_with_its_line(read, text, complaint):
    with pytest.raises(CalibrationError) as caught:
        read(text)
    assert complaint in caught.value.complaint
    assert caught.value.remedy


def test_files_that_cannot_be_such_a_table_are_refused(tmp_path, read, monkeypatch):
    for path in (tmp_path / "none.txt", tmp_path, tmp_path / "a\0b"):
        with pytest.raises(CalibrationError, match="a table"):
            read_columns(path, "a table")
    monkeypatch.setattr(columns, "LARGEST_BYTES", 5)
    with pytest.raises(CalibrationError, match="larger than"):
        read("20 0\n30 0\n")
