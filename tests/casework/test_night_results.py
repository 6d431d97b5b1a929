import subprocess
import sys

import pytest

from sleepnoise.casework import night_results
from sleepnoise.casework.adding import accept_changes, add_words
from sleepnoise.casework.changes import UNFINISHED
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.night_results import is_assessed, result_folder, settings_of
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.durable import held

NIGHT = "2026-02-10"


def edit(root, path, old, new):
    text = (root / path).read_text(encoding="utf-8")
    assert old in text
    (root / path).write_text(text.replace(old, new), encoding="utf-8")


def assessed(root):
    dossier = read_dossier(root)
    return [night.name for night in dossier.nights if is_assessed(dossier, night)]


def test_only_what_is_not_assessed_yet_is_done(kept, tools, monkeypatch):
    tools.with_night(kept, "2026-02-11", seed=2)
    assert assessed(kept) == [NIGHT]
    heard = []
    real = night_results.assess_recording
    monkeypatch.setattr(
        night_results,
        "assess_recording",
        lambda sounds, *rest: heard.append(sounds[0].stem) or real(sounds, *rest),
    )
    outcomes = [tools.assess(kept, name).outcome for name in (NIGHT, "2026-02-11", NIGHT, "2026-02-11")]
    assert outcomes == ["there already", "assessed", "there already", "there already"]
    assert heard == ["2026-02-11"]
    assert verify_dossier(kept).sound


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        ("dossier.toml", "who-1999-bedroom", "who-2009-night"),
        ("dossier.toml", "23:00-07:00", "22:00-06:00"),
        (f"nights/{NIGHT}/night.toml", "full_scale_level_db = 100.0", "full_scale_level_db = 101.0"),
        (f"nights/{NIGHT}/night.toml", '"closed"', '"open"'),
    ],
)
def test_a_change_of_settings_is_asked_for_and_wants_a_new_result_beside_the_old(kept, tools, path, old, new):
    before = result_folder(read_dossier(kept), read_dossier(kept).night(NIGHT))
    edit(kept, path, old, new)
    with pytest.raises(SettingsError, match="changed by hand"):
        tools.assess(kept, NIGHT)
    assert not verify_dossier(kept).sound
    assert accept_changes(kept, tools.now, "as agreed") == (path,)
    assert assessed(kept) == []
    assert result_folder(read_dossier(kept), read_dossier(kept).night(NIGHT)) != before
    assert before.is_dir()
    # Undoing it brings the earlier result back: nothing has to be worked out again.
    edit(kept, path, new, old)
    accept_changes(kept, tools.now, "undone")
    assert assessed(kept) == [NIGHT]
    assert verify_dossier(kept).sound


def test_what_changes_no_number_wants_no_new_result(kept, tools):
    edit(kept, f"nights/{NIGHT}/night.toml", "channel = 1", 'note = "rain until one"\nchannel = 1')
    accept_changes(kept, tools.now, "remembered")
    assert assessed(kept) == [NIGHT]


def test_labels_want_a_new_result(kept, tools, tmp_path):
    (tmp_path / "said.csv").write_text("start,end,label\n23:30:02,23:30:04,tram\n", encoding="utf-8")
    add_words(kept, NIGHT, tools.now, labels=tmp_path / "said.csv", diary=None)
    assert assessed(kept) == []
    dossier = read_dossier(kept)
    assert settings_of(dossier, dossier.night(NIGHT)).statements.labels == kept / f"nights/{NIGHT}/labels.csv"


def test_another_recording_in_the_place_of_the_first_is_refused(empty, tools, content):
    tools.with_night(empty)
    tools.record_night(empty.parent / f"{NIGHT}.wav", seed=9)
    before = content(empty)
    with pytest.raises(RecordingError, match="is not what it was"):
        tools.assess(empty, NIGHT)
    (empty.parent / f"{NIGHT}.wav").unlink()
    with pytest.raises(RecordingError, match="is not there"):
        tools.assess(empty, NIGHT)
    assert content(empty) == before
    assert assessed(empty) == []


def test_a_night_that_another_process_is_at_is_left_to_it(empty, tools):
    tools.with_night(empty)
    (empty / UNFINISHED).mkdir(exist_ok=True)
    with held(empty / UNFINISHED / f"{NIGHT}.night", tries=1):
        assert tools.assess(empty, NIGHT).outcome == "another process is at it"


def test_the_same_dossier_made_twice_has_equal_results_wherever_it_lies(made_once, tmp_path, tools, content):
    root = tools.new_dossier(tmp_path / "elsewhere")
    tools.assess(root, tools.with_night(root))
    here, there = content(root), content(made_once / "flat-3")
    del here["journal.jsonl"], there["journal.jsonl"]
    assert here == there


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_killed_assessment_leaves_nothing_and_is_done_again(empty, tools, content):
    tools.with_night(empty)
    before = content(empty)
    script = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from sleepnoise.casework.night_results import assess_night
def write(record, folder):
    folder.mkdir()
    (folder / "assessment.json").write_text("half", encoding="utf-8")
    os.kill(os.getpid(), 9)
assess_night(Path(sys.argv[1]), sys.argv[2], write=write, now=lambda: datetime.now(UTC))
"""
    assert subprocess.run([sys.executable, "-c", script, empty, NIGHT], check=False).returncode == -9
    assert content(empty) == before
    assert tools.assess(empty, NIGHT).outcome == "assessed"
    assert list((empty / UNFINISHED).glob("*/")) == []
    assert verify_dossier(empty).sound
