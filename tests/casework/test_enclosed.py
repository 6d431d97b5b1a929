"""A dossier that somebody hands over as a folder, with links and devices where files should be."""

import hashlib
import json
import os
import shutil

import pytest

from sleepnoise.casework.adding import accept_changes, add_file
from sleepnoise.casework.archive import export_dossier
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.journal import read_journal
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import SleepNoiseError


@pytest.fixture
def elsewhere(tmp_path):
    """A folder of somebody's own, which no command of a dossier may touch."""
    folder = tmp_path / "elsewhere"
    (folder / "letters").mkdir(parents=True)
    (folder / "letters" / "will.txt").write_text("mine", encoding="utf-8")
    return folder


def everything(folder):
    return {path.relative_to(folder): path.is_file() and path.read_bytes() for path in folder.rglob("*")}


def use(root, tools):
    """Do whatever reads or changes a dossier; return what was refused."""
    told = []
    page = root.parent / "report.html"
    page.write_text("<p>", encoding="utf-8")
    for work in (
        lambda: verify_dossier(root),
        lambda: read_dossier(root),
        lambda: tools.with_night(root, "2026-02-20", seed=9),
        lambda: accept_changes(root, tools.now, "why"),
        lambda: export_dossier(root, root.parent / "case.zip"),
        lambda: add_file(root, "report", page, tools.now),
    ):
        try:
            work()
        except SleepNoiseError as error:
            told.append(str(error))
    return told


@pytest.mark.parametrize("inside", [".unfinished", ".lock", "nights", "reports", "assessed", "dossier.toml"])
def test_a_link_out_of_a_dossier_is_refused_and_what_it_leads_to_stays_as_it_was(
    inside, kept, tools, elsewhere
):
    place = kept / inside
    # What the dossier has there lies in the other folder, as if it had been moved to another disk.
    there = elsewhere / "letters" if inside != ".lock" else elsewhere / "made.txt"
    if inside == "nights":
        shutil.copytree(place, there, dirs_exist_ok=True)
        shutil.rmtree(place)
    elif inside == "dossier.toml":
        there = elsewhere / "about.toml"
        shutil.move(place, there)
    elif place.is_dir():
        shutil.rmtree(place)
    else:
        place.unlink(missing_ok=True)
    before = everything(elsewhere)
    place.symlink_to(there)
    told = use(kept, tools)
    if inside != "assessed":  # Nothing is ever looked for there.
        assert any("is a link" in each for each in told)
    assert everything(elsewhere) == before


def journaled(kept, change, path):
    """Add an entry, well hashed, that says a change put a file in place."""
    entries = read_journal(kept)
    line = json.loads((kept / "journal.jsonl").read_bytes().splitlines()[-1])
    line |= {"number": len(entries) + 1, "previous": entries[-1].sha256, "change": change}
    line["files"] = {path: {"size_bytes": 4, "sha256": hashlib.sha256(b"mine").hexdigest()}}
    del line["sha256"]
    text = json.dumps(line, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    line["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    with (kept / "journal.jsonl").open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(line, ensure_ascii=True, sort_keys=True, separators=(",", ":")) + "\n")


@pytest.mark.parametrize("deep", [False, True])
def test_no_file_is_moved_into_a_dossier_by_a_link_in_an_unfinished_change(kept, tools, elsewhere, deep):
    journaled(kept, "0123456789abcdef", "letters/will.txt")
    place = kept / ".unfinished" / "0123456789abcdef"
    place.parent.mkdir(exist_ok=True)
    if deep:
        place.mkdir()
        (place / "letters").symlink_to(elsewhere / "letters")
    else:
        place.symlink_to(elsewhere)
    before = everything(elsewhere)
    assert any("is a link" in each for each in use(kept, tools))
    assert everything(elsewhere) == before


@pytest.mark.parametrize("inside", ["journal.jsonl", "dossier.toml", "nights/2026-02-10/night.toml", ".lock"])
def test_a_pipe_in_a_dossier_is_refused_and_nobody_waits_for_it(kept, tools, inside):
    (kept / inside).unlink(missing_ok=True)
    os.mkfifo(kept / inside)
    assert any("is no plain file" in each for each in use(kept, tools))


def test_pipes_loops_and_names_that_are_no_text_are_found_by_verifying(kept):
    os.mkfifo(kept / "pipe")
    (kept / "loop").symlink_to(kept)
    (kept / "nights" / "loop").symlink_to("loop")
    strange = os.fsdecode(b"\xff\x1b[31m\nlabels.csv")
    (kept / strange).write_bytes(b"")
    found = verify_dossier(kept)
    assert not found.sound
    assert {each.path for each in found.findings if each.word == "not in the journal"} == {
        "pipe", "loop", "nights/loop", strange,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("version", "1"), ("about", 5), ("did", ["x"]), ("time_utc", None), ("about", "\ud800"),
        ("files", {"a": {"size_bytes": "4", "sha256": "x"}}), ("versions", {"python": 3}),
        ("more", 1), ("number", 3.0),
    ],
)  # fmt: skip
def test_an_entry_of_another_kind_is_refused_however_well_it_is_hashed(kept, key, value):
    path = kept / "journal.jsonl"
    *others, last = path.read_bytes().splitlines()
    line = json.loads(last) | {key: value}
    del line["sha256"]
    text = json.dumps(line, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    line["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    told = json.dumps(line, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    path.write_bytes(b"".join(each + b"\n" for each in (*others, told.encode())))
    with pytest.raises(SleepNoiseError, match=r"journal\.jsonl: line \d"):
        read_journal(kept)
