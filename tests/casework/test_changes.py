import errno
import os
import subprocess
import sys
from datetime import timedelta

import pytest

from sleepnoise.casework import changes, journal
from sleepnoise.casework.adding import add_file
from sleepnoise.casework.changes import inventory, prepared, writing
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.journal import DamagedJournalError, read_journal
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import OutputError, SettingsError
from sleepnoise.evidence import durable

KEEP = """
import os, shutil, sys
from datetime import UTC, datetime
from pathlib import Path
from sleepnoise.casework import changes

def killed(*_):
    os.kill(os.getpid(), 9)

def kill_after(module, name, times):
    real, calls = getattr(module, name), []
    def wrapped(*given, **named):
        calls.append(1)
        if len(calls) > times:
            killed()
        return real(*given, **named)
    setattr(module, name, wrapped)

def half_a_line(root, entry):
    with (root / "journal.jsonl").open("ab") as stream:
        stream.write(b'{"about":"half a li')
        stream.flush()
        os.fsync(stream.fileno())
    killed()

root, file = map(Path, sys.argv[1:3])
{damage}
with changes.prepared(root) as ready, changes.writing(root) as book:
    (ready / "plans").mkdir()
    shutil.copyfile(file, ready / "plans" / file.name)
    book.commit(ready, datetime(2026, 3, 1, tzinfo=UTC), did="added a plan", about=file.name)
"""

KILLED = {
    "while the file is copied": ("kill_after(shutil, 'copyfile', 0)", False),
    "before the journal": ("kill_after(changes, 'append_entry', 0)", False),
    "in the middle of the journal's line": ("changes.append_entry = half_a_line", False),
    "after the journal": ("kill_after(changes, '_put_in_place', 0)", True),
    "before the file is in place": ("kill_after(changes.os, 'replace', 0)", True),
    "before it is cleared up": ("kill_after(changes, '_clear', 0)", True),
}


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize("when", KILLED)
def test_a_change_killed_at_any_step_is_wholly_there_or_not_at_all(kept, tmp_path, content, tools, when):
    damage, counts = KILLED[when]
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    before = content(kept)
    script = KEEP.replace("{damage}", damage)
    run = subprocess.run([sys.executable, "-c", script, kept, tmp_path / "plan.json"], check=False)
    assert run.returncode == -9
    # Whoever comes next finishes it or clears it away; then the same can be done as if nothing had been.
    assert verify_dossier(kept).sound
    assert list((kept / ".unfinished").glob("*/")) == []
    assert ("plans/plan.json" in content(kept)) == counts
    if not counts:
        assert content(kept) | {"journal.jsonl": b""} == before | {"journal.jsonl": b""}
        add_file(kept, "plan", tmp_path / "plan.json", tools.now)
    assert content(kept)["plans/plan.json"] == b"{}"
    assert verify_dossier(kept).sound


def test_two_writers_at_once_lose_nothing(kept):
    script = """
import sys
from datetime import timedelta
from datetime import UTC, datetime
from pathlib import Path
from sleepnoise.casework import changes
root, name = Path(sys.argv[1]), sys.argv[2]
for number in range(8):
    with changes.prepared(root) as ready, changes.writing(root) as book:
        (ready / "plans").mkdir()
        (ready / "plans" / f"{name}{number}.json").write_text(name * 1000, encoding="utf-8")
        book.commit(ready, datetime(2026, 3, 1, tzinfo=UTC), did="added a plan", about=name)
"""
    runs = [subprocess.Popen([sys.executable, "-c", script, kept, name]) for name in "ab"]
    assert [run.wait(timeout=60) for run in runs] == [0, 0]
    assert len(read_dossier(kept).papers("plan")) == 16
    assert verify_dossier(kept).sound


def test_a_file_that_is_replaced_stays_in_its_earlier_form(empty, tools):
    for text in ("one", "two", "three"):
        with prepared(empty) as ready, writing(empty) as book:
            (ready / "note.csv").write_text(text, encoding="utf-8")
            book.commit(ready, tools.now, did="wrote", about=text)
    assert (empty / "note.csv").read_text(encoding="utf-8") == "three"
    assert {path.read_text("utf-8") for path in empty.glob("earlier/*/note.csv")} == {"one", "two"}
    assert verify_dossier(empty).sound


