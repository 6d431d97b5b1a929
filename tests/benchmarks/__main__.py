"""Measure what an analysis costs: ``python -m tests.benchmarks``.

Every measurement runs in a process of its own and is repeated; medians are printed, with
ratios of the same run, and whether each meets its target. Nothing fails: shared machines lie.
CPU and wall time are those of the work alone, without starting Python and importing; peak
memory is that of the whole process.

This module imports the standard library only: a child's peak memory would otherwise start
from its parent's.
"""

import argparse
import csv
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[2]
MIB = 2**20

DECODES, BANK, WALL, MEMORY_MIB, GROWTH, HELP_S, ROOM_MS = 4.0, 8.0, 1.6, 400.0, 1.2, 0.3, 5.0
"""Targets of the project: analysis at most 4 decodings (goal 3), at least 8 times less than a filter
bank; 1.6 times faster with two threads; under 400 MiB, and no more than a fifth more for 8 h than
for 1 h; help within 0.3 s; a room, treated and not, within 5 ms."""

PLAN_CPU_S = {300: 15.0, 3000: 30.0}
PLAN_MIB = 1000.0
"""Targets of the project for a plan of 8 parts with 4 options, by number of events: CPU s, and memory."""

JOBS = {
    "decode": "decode only",
    "one thread": "decode, levels, statistics: 1 thread",
    "two threads": "decode, levels, statistics: 2 threads",
    "bank": "decode, scipy filter bank",
}


def main() -> None:
    """Run all measurements and print what they say."""
    asked = _arguments()
    print(f"{platform.machine()}, {os.cpu_count()} CPUs, load {os.getloadavg()[0]:.1f}, {_commit()}")
    with tempfile.TemporaryDirectory(dir=asked.folder) as folder:
        found = _speed(Path(folder), asked)
        if not asked.no_memory:
            found |= _memory(Path(folder), asked)
    found |= _help(asked.runs)
    # A thousand rooms, so seconds are milliseconds of one.
    found["room cpu_ms"] = _child("room", ROOT / "demo_audio" / "bedroom.toml")["cpu_s"]
    for events in PLAN_CPU_S:
        row = _child("plan", ROOT, str(events))
        found |= {f"plan {events} {key}": row[key] for key in ("cpu_s", "peak_mib")}
    _show_targets(found)
    if asked.append:
        _append(asked.append, found)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=20.0, help="length for the speeds [20]")
    parser.add_argument("--hours", type=float, nargs=2, default=(1.0, 8.0), help="lengths for memory [1 8]")
    parser.add_argument("--runs", type=int, default=3, help="how often each speed is measured [3]")
    parser.add_argument("--bits", type=int, choices=(16, 24), default=24, help="of the FLAC files [24]")
    parser.add_argument("--no-memory", action="store_true", help="leave out the long files, about 2 GB")
    parser.add_argument("--folder", type=Path, help="where temporary files go")
    parser.add_argument("--append", type=Path, metavar="FILE", help="add one line to this csv")
    return parser.parse_args()


def _child(job: str, file: Path, *more: str) -> dict[str, float]:
    """Run one job in a process of its own and return its own account of CPU, wall and memory."""
    command = [sys.executable, "-m", "tests.benchmarks.work", job, str(file), *more]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"{job} failed:\n{done.stderr}")
    return dict(json.loads(done.stdout))


def _median(runs: list[dict[str, float]]) -> dict[str, float]:
    return {key: statistics.median(run[key] for run in runs) for key in runs[0]}


def _speed(folder: Path, asked: argparse.Namespace) -> dict[str, float]:
    file = folder / "speed.flac"
    _child("write", file, str(asked.minutes * 60), str(asked.bits))
    print(f"\n{asked.minutes:g} min of 48 kHz mono pink noise, FLAC {asked.bits} bit, "
          f"{file.stat().st_size / MIB:.0f} MiB; medians of {asked.runs}")  # fmt: skip
    print(f"{'':42}{'CPU s':>9}{'wall s':>9}{'peak MiB':>10}{'CPU s per 8 h':>15}")
    # Job after job, then again: what else the machine does then falls on all of them.
    rounds = [{job: _child(job, file) for job in JOBS} for _ in range(asked.runs)]
    found = {}
    for job, title in JOBS.items():
        row = _median([one[job] for one in rounds])
        per_night_s = row["cpu_s"] * 480 / asked.minutes
        print(f"{title:42}{row['cpu_s']:9.2f}{row['wall_s']:9.2f}{row['peak_mib']:10.0f}{per_night_s:15.1f}")
        found |= {f"{job} {key}": value for key, value in row.items()}
    file.unlink()
    return found


