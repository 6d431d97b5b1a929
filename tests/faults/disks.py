"""Disks of their own for what commands write: ever so full, or not to be written to at all."""

import os
import random
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.faults.scenes import Scene, Stock, content, faults_of, litter, run
from tests.faults.signals import bare, resumed

PAGE_BYTES = 4096
"""Unit in which such a disk fills up. Source: size of a page of memory on most machines."""

AMPLE = "512M"

SAID = ("No space left", "disk is full", "disk may be full", "incomplete", "Read-only", "cannot be written")
"""Whatever a complaint must have of these."""


@contextmanager
def disk(place: Path) -> Iterator[None]:
    """Put a disk in memory in the place of a folder, with what was in it."""
    aside = place.with_name("aside")
    place.rename(aside)
    place.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={AMPLE}", "faults", place], check=True)
    try:
        shutil.copytree(aside, place, dirs_exist_ok=True)
        shutil.rmtree(aside)
        yield
    finally:
        subprocess.run(["umount", place], check=True)


def remount(place: Path, how: str) -> None:
    """Change a disk."""
    subprocess.run(["mount", "-o", f"remount,{how}", place], check=True)


def full(
    scene: Scene, stock: Stock, work: Path, rng: random.Random, times: int
) -> Iterator[tuple[str, list[str]]]:
    """Leave less room than the results take."""
    most = _taken(stock.folder / "after" / scene.name / "out")
    for turn in range(times):
        stock.prepare(scene, work)
        before = content(work / scene.makes)
        with disk(work / "out"):
            least = _taken(work / "out")
            room = 0 if turn == 0 else round(rng.uniform(0, 0.95) * max(most - least, PAGE_BYTES))
            remount(work / "out", f"size={max(least + room, 1) // PAGE_BYTES * PAGE_BYTES or PAGE_BYTES}")
            faults = _refused(scene, stock, work, before)
            remount(work / "out", f"size={AMPLE}")
            faults += resumed(scene, stock, work)
        yield f"{room} bytes free", faults


def closed(
    scene: Scene, stock: Stock, work: Path, _rng: random.Random, _times: int
) -> Iterator[tuple[str, list[str]]]:
    """Let nothing be written at all."""
    stock.prepare(scene, work)
    before = content(work / scene.makes)
    with disk(work / "out"):
        remount(work / "out", "ro")
        faults = _refused(scene, stock, work, before)
        remount(work / "out", "rw")
        faults += resumed(scene, stock, work)
    yield "read-only", faults


def _refused(scene: Scene, stock: Stock, work: Path, before: dict[str, str]) -> list[str]:
    done = run(scene.words, work)
    said = done.stdout + done.stderr
    faults = bare(said)
    if done.returncode == 0 and content(work / scene.makes) == stock.whole(scene) and not scene.dossier:
        return faults
    if done.returncode not in (1, 2) or not any(word in said for word in SAID):
        faults.append(f"status {done.returncode}: {said[-600:]}")
    return faults + [f"litter: {left}" for left in litter(work)] + faults_of(scene, stock, work, before)


def _taken(place: Path) -> int:
    """Return what the files of a folder take on such a disk, bytes: whole pages."""
    sizes = (path.stat().st_size for path in place.rglob("*") if path.is_file())
    return sum(-(-size // PAGE_BYTES) * PAGE_BYTES for size in sizes)


KINDS = {"full": full, "read-only": closed} if hasattr(os, "geteuid") and os.geteuid() == 0 else {}
