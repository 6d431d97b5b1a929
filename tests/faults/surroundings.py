"""Poor surroundings: no locale, no home, no terminal, no cache, nobody who reads; and files that change."""

import os
import random
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from tests.faults.scenes import HEARD, NIGHT, PROGRAM, Scene, Stock, content, litter, run
from tests.faults.signals import bare

NO_LOCALE = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PYTHONIOENCODING": "ascii"}
NOWHERE = "/proc/none"
"""A folder that cannot be made or written to, by anybody."""

POOR: Mapping[str, Mapping[str, str | None]] = {
    "no locale": NO_LOCALE,
    "no home, no terminal": {"HOME": None, "TERM": None, "USER": None, "LOGNAME": None},
    "no such home": {"HOME": NOWHERE, "TERM": "dumb"},
    "no cache": {"NUMBA_CACHE_DIR": NOWHERE, "XDG_CACHE_HOME": NOWHERE, "LIBROSA_CACHE_DIR": NOWHERE,
                 "MPLCONFIGDIR": NOWHERE, "PYTHONPYCACHEPREFIX": NOWHERE},
    "no room for what is temporary": {"TMPDIR": NOWHERE},
}  # fmt: skip


def poor(
    scene: Scene, stock: Stock, work: Path, _rng: random.Random, _times: int
) -> Iterator[tuple[str, list[str]]]:
    """Take away what programs like to find."""
    for what, changed in POOR.items():
        stock.prepare(scene, work)
        env = {key: value for key, value in {**os.environ, **changed}.items() if value is not None}
        done = run(scene.words, work, env=env)
        yield what, _whole(scene, stock, work, done.returncode, done.stdout + done.stderr)


def unread(
    scene: Scene, stock: Stock, work: Path, _rng: random.Random, _times: int
) -> Iterator[tuple[str, list[str]]]:
    """Give the command nobody who reads what it prints."""
    command = " ".join(f"'{word}'" for word in (*PROGRAM, *scene.words))
    for what, ending, allowed in (
        ("a reader of one line", "| head -1 >/dev/null; exit ${PIPESTATUS[0]}", (0,)),
        ("nowhere to print", ">&- 2>&-", (0, 2)),
        ("a full disk to print on", ">/dev/full", (0, 2)),
    ):
        stock.prepare(scene, work)
        words = ["bash", "-c", f"{command} {ending}"]
        done = subprocess.run(
            words,
            cwd=work,
            check=False,
            capture_output=True,
            text=True,
            timeout=300,
            stdin=subprocess.DEVNULL,
        )
        faults = _whole(scene, stock, work, 0, done.stdout + done.stderr)
        yield (
            what,
            faults
            + ([f"status {done.returncode}: {done.stderr[-800:]}"] if done.returncode not in allowed else []),
        )


def _whole(scene: Scene, stock: Stock, work: Path, status: int, said: str) -> list[str]:
    faults = bare(said)
    if status != 0:
        faults.append(f"status {status}: {said[-800:]}")
    elif not scene.dossier and content(work / scene.makes) != stock.whole(scene):
        faults.append("not whole")
    return faults + [f"litter: {left}" for left in litter(work)]


def _cut(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 3)


def _grown(path: Path) -> None:
    with path.open("ab") as stream:
        stream.write(path.read_bytes()[:500_000])


CHANGES: Mapping[str, Callable[[Path], None]] = {"goes": Path.unlink, "is cut": _cut, "grows": _grown}


def restless(
    scene: Scene, stock: Stock, work: Path, rng: random.Random, times: int
) -> Iterator[tuple[str, list[str]]]:
    """Let the recording go, shrink or grow while it is being read."""
    if NIGHT not in scene.words:
        return
    for turn in range(times):
        what, change = list(CHANGES.items())[turn % len(CHANGES)]
        stock.prepare(scene, work)
        after_s = rng.uniform(0.2, stock.took_s[scene.name] + 1.0)
        timer = threading.Timer(after_s, lambda change=change: change(work / NIGHT))
        timer.start()
        done = run(scene.words, work)
        timer.cancel()
        timer.join()
        said = done.stdout + done.stderr
        faults = bare(said)
        if done.returncode not in (0, 1, 2):
            faults.append(f"status {done.returncode}: {said[-800:]}")
        yield f"{what} after {after_s:.1f} s", faults + [f"litter: {left}" for left in litter(work)]


def unreadable(
    scene: Scene, stock: Stock, work: Path, _rng: random.Random, _times: int
) -> Iterator[tuple[str, list[str]]]:
    """Let every file that a command needs fail to be read, one after the other."""
    for target in scene.needs:
        stock.prepare(scene, work)
        files = [path for path in ((work / target), *(work / target).rglob("*")) if path.is_file()]
        for path in files[:6]:
            stock.prepare(scene, work)
            path.unlink()
            # Reading one's own memory at its beginning is an input/output error.
            path.symlink_to("/proc/self/mem")
            done = run(scene.words, work)
            said = done.stdout + done.stderr
            faults = bare(said)
            if done.returncode not in (0, 1, 2):
                faults.append(f"status {done.returncode}: {said[-800:]}")
            if path.name != NIGHT:
                faults += [f"litter: {left}" for left in litter(work)]
            yield path.relative_to(work).as_posix(), faults


def foreign(
    scene: Scene, stock: Stock, work: Path, _rng: random.Random, _times: int
) -> Iterator[tuple[str, list[str]]]:
    """Name things as people do elsewhere, where no locale knows of it."""
    if scene.name != "assess":
        return
    stock.prepare(scene, work)
    night, out = "Nächte ☾ \udcff_20260211_040500.flac", "out/Räume 部屋"
    shutil.move(work / NIGHT, work / night)
    env = {**os.environ, **NO_LOCALE}
    done = run(("assess", night, *HEARD, "--out", out), work, env=env)
    faults = _whole(scene, stock, work, done.returncode, done.stdout + done.stderr)
    # The name is in the results.
    yield "names", [fault for fault in faults if fault != "not whole"]


KINDS = {
    "poor": poor, "unread": unread, "restless": restless, "unreadable": unreadable, "foreign": foreign,
}  # fmt: skip
