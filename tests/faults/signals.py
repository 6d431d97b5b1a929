"""Signals at random moments: to all processes of a command, as a terminal does, or to the command alone."""

import importlib
import os
import random
import signal
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

from tests.faults.scenes import Scene, Stock, content, faults_of, litter, run

ALLOWED = {signal.SIGINT: (0, 130, -signal.SIGINT), signal.SIGTERM: (0, 143), signal.SIGKILL: (0, -9)}
BARE = ("Traceback", "Exception ignored", "leaked")
RESUMED = 3
"""Each which of the disturbed commands is run again. Chosen: every one would take twice as long."""


def disturbed(
    number: signal.Signals,
    everybody: bool,
    scene: Scene,
    stock: Stock,
    work: Path,
    rng: random.Random,
    times: int,
) -> Iterator[tuple[str, list[str]]]:
    """Yield when a signal came, and what was wrong then."""
    preloaded()
    for turn in range(times):
        stock.prepare(scene, work)
        before = content(work / scene.makes)
        after_s = rng.uniform(0.0, 1.05 * stock.took_s[scene.name])
        status, said = _hit(scene, work, number, everybody, after_s)
        faults = [f"status {status}"] if status not in ALLOWED[number] else []
        faults += bare(said)
        if number != signal.SIGKILL:
            faults += [f"litter: {left}" for left in litter(work)]
        faults += faults_of(scene, stock, work, before)
        if status != 0 and (number == signal.SIGKILL or turn % RESUMED == 0):
            faults += resumed(scene, stock, work)
        yield f"after {after_s:.2f} s", faults


def bare(said: str) -> list[str]:
    """Return what no user should see, from where it begins."""
    lines = said.splitlines()
    first = next((place for place, line in enumerate(lines) if line.startswith(BARE)), None)
    return [] if first is None else ["\n".join(lines[first : first + 30])]


def resumed(scene: Scene, stock: Stock, work: Path) -> list[str]:
    """Run a command that was disturbed again, and return what is wrong then."""
    again = run(scene.words, work)
    if again.returncode == 2 and "is there already" in again.stderr + again.stdout:
        # It was done but for the last words.
        again = run((*scene.words, "--force"), work) if scene.name == "design-masker" else again
    elif again.returncode != 0:
        return [f"resumed, status {again.returncode}: {again.stdout[-300:]}{again.stderr[-600:]}"]
    faults = [f"resumed, litter: {left}" for left in litter(work)]
    if not scene.dossier and content(work / scene.makes) != stock.whole(scene):
        faults.append("resumed, and not whole")
    return faults + faults_of(scene, stock, work, {})


def _hit(scene: Scene, work: Path, number: int, everybody: bool, after_s: float) -> tuple[int, str]:
    said = work / "said"
    process = Started(scene.words, work, said)
    status = process.ended(after_s)
    if status is None:
        (os.killpg if everybody else os.kill)(process.pid, number)
        status = process.ended(60.0)
    if status is None:
        os.killpg(process.pid, signal.SIGKILL)
        return -999, "Traceback of nothing: it does not end within a minute"
    text = said.read_text(errors="replace") + _survivors(process.pid)
    said.unlink()
    return status, text


class Started:
    """A command in a session of its own, forked from this process, which has loaded its libraries."""

    def __init__(self, words: Sequence[str], work: Path, said: Path) -> None:
        sys.stdout.flush()
        self.pid = os.fork()
        if self.pid == 0:
            try:
                os.setsid()
                os.chdir(work)
                for handle in (1, 2):
                    os.dup2(os.open(said, os.O_WRONLY | os.O_CREAT | os.O_APPEND), handle)
                os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
                sys.argv = ["sleepnoise", *words]
                status = _run_here()
            finally:
                os._exit(status)

    def ended(self, within_s: float) -> int | None:
        """Wait for the end, and return the status, or nothing if there is none yet."""
        until = time.monotonic() + within_s
        while True:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                return os.waitstatus_to_exitcode(status)
            if time.monotonic() > until:
                return None
            time.sleep(0.005)


def _run_here() -> int:
    from sleepnoise.cli.program import main

    try:
        main()
    except SystemExit as left:
        return left.code if isinstance(left.code, int) else int(left.code is not None)
    except BaseException:
        traceback.print_exc()
        return 1
    return 0


def preloaded() -> None:
    """Load what commands load, once for all."""
    for name in ("assess", "plan", "hear_plan", "survey", "assess_many", "dossier", "demo", "design_masker"):
        importlib.import_module(f"sleepnoise.cli.{name}")
    for name in (
        "report.folder",
        "report.survey_page",
        "proving.excerpts",
        "planning.bedroom_plan",
        "casework.archive",
        "assessing.assess",
        "demo.writing",
        "portfolio.running",
        "trials.masker_study",
        "recognition.features",
        "casework.night_results",
        "screens.night_summary",
    ):
        importlib.import_module(f"sleepnoise.{name}")


def _survivors(group: int) -> str:
    """Return a word on processes that are still there after ten seconds."""
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return ""
        time.sleep(0.1)
    os.killpg(group, signal.SIGKILL)
    return "\nTraceback of nothing, but a process was left behind\n"


KINDS = {
    "interrupt": partial(disturbed, signal.SIGINT, True),
    "interrupt-one": partial(disturbed, signal.SIGINT, False),
    "terminate": partial(disturbed, signal.SIGTERM, False),
    "kill": partial(disturbed, signal.SIGKILL, False),
}