def test_what_the_journal_does_not_know_is_not_overwritten(empty, tools):
    (empty / "mine.csv").write_text("mine", encoding="utf-8")
    with prepared(empty) as ready, writing(empty) as book:
        (ready / "mine.csv").write_text("other", encoding="utf-8")
        with pytest.raises(OutputError, match="knows nothing of it"):
            book.commit(ready, tools.now, did="wrote", about="mine")
    assert (empty / "mine.csv").read_text(encoding="utf-8") == "mine"


def test_a_name_that_some_system_cannot_keep_is_refused(empty, tools):
    with prepared(empty) as ready, writing(empty) as book:
        (ready / "a:b.json").write_text("", encoding="utf-8")
        with pytest.raises(SettingsError, match="a:b"):
            book.commit(ready, tools.now, did="wrote", about="x")


FAILING = ["flush_file", "flush_folder", "append_entry"]


@pytest.mark.parametrize("name", FAILING)
def test_a_full_disk_is_told_and_changes_nothing(kept, tmp_path, tools, content, monkeypatch, name):
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    before = content(kept)

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(changes, name, full)
    with pytest.raises(OutputError, match="No space left"):
        add_file(kept, "plan", tmp_path / "plan.json", tools.now)
    monkeypatch.undo()
    assert content(kept) == before
    assert verify_dossier(kept).sound


def test_a_change_that_counts_is_finished_later_if_the_disk_fills_up_just_then(
    kept, tmp_path, tools, content, monkeypatch
):
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(changes.os, "replace", full)
    with pytest.raises(OutputError, match="No space left"):
        add_file(kept, "plan", tmp_path / "plan.json", tools.now)
    monkeypatch.undo()
    assert "plans/plan.json" not in content(kept)
    assert verify_dossier(kept).sound
    assert content(kept)["plans/plan.json"] == b"{}"


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files")
def test_a_disk_that_fills_up_within_the_journals_line_changes_nothing(kept, tmp_path, content):
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    before = content(kept)
    limit = (kept / "journal.jsonl").stat().st_size + 20
    damage = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))"
    script = KEEP.replace("{damage}", damage)
    command = [sys.executable, "-c", script, kept, tmp_path / "plan.json"]
    run = subprocess.run(command, check=False, capture_output=True, text=True)
    assert "OutputError" in run.stderr
    assert content(kept) == before


def test_a_writer_that_does_not_let_go_is_told(empty, monkeypatch):
    monkeypatch.setattr(durable, "PAUSE_S", 0.0)
    with writing(empty), pytest.raises(OutputError, match="another process"), writing(empty):
        pass


def test_every_flipped_bit_of_the_journal_is_seen(kept):
    path = kept / "journal.jsonl"
    raw = path.read_bytes()
    for place in (*range(0, len(raw), 7), len(raw) - 1):
        for bit in (0, 5):
            flipped = bytearray(raw)
            flipped[place] ^= 1 << bit
            path.write_bytes(flipped)
            with pytest.raises(DamagedJournalError):
                read_journal(kept)
    path.write_bytes(raw)
    assert read_journal(kept)


def test_a_line_taken_out_of_the_journal_or_put_in_twice_is_seen(kept):
    path = kept / "journal.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    for wrong in (lines[1:], [*lines, lines[-1]], [lines[0], *lines[2:]], lines[::-1]):
        path.write_bytes(b"".join(wrong))
        with pytest.raises(DamagedJournalError):
            read_journal(kept)


def test_a_journal_cannot_name_a_file_outside(empty, tools, monkeypatch):
    monkeypatch.setattr(journal, "harmless_path", lambda _path: True)
    entry = journal.next_entry(
        read_journal(empty), tools.now, did="x", about="x", change="x",
        files={"../x": journal.KeptFile(size_bytes=0, sha256="0" * 64)}, versions={},
    )  # fmt: skip
    journal.append_entry(empty, entry)
    assert "../x" in inventory(read_journal(empty))
    monkeypatch.undo()
    with pytest.raises(DamagedJournalError):
        read_journal(empty)


def test_a_clock_that_jumps_back_changes_no_order_and_loses_nothing(kept, tmp_path, tools):
    for name, days in (("b.json", 0), ("a.json", -400), ("c.json", -1)):
        (tmp_path / name).write_text("{}", encoding="utf-8")
        add_file(kept, "plan", tmp_path / name, tools.now + timedelta(days=days))
    assert [path.name for path in read_dossier(kept).papers("plan")] == ["b.json", "a.json", "c.json"]
    assert verify_dossier(kept).sound