def _memory(folder: Path, asked: argparse.Namespace) -> dict[str, float]:
    print(f"\n{'memory, 1 thread':42}{'CPU s':>9}{'wall s':>9}{'peak MiB':>10}")
    found = {}
    for name, hours in zip(("short", "long"), asked.hours, strict=True):
        file = folder / f"{name}.flac"
        _child("write", file, str(hours * 3600), str(asked.bits), "knocks")
        for job, title in (("one thread", "decode, levels, statistics"), ("assess", "main job, all outputs")):
            row = _child(job, file)
            print(
                f"{f'{hours:g} h: {title}':42}{row['cpu_s']:9.2f}{row['wall_s']:9.2f}{row['peak_mib']:10.0f}"
            )
            found |= {f"{name} {job} {key}": value for key, value in row.items()}
        file.unlink()
    return found


def _help(runs: int) -> dict[str, float]:
    walls_s = []
    for _ in range(max(runs, 5)):
        started = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "sleepnoise", "--help"], cwd=ROOT, stdout=subprocess.DEVNULL, check=True
        )
        walls_s.append(time.perf_counter() - started)
    return {"help wall_s": statistics.median(walls_s)}


def _show_targets(found: dict[str, float]) -> None:
    """Add the ratios to what was found, and print them beside their targets."""
    one, two = "one thread", "two threads"
    found["decodes"] = found[f"{one} cpu_s"] / found["decode cpu_s"]
    found["bank ratio"] = found["bank cpu_s"] / found[f"{one} cpu_s"]
    found["wall ratio"] = found[f"{one} wall_s"] / found[f"{two} wall_s"]
    lines = [
        ("analysis, in CPU times of decoding", found["decodes"], "at most", DECODES),
        ("filter bank, in CPU times of analysis", found["bank ratio"], "at least", BANK),
        ("wall time, one thread over two", found["wall ratio"], "at least", WALL),
        ("help, wall s", found["help wall_s"], "at most", HELP_S),
        ("a room and one treatment of it, CPU ms", found["room cpu_ms"], "at most", ROOM_MS),
    ]
    for job, title in (("one thread", "levels"), ("assess", "main job")):
        if f"long {job} peak_mib" in found:
            peak_mib = found[f"long {job} peak_mib"]
            found[f"{job} growth"] = peak_mib / found[f"short {job} peak_mib"]
            lines += [
                (f"{title}: peak of the long night, MiB", peak_mib, "at most", MEMORY_MIB),
                (f"{title}: long night over short", found[f"{job} growth"], "at most", GROWTH),
            ]
    for events, cpu_s in PLAN_CPU_S.items():
        lines += [
            (f"a plan for {events} events, CPU s", found[f"plan {events} cpu_s"], "at most", cpu_s),
            (f"a plan for {events} events, peak MiB", found[f"plan {events} peak_mib"], "at most", PLAN_MIB),
        ]
    print()
    for title, value, bound, target in lines:
        met = value <= target if bound == "at most" else value >= target
        print(f"{title:42}{value:9.2f}   {bound} {target:g}: {'met' if met else 'NOT MET'}")


def _append(file: Path, found: dict[str, float]) -> None:
    row = {"time_utc": datetime.now(UTC).isoformat(timespec="seconds"), "commit": _commit()}
    row |= {"machine": platform.machine(), "cpus": os.cpu_count(), "load": f"{os.getloadavg()[0]:.1f}"}
    row |= {key.replace(" ", "_"): f"{value:.3f}" for key, value in found.items()}
    new = not file.exists()
    with file.open("a", newline="") as stream:
        writer = csv.DictWriter(stream, row)
        if new:
            writer.writeheader()
        writer.writerow(row)


def _commit() -> str:
    command = ["git", "describe", "--always", "--dirty"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stdout.strip() or "no commit"


if __name__ == "__main__":
    main()
