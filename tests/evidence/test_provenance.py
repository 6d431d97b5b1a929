import os
from pathlib import Path

import pytest

from sleepnoise.errors import RecordingError
from sleepnoise.evidence.provenance import READ_BYTES, code_mark, file_mark, library_versions

# FIPS 180-4, example of SHA-256 for the message "abc" (from memory), and of the empty message.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
EMPTY = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


@pytest.mark.parametrize(("content", "expected"), [(b"abc", ABC), (b"", EMPTY)])
def test_the_hash_agrees_with_the_standards_examples(tmp_path: Path, content: bytes, expected: str) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(content)
    mark = file_mark(path, "recording")
    assert (mark.sha256, mark.size_bytes, mark.name) == (expected, len(content), "x.wav")


def test_a_file_longer_than_one_piece_is_hashed_whole(tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    first.write_bytes(b"x" * (READ_BYTES + 1))
    second.write_bytes(b"x" * READ_BYTES + b"y")
    assert file_mark(first, "recording").sha256 != file_mark(second, "recording").sha256
    assert file_mark(first, "recording").size_bytes == READ_BYTES + 1


def test_a_name_that_is_no_text_can_still_be_written_down(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/night-\xff.wav"))
    try:
        path.write_bytes(b"abc")
    except OSError:
        pytest.skip("this file system refuses such names")
    assert file_mark(path, "recording").name.encode() == b"night-\\xff.wav"


def test_a_file_that_cannot_be_read_is_a_complaint(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="cannot be read as calibration tone"):
        file_mark(tmp_path / "none.wav", "calibration tone")


def test_versions_name_what_may_change_a_digit() -> None:
    named = ["python", "sleepnoise", "numpy", "scipy", "soundfile", "pyarrow", "code of sleepnoise"]
    assert list(library_versions()) == named


def test_code_that_changes_a_result_is_told_apart_and_what_only_shows_is_not(tmp_path: Path) -> None:
    for name, text in (("levels/a.py", "x = 1"), ("cli/b.py", "y"), ("report/assets/c.css", "z")):
        (tmp_path / name).parent.mkdir(parents=True)
        (tmp_path / name).write_text(text)

    def marked() -> str:
        code_mark.cache_clear()
        return code_mark(tmp_path)

    first = marked()
    for harmless in ("cli/b.py", "levels/__pycache__/a.pyc"):
        (tmp_path / harmless).parent.mkdir(exist_ok=True)
        (tmp_path / harmless).write_text("other")
        assert marked() == first
    seen = {first}
    for name, text in (("levels/a.py", "x = 2"), ("levels/d.py", ""), ("report/assets/c.css", "zz")):
        (tmp_path / name).write_text(text)
        seen.add(marked())
    (tmp_path / "levels" / "a.py").rename(tmp_path / "levels" / "e.py")
    assert len(seen | {marked()}) == 5
    code_mark.cache_clear()
