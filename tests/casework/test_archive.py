import hashlib
import json
import os
import stat
import zipfile

import pytest

from sleepnoise.casework.archive import CONTENTS, export_dossier, import_dossier
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import OutputError, RecordingError


@pytest.fixture
def archive(kept, tmp_path):
    export_dossier(kept, tmp_path / "case.zip")
    return tmp_path / "case.zip"


def test_an_archive_has_the_same_bytes_each_time_and_after_a_journey(archive, kept, tmp_path, content):
    export_dossier(kept, tmp_path / "again.zip")
    import_dossier(archive, tmp_path / "elsewhere")
    assert content(tmp_path / "elsewhere") == content(kept)
    assert verify_dossier(tmp_path / "elsewhere").sound
    export_dossier(tmp_path / "elsewhere", tmp_path / "there.zip")
    assert archive.read_bytes() == (tmp_path / "again.zip").read_bytes()
    assert archive.read_bytes() == (tmp_path / "there.zip").read_bytes()


def test_an_archive_says_what_it_holds(archive, kept, content):
    with zipfile.ZipFile(archive) as opened:
        names = opened.namelist()
        listed = json.loads(opened.read(CONTENTS))["files"]
    assert names == [CONTENTS, *sorted(content(kept))]
    assert sorted(listed) == sorted(content(kept))


def test_nothing_is_overwritten_by_an_archive_or_from_one(archive, kept):
    with pytest.raises(OutputError, match="there already"):
        export_dossier(kept, archive)
    with pytest.raises(OutputError, match="new folder"):
        import_dossier(archive, kept)
    with pytest.raises(OutputError, match="within the dossier"):
        export_dossier(kept, kept / "case.zip")


def test_a_dossier_that_was_changed_by_hand_is_not_exported(kept, tmp_path):
    with (kept / "dossier.toml").open("a", encoding="utf-8") as stream:
        stream.write("# mine\n")
    with pytest.raises(RecordingError, match=r"dossier\.toml"):
        export_dossier(kept, tmp_path / "case.zip")
    assert [path.name for path in tmp_path.iterdir() if "case" in path.name] == []


