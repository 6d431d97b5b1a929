"""Interrupt, kill and starve commands: ``python -m tests.faults KIND... --times N``; without KIND, all.

Each kind disturbs every command of ``scenes.py``. Whatever is left must be all old or all new, without
litter and without a traceback, and the same command must then finish the job. What is wrong is printed,
and counted at the end; the exit status is 1 if anything was. Needs root for disks of its own.
"""

import argparse
import random
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.faults import disks, signals, surroundings
from tests.faults.scenes import SCENES, Stock

KINDS = {**signals.KINDS, **disks.KINDS, **surroundings.KINDS}


def say(what: object) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{what}\n")
    sys.stdout.flush()


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("kinds", nargs="*", metavar="KIND", help=", ".join(KINDS))
    parser.add_argument("--times", type=int, default=8, help="how often each signal hits each command")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scene", action="append", help="only this command, may be repeated")
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="faults-"))
    try:
        stock = Stock(folder / "stock")
        say({name: round(took_s, 1) for name, took_s in stock.took_s.items()})
        scenes = [scene for scene in SCENES if asked.scene is None or scene.name in asked.scene]
        injected, wrong = Counter[str](), 0
        rng = random.Random(asked.seed)
        for kind in asked.kinds or KINDS:
            for scene in scenes:
                for what, faults in KINDS[kind](scene, stock, folder / "work", rng, asked.times):
                    injected[kind] += 1
                    wrong += bool(faults)
                    for fault in faults:
                        say(f"{kind}, {scene.name}, {what}: {fault}")
            say(f"{kind}: {injected[kind]} injected, {wrong} wrong so far")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
