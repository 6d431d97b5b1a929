"""Results come whole or not at all, whoever interrupts, kills or fills the disk."""

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sleepnoise.errors import OutputError
from sleepnoise.evidence import placing
from sleepnoise.evidence.durable import take_folder
from sleepnoise.evidence.placing import check_file_place, placed, placed_files, write_file


def content(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*") if path.is_file()
    }


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_as_it_was_given_and_nothing_else_is_left(tmp_path):
    write_file(tmp_path / "a.json", "ä\n", force=False)
    assert (tmp_path / "a.json").read_bytes() == b"\xc3\xa4\n"
    assert names(tmp_path) == ["a.json"]


@pytest.mark.parametrize(("force", "way"), [(False, "--force"), (None, "Choose another name.")])
def test_what_is_there_stays_unless_it_may_be_replaced(tmp_path, force, way):
    (tmp_path / "a").write_text("mine")
    for refused in (
        lambda: check_file_place(tmp_path / "a", force=force),
        lambda: write_file(tmp_path / "a", "new", force=force),
    ):
        with pytest.raises(OutputError, match="a: is there already") as caught:
            refused()
        assert way in caught.value.remedy
        assert ("--force" in caught.value.remedy) == (force is False)
    assert content(tmp_path) == {"a": "mine"}
    write_file(tmp_path / "a", "new", force=True)
    assert content(tmp_path) == {"a": "new"}
    assert names(tmp_path) == ["a"]


def test_what_is_no_plain_file_is_never_replaced_by_one(tmp_path):
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name in ("folder", "pipe"):
        with pytest.raises(OutputError, match="no plain file"):
            write_file(tmp_path / name, "x", force=True)
    with pytest.raises(OutputError, match="none: is no folder"):
        write_file(tmp_path / "none" / "a", "x", force=True)
    assert names(tmp_path) == ["folder", "pipe"]


def test_a_link_stays_a_link_and_the_file_it_names_is_replaced(tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "file").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "there" / "file")
    write_file(tmp_path / "link", "new", force=True)
    assert (tmp_path / "link").is_symlink()
    assert content(tmp_path / "there") == {"file": "new"}


def written(*places, then=lambda: None):
    """Write "new" to all places at once; something happens before they come into their places."""
    with placed_files(*places, force=True) as unfinished:
        for path in unfinished:
            path.write_text("new")
        then()


def test_what_came_to_be_there_meanwhile_stays(tmp_path):
    def both():
        with placed_files(tmp_path / "b", tmp_path / "a", force=False) as unfinished:
            for path in unfinished:
                path.write_text("mine")
            (tmp_path / "a").write_text("theirs")

    with pytest.raises(OutputError, match="meanwhile"):
        both()
    assert content(tmp_path) == {"a": "theirs"}


@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, ValueError, MemoryError])
def test_whatever_stops_the_writing_leaves_things_as_they_were(tmp_path, error):
    def stop():
        raise error

    (tmp_path / "a").write_text("old")
    with pytest.raises(error):
        written(tmp_path / "a", tmp_path / "b", then=stop)
    assert content(tmp_path) == {"a": "old"}
    assert names(tmp_path) == ["a"]


def test_one_of_several_that_cannot_come_brings_the_others_back(tmp_path, monkeypatch):
    for name in "abc":
        (tmp_path / name).write_text("old")
    replace, calls = Path.replace, []

    def last_fails(self, target):
        calls.append(target)
        if len(calls) == 3:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", last_fails)
    with pytest.raises(OutputError, match="Input/output error"):
        written(*(tmp_path / name for name in "abcd"))
    assert content(tmp_path) == dict.fromkeys("abc", "old")
    assert names(tmp_path) == ["a", "b", "c"]


def steps_of(work, stop_at):
    """Run something and interrupt it before a line of the module; return whether it got so far."""
    passed = 0

    def trace(frame, event, _argument):
        nonlocal passed
        if frame.f_code.co_filename != placing.__file__:
            return None
        if event == "line":
            passed += 1
            if passed == stop_at:
                raise KeyboardInterrupt
        return trace

    sys.settrace(trace)
    try:
        work()
    except KeyboardInterrupt:
        return True
    finally:
        sys.settrace(None)
    return False


def test_an_interrupt_before_any_line_leaves_all_old_or_all_new_and_no_litter(tmp_path):
    """Every line of the module in turn, for two files that replace two others and a folder."""

    def write():
        written(tmp_path / "a", tmp_path / "b")
        with placed(tmp_path / "folder", replace=True) as (folder,):
            folder.mkdir()
            (folder / "c").write_text("new")

    old = {"a": "old", "b": "old", "folder/c": "old"}
    allowed = [old, {**old, "a": "new", "b": "new"}, dict.fromkeys(old, "new")]
    stopped, seen = 0, []
    while True:
        (tmp_path / "folder").mkdir(exist_ok=True)
        for name, text in old.items():
            (tmp_path / name).write_text(text)
        if not steps_of(write, stopped + 1):
            break
        stopped += 1
        assert content(tmp_path) in allowed, stopped
        assert names(tmp_path) == ["a", "b", "folder"], stopped
        seen.append(allowed.index(content(tmp_path)))
    assert stopped > 80
    assert set(seen) == {0, 1, 2}


KILLED = """
import os, signal, sys
from pathlib import Path
from sleepnoise.evidence.placing import placed
replace, calls = Path.replace, []
def killed(self, target):
    calls.append(target)
    if len(calls) == int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
    return replace(self, target)
Path.replace = killed
with placed(Path(sys.argv[1]) / "a", Path(sys.argv[1]) / "b", replace=True) as places:
    for place in places:
        place.mkdir()
        (place / "file").write_text("new")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="folders cannot be held")
@pytest.mark.parametrize("at", [1, 2])
def test_what_a_killed_process_moved_aside_comes_back_and_its_litter_goes(tmp_path, at):
    for name in "ab":
        (tmp_path / name).mkdir()
        (tmp_path / name / "file").write_text("old")
    subprocess.run([sys.executable, "-c", KILLED, tmp_path, str(at)], check=False, timeout=60)
    assert any(tmp_path.glob(".sleepnoise-*"))
    check_file_place(tmp_path / "other", force=False)
    assert names(tmp_path) == ["a", "b"]
    # What was complete and in its place stays; what was moved aside is there again.
    assert content(tmp_path) == {"a/file": "old" if at == 1 else "new", "b/file": "old"}


@pytest.mark.skipif(sys.platform == "win32", reason="folders cannot be held")
def test_what_another_process_is_at_work_on_is_left_alone(tmp_path):
    left = tmp_path / ".sleepnoise-0123456789ab"
    for name in ("new", "earlier"):
        (left / name).mkdir(parents=True)
    with take_folder(left) as mine:
        assert mine
        write_file(tmp_path / "a", "x", force=False)
        assert left.is_dir()
    write_file(tmp_path / "b", "x", force=False)
    assert not left.exists()


def test_a_link_that_looks_like_litter_is_not_followed(tmp_path):
    precious = tmp_path / "precious"
    (precious / "new").mkdir(parents=True)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / ".sleepnoise-0123456789ab").symlink_to(precious)
    write_file(tmp_path / "out" / "a", "x", force=False)
    assert (precious / "new").is_dir()


def test_a_disk_that_takes_nothing_is_told_by_the_place_asked_for(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(placing, "flush_file", full)
    with pytest.raises(OutputError, match=r"a\.json: cannot be written \(No space left on device\)"):
        write_file(tmp_path / "a.json", "x", force=False)
    assert names(tmp_path) == []
