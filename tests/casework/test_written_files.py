"""Files of a dossier as editors save them, and as nobody should."""

import pytest

from sleepnoise.casework.written_files import DossierFile, read_written
from sleepnoise.errors import ProfileError

TEXT = 'kind = "dossier"\nversion = 2\ntitle = "Larch Court, flat 3"\nzone = "Europe/Vienna"\n'


def read(tmp_path, raw):
    (tmp_path / "dossier.toml").write_bytes(raw)
    return read_written(tmp_path / "dossier.toml", DossierFile)


@pytest.mark.parametrize(
    "raw", [b"\xef\xbb\xbf" + TEXT.encode(), TEXT.replace("\n", "\r\n").encode()], ids=["mark", "line ends"]
)
def test_what_editors_add_makes_no_difference(tmp_path, raw):
    assert read(tmp_path, raw) == read(tmp_path, TEXT.encode())


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"\0", b"\xff", TEXT.encode("utf-16"), b"x = " + b"[" * 10_000, TEXT.encode() * 2,
        b"#" * 200_000,
        TEXT.replace("Larch", "\\u001b[2J").encode(), TEXT.replace("2", "1" + "0" * 400).encode(),
        TEXT.replace('"Europe/Vienna"', "{}").encode(), (TEXT + "unheard_of = 1\n").encode(),
    ],
)  # fmt: skip
def test_whatever_else_is_refused_in_one_sentence_with_the_file(tmp_path, raw):
    with pytest.raises(ProfileError, match=r"dossier\.toml: ") as caught:
        read(tmp_path, raw)
    assert caught.value.remedy
    assert len(caught.value.complaint) < 1000
