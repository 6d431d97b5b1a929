import json
import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from sleepnoise.casework import changes, night_results
from sleepnoise.casework.adding import accept_changes, add_door_test, add_file
from sleepnoise.casework.archive import export_dossier
from sleepnoise.casework.changes import prepared, writing
from sleepnoise.casework.journal import DamagedJournalError
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import ProfileError

DEMO = Path(__file__).parents[2] / "demo_audio"
DOOR_TEST = """
kind = "door-test"
title = "Larch Court, flat 3 (invented)"
[[step]]
title = "open"
laeq = [70.0]
[[step]]
title = "closed"
laeq = [60.0]
"""


@pytest.fixture
def tested(kept, tmp_path, tools):
    (tmp_path / "door.toml").write_text(DOOR_TEST, encoding="utf-8")
    add_door_test(kept, tmp_path / "door.toml", tools.now)
    return kept


def test_one_flipped_bit_in_any_file_is_found(tested, content):
    generator = random.Random(3)
    files = content(tested)
    assert len(files) == 6
    for path, raw in files.items():
        flipped = bytearray(raw)
        flipped[generator.randrange(len(raw))] ^= 1 << generator.randrange(8)
        (tested / path).write_bytes(flipped)
        if path == "journal.jsonl":
            with pytest.raises(DamagedJournalError):
                verify_dossier(tested)
        else:
            found = verify_dossier(tested)
            # A flip within a recording's kept hash throws doubt on the recording, too.
            assert {(path, "changed")} <= {(each.path, each.word) for each in found.findings}
            assert {each.path for each in found.findings} <= {path, "../2026-02-10.wav"}
            assert not found.sound
        (tested / path).write_bytes(raw)
    assert verify_dossier(tested).sound


@pytest.mark.parametrize("path", ["nights/*/assessed/*/events.csv", "door-tests/door/door_test.toml"])
def test_a_result_that_was_changed_by_hand_cannot_be_accepted(tested, tools, path):
    with prepared(tested) as ready, writing(tested) as book:
        folder = next(tested.glob("nights/*/assessed/*")).relative_to(tested)
        (ready / folder).mkdir(parents=True)
        (ready / folder / "events.csv").write_text("event\n", encoding="utf-8")
        book.commit(ready, tools.now, did="wrote", about="a listing")
    (file,) = tested.glob(path)
    file.write_text("another", encoding="utf-8")
    assert accept_changes(tested, tools.now, "prettier") == ()
    assert not verify_dossier(tested).sound


def test_a_room_file_with_a_mistake_is_not_accepted(kept, tools):
    add_file(kept, "room", DEMO / "bedroom.toml", tools.now)
    (kept / "room.toml").write_text('kind = "bedroom"\n', encoding="utf-8")
    with pytest.raises(ProfileError, match="length_m: is missing"):
        accept_changes(kept, tools.now, "shorter")
    assert not verify_dossier(kept).sound


def test_missing_and_strange_files_are_found(tested):
    (tested / "door-tests/door/result.json").unlink()
    (tested / "stranger.txt").write_text("", encoding="utf-8")
    (tested / "link").symlink_to(tested / "dossier.toml")
    (tested / "folder").symlink_to(tested / "nights")
    found = {each.path: each.word for each in verify_dossier(tested).findings}
    assert found == {
        "door-tests/door/result.json": "missing",
        "stranger.txt": "not in the journal",
        "link": "not in the journal",
        "folder": "not in the journal",
    }


def test_recordings_outside_are_looked_at_if_they_are_there(kept, tmp_path):
    recording = kept.parent / "2026-02-10.wav"
    assert verify_dossier(kept).recordings == 1
    moved = tmp_path / "moved"
    moved.mkdir()
    shutil.move(recording, moved)
    found = verify_dossier(kept)
    assert [each.word for each in found.findings] == ["recording not here"]
    assert (found.sound, found.recordings) == (True, 0)
    assert verify_dossier(kept, sounds_in=moved).findings == ()
    raw = bytearray((moved / recording.name).read_bytes())
    raw[5000] ^= 1
    recording.write_bytes(raw)
    found = verify_dossier(kept)
    assert [each.word for each in found.findings] == ["recording changed"]
    assert not found.sound


def test_every_number_comes_out_again(tested, tools):
    found = verify_dossier(tested, again=tools.write_quickly)
    assert found.sound
    assert [(each.what, each.same_bytes, each.different) for each in found.again] == [
        ("2026-02-10", True, ()),
        ("door test door", True, ()),
    ]
    assert found.again[0].numbers > 500


def test_a_number_that_does_not_come_out_again_is_named(kept, tools, monkeypatch):
    real = night_results.assess_recording

    def other(*given):
        record = real(*given)
        return replace(record, assessment=replace(record.assessment, window_s=28_801.0))

    monkeypatch.setattr(night_results, "assess_recording", other)
    (again,) = verify_dossier(kept, again=tools.write_quickly).again
    assert not again.same_bytes
    assert "night window_s: 28800.0, now 28801.0" in again.different


def test_a_result_that_cannot_be_worked_out_again_is_told(kept, tools):
    (kept.parent / "2026-02-10.wav").unlink()
    found = verify_dossier(kept, again=tools.write_quickly)
    assert "is not there" in found.again[0].trouble
    assert not found.sound


def test_versions_are_no_numbers_to_come_out_again(kept, tools):
    def other_version(record, folder):
        tools.write_quickly(record, folder)
        table = json.loads((folder / "assessment.json").read_text("utf-8"))
        table["versions"]["numpy"] = "9.9.9"
        (folder / "assessment.json").write_text(json.dumps(table), encoding="utf-8")

    found = verify_dossier(kept, again=other_version)
    assert found.sound
    assert not found.again[0].same_bytes


@pytest.mark.parametrize("raw", [None, b"", b"{", b"[" * 100_000, b"\xff"])
def test_a_result_that_is_gone_or_no_document_is_a_trouble_of_its_night(kept, tools, raw):
    path = next(kept.glob("nights/*/assessed/*/assessment.json"))
    path.unlink()
    if raw is not None:
        path.write_bytes(raw)
    found = verify_dossier(kept, again=tools.write_quickly)
    assert not found.sound
    assert [each.trouble.partition(":")[0] for each in found.again] == ["what was kept cannot be read"]


def test_a_dossier_on_a_medium_that_takes_nothing_is_verified_and_exported_all_the_same(
    kept, tmp_path, monkeypatch
):
    def refuse(*_, **__):
        raise AssertionError("nothing can be written here")

    monkeypatch.setattr(changes.os, "access", lambda *_: False)
    monkeypatch.setattr(changes, "held", refuse)
    assert verify_dossier(kept).sound
    assert export_dossier(kept, tmp_path / "case.zip").size_bytes > 0
