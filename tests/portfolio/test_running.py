import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter, deque
from dataclasses import replace
from pathlib import Path

import portfolio_work
import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.portfolio import night_job
from sleepnoise.portfolio.crews import cluster_crew, local_crew
from sleepnoise.portfolio.ledger import entries
from sleepnoise.portfolio.running import assess_nights, work_through

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are killed as POSIX does")


def counted(outcomes):
    return Counter(outcome.state for outcome in outcomes)


def test_processes_one_of_them_killed_write_the_same_bytes_as_one_process_and_nothing_is_done_twice(
    tasks, baseline, tmp_path, bytes_below
):
    crew = local_crew(2)
    first = counted(assess_nights(tasks, tmp_path, portfolio_work.write_data_killed_once, crew))
    assert (tmp_path / "killed").exists()
    assert first == {"finished": 8} or first == {"finished": 7, "skipped": 1}
    assert bytes_below(tmp_path / "nights") == bytes_below(baseline / "nights")
    assert not [path for path in tmp_path.rglob(".sleepnoise-*")]


def test_what_is_finished_is_skipped_and_only_the_rest_is_done(tasks, baseline, here, monkeypatch):
    def never(*_arguments):
        raise AssertionError("was assessed again")

    monkeypatch.setattr(night_job, "assess_recording", never)
    assert counted(assess_nights(tasks, baseline, portfolio_work.write_data, here)) == {"skipped": 8}


def test_a_night_that_kills_its_worker_is_noted_and_the_others_lose_nothing(tasks, tmp_path):
    deadly = [replace(tasks[0], night=name) for name in ("a", "b", "deadly")]
    found = list(work_through(deque(deadly), portfolio_work.deadly_job, tmp_path, local_crew(2)))
    assert {each.night: each.state for each in found} == {
        "a": "finished",
        "b": "finished",
        "deadly": "failed",
    }
    kept = [entry.outcome for entry in entries(tmp_path)]
    assert [each.night for each in kept] == ["deadly"]
    assert "died, twice" in kept[0].complaint


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not hold a process to its memory")
def test_a_worker_has_the_memory_that_it_was_given(tasks, tmp_path):
    for memory_mb, state in ((500.0, "failed"), (1500.0, "finished")):
        crew = local_crew(1, memory_mb)
        assert counted(work_through(deque(tasks[:1]), portfolio_work.hungry_job, tmp_path, crew)) == {
            state: 1
        }


def test_a_night_that_fails_keeps_its_sentence_stops_nobody_and_is_tried_again(tasks, tmp_path, here):
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"RIFF")
    some = [replace(tasks[0], recordings=(str(broken),), night="broken"), tasks[1]]
    out = tmp_path / "out"
    assert counted(assess_nights(some, out, portfolio_work.write_data, here)) == {"failed": 1, "finished": 1}
    kept = {entry.outcome.night: entry.outcome for entry in entries(out)}
    assert "broken.wav" in kept["broken"].complaint
    again = {each.night: each.state for each in assess_nights(some, out, portfolio_work.write_data, here)}
    assert again == {"broken": "failed", some[1].night: "skipped"}


def test_a_full_disk_fails_the_nights_that_do_not_fit_and_the_next_run_does_them(
    tasks, baseline, here, tmp_path, bytes_below
):
    some = tasks[:2]
    first = list(assess_nights(some, tmp_path, portfolio_work.write_data_while_there_is_room, here))
    assert counted(first) == {"finished": 1, "failed": 1}
    assert all("No space left" in each.complaint for each in first if each.state == "failed")
    second = counted(assess_nights(some, tmp_path, portfolio_work.write_data, here))
    assert second == {"finished": 1, "skipped": 1}
    held = bytes_below(baseline / "nights")
    for name, content in bytes_below(tmp_path / "nights").items():
        assert held[name] == content


def test_no_night_is_heard_when_there_is_no_room_for_its_results(tasks, here, tmp_path, monkeypatch):
    monkeypatch.setattr(night_job, "LEAST_FREE_BYTES", 10**18)
    monkeypatch.setattr(night_job, "assess_recording", None)
    found = list(assess_nights(tasks[:1], tmp_path, portfolio_work.write_data, here))
    assert "the disk is full" in found[0].complaint