def test_one_flipped_bit_in_an_archive_is_refused(archive, tmp_path):
    raw = archive.read_bytes()
    for place in range(0, len(raw), len(raw) // 40):
        flipped = bytearray(raw)
        flipped[place] ^= 4
        archive.write_bytes(flipped)
        try:
            import_dossier(archive, tmp_path / f"unpacked{place}")
        except RecordingError:
            continue
        # Only what no file's content rests on, such as a date in the archive's own table.
        assert verify_dossier(tmp_path / f"unpacked{place}").sound


def made(path, files, *, contents=None, change=lambda _info: None, compress=zipfile.ZIP_STORED, hashes=False):
    """Write an archive by hand, as somebody with other intentions would."""
    listed = {
        name: {"size_bytes": len(raw), "sha256": hashlib.sha256(raw).hexdigest() if hashes else "0" * 64}
        for name, raw in files.items()
    }
    table = {"schema": {"name": "sleepnoise/dossier-archive", "version": 1}, "files": listed}
    with zipfile.ZipFile(path, "w", compress) as archive:
        archive.writestr(CONTENTS, json.dumps(contents or table))
        for name, raw in files.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = compress
            change(info)
            archive.writestr(info, raw)
    return path


def link(info):
    info.external_attr = (stat.S_IFLNK | 0o777) << 16


HARM = {
    "a way up": ({"files": {"../evil.txt": b"x"}}, "leads elsewhere"),
    "an absolute path": ({"files": {"/tmp/evil.txt": b"x"}}, "leads elsewhere"),
    "a drive": ({"files": {"C:evil.txt": b"x"}}, "leads elsewhere"),
    "a backslash": ({"files": {"a\\..\\evil.txt": b"x"}}, "leads elsewhere"),
    "a hidden file": ({"files": {".unfinished/x": b"x"}}, "leads elsewhere"),
    "a symbolic link": ({"files": {"link": b"/etc/passwd"}, "change": link}, "no plain file"),
    "a folder": ({"files": {"folder/": b""}}, "leads elsewhere"),
    "a bomb": ({"files": {"zeros": bytes(10**6)}, "compress": zipfile.ZIP_DEFLATED}, "packed"),
    "another list": ({"files": {"a": b""}, "contents": {"files": {}}}, "no list of contents"),
    "capitals alone": ({"files": {"a/B": b"", "a/b": b""}}, "two names that are one"),
    "folders in capitals": ({"files": {"a/b": b"", "A/c": b""}}, "two names that are one"),
    "a letter written twice": ({"files": {"\u00fc": b"", "u\u0308": b""}}, "two names that are one"),
    "a file for a folder": ({"files": {"a": b"", "a/b": b""}}, "two names that are one"),
    "a list of its own": ({"files": {CONTENTS: b""}}, "no list of contents"),
    "a long way down": ({"files": {"a/" * 2000 + "b": b""}}, "leads elsewhere"),
    "a line end": ({"files": {"a\nb": b""}}, "leads elsewhere"),
    "no journal": ({"files": {"a": b""}, "hashes": True}, "journal"),
    "other content": ({"files": {"a": b"x"}}, "changed since"),
}


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("harm", HARM)
def test_an_archive_that_could_do_harm_is_refused_and_leaves_nothing(tmp_path, harm):
    how, why = HARM[harm]
    path = made(tmp_path / "evil.zip", **how)
    with pytest.raises(RecordingError, match=why):
        import_dossier(path, tmp_path / "folder")
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_the_journal_does_not_name_is_refused(archive, tmp_path):
    with zipfile.ZipFile(archive) as opened:
        files = {name: opened.read(name) for name in opened.namelist()}
    table = json.loads(files.pop(CONTENTS))
    files["guest.txt"] = b"guest"
    digest = hashlib.sha256(b"guest").hexdigest()
    table["files"]["guest.txt"] = {"size_bytes": 5, "sha256": digest}
    path = made(tmp_path / "guest.zip", files, contents=table)
    with pytest.raises(RecordingError, match="its journal does not name"):
        import_dossier(path, tmp_path / "folder")
    assert not (tmp_path / "folder").exists()


def test_files_that_overlap_cannot_unpack_to_more_than_the_archive_holds(tmp_path):
    path = made(tmp_path / "evil.zip", {"a": bytes(1000), "b": bytes(1000)})
    raw = path.read_bytes()
    # Both entries of the table at the end point to the same bytes, which are cut out once.
    with zipfile.ZipFile(path) as archive:
        first, second = (archive.getinfo(name).header_offset for name in "ab")
        start = archive.start_dir
    table = raw[start:].replace(second.to_bytes(4, "little"), first.to_bytes(4, "little"))
    cut = bytearray(raw[:second] + table)
    place = cut.rindex(b"PK\x05\x06") + 16
    cut[place : place + 4] = second.to_bytes(4, "little")
    path.write_bytes(cut)
    with pytest.raises(RecordingError, match=r"more than its own size|no archive|changed since"):
        import_dossier(path, tmp_path / "folder")


def test_what_is_no_archive_is_told(tmp_path):
    (tmp_path / "text.zip").write_text("no archive", encoding="utf-8")
    for name, why in (("text.zip", "no archive"), ("nothing.zip", "no such file")):
        with pytest.raises(RecordingError, match=why):
            import_dossier(tmp_path / name, tmp_path / "folder")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"contents.json", b"contents.js\xc0n"),  # A name that says it is UTF-8 and is not.
        (b"PK\x01\x02", b"PK\x01\x03"),
        (b"PK\x05\x06", b"PK\x05\x07"),
        (b"PK\x03\x04", b"PK\x03\x05"),
    ],
)
def test_a_broken_archive_is_refused_in_one_short_sentence(archive, tmp_path, old, new):
    raw = archive.read_bytes()
    flagged = raw.replace(b"PK\x03\x04\x14\x00\x00\x00", b"PK\x03\x04\x14\x00\x00\x08")
    archive.write_bytes(flagged.replace(old, new, 1))
    before = sorted(tmp_path.iterdir())
    with pytest.raises(RecordingError, match=r"case\.zip: ") as caught:
        import_dossier(archive, tmp_path / "folder")
    assert len(caught.value.complaint) < 300
    assert sorted(tmp_path.iterdir()) == before


def test_what_a_journal_lacks_is_told_of_the_archive_not_of_a_folder_that_nobody_sees(archive, tmp_path):
    with zipfile.ZipFile(archive) as opened:
        files = {name: opened.read(name) for name in opened.namelist()[1:]}
    files["journal.jsonl"] = files["journal.jsonl"].replace(b"Larch", b"March")
    with pytest.raises(RecordingError, match=r"case\.zip: journal\.jsonl: line 1 is not what was") as caught:
        import_dossier(made(archive, files, hashes=True), tmp_path / "folder")
    assert "unfinished" not in str(caught.value)


def test_a_pipe_is_no_archive(tmp_path):
    os.mkfifo(tmp_path / "case.zip")
    with pytest.raises(RecordingError, match="no plain file"):
        import_dossier(tmp_path / "case.zip", tmp_path / "folder")
