import hashlib
import json
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


def made(path, files, *, contents=None, change=lambda _info: None, compress=zipfile.ZIP_STORED):
    """Write an archive by hand, as somebody with other intentions would."""
    listed = {name: {"size_bytes": len(raw), "sha256": "0" * 64} for name, raw in files.items()}
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
    "other content": ({"files": {"a": b"x"}}, "changed since"),
}


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