def test_a_fault_of_the_program_fails_one_night_and_says_so(tasks, here, tmp_path, monkeypatch):
    monkeypatch.setattr(night_job, "assess_recording", None)
    found = list(assess_nights(tasks[:1], tmp_path, portfolio_work.write_data, here))
    assert found[0].state == "failed"
    assert "TypeError" in found[0].complaint
    assert "fault of the program" in found[0].remedy


def test_two_runs_at_once_share_the_nights_and_assess_each_once(tasks, here, tmp_path, monkeypatch, record):
    heard = []

    def slow(paths, _settings):
        heard.append(paths[0].parent.name + paths[0].name)
        time.sleep(0.05)
        return record

    def write(_record, out):
        out.mkdir()
        (out / "manifest.json").write_text("{}")

    monkeypatch.setattr(night_job, "assess_recording", slow)
    counts = []

    def run():
        counts.append(counted(assess_nights(tasks, tmp_path, write, here)))

    runs = [threading.Thread(target=run) for _ in range(2)]
    for each in runs:
        each.start()
    for each in runs:
        each.join()
    assert len(heard) == len(set(heard)) == 8
    assert counts[0] + counts[1] == {"finished": 8, "skipped": 8}


RUN = """
import sys
from pathlib import Path
from portfolio_work import write_data
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.portfolio.crews import local_crew
from sleepnoise.portfolio.gathering import gather
from sleepnoise.portfolio.running import assess_nights
if __name__ == "__main__":
    settings = AssessSettings(zone="Europe/Vienna", full_scale_level_db=100.0, window="23:00-23:01")
    for each in assess_nights(gather(sys.argv[2:], settings), Path(sys.argv[1]), write_data, local_crew(2)):
        print(each.state, flush=True)
"""


def test_a_run_that_is_killed_leaves_no_worker_behind_and_the_next_does_only_the_rest(
    rooms, tasks, here, baseline, tmp_path, bytes_below
):
    out, script = tmp_path / "out", tmp_path / "run.py"
    script.write_text(RUN)
    run = subprocess.Popen(
        [sys.executable, str(script), str(out), str(rooms / "Larch Court 1")],
        env={**os.environ, "PYTHONPATH": str(Path(portfolio_work.__file__).parent)},
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    with run:
        # After the third of four one worker has nothing to do, the other is at work.
        assert [run.stdout.readline() for _ in range(3)] == ["finished\n"] * 3
        os.kill(run.pid, signal.SIGKILL)
    deadline = time.monotonic() + 20
    while _group_lives(run.pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _group_lives(run.pid)
    done = sum(entry.outcome.state == "finished" for entry in entries(out))
    assert done in (3, 4)
    rest = counted(assess_nights(tasks[:4], out, portfolio_work.write_data, here))
    assert rest == Counter(skipped=done, finished=4 - done)
    room = "nights/Larch Court 1"
    assert bytes_below(out / room) == bytes_below(baseline / room)


def _group_lives(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_cluster_writes_the_same_bytes(tasks, baseline, tmp_path, bytes_below):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        crew = cluster_crew(cluster.scheduler_address)
        found = counted(assess_nights(tasks[:2], tmp_path, portfolio_work.write_data, crew))
    assert found == {"finished": 2}
    held = bytes_below(baseline / "nights")
    written = bytes_below(tmp_path / "nights")
    assert written == {name: held[name] for name in written}


def test_a_writer_that_refuses_fails_its_night(tasks, here, tmp_path):
    found = list(assess_nights(tasks[:1], tmp_path, portfolio_work.refused, here))
    assert found[0].complaint.endswith("not today.")
    assert found[0].remedy == "Wait."


@pytest.mark.parametrize(("workers", "memory_mb"), [(0, None), (1, 0.0)])
def test_a_crew_without_workers_or_memory_is_refused(workers, memory_mb):
    with pytest.raises(SettingsError):
        local_crew(workers, memory_mb)
