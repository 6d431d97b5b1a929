"""Commands to be disturbed: what each needs, what it makes, and how that is told to be whole."""

import hashlib
import shutil
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import soundfile

DEMO = Path(__file__).parents[2] / "demo_audio"
NIGHT = "larch-court-flat-3_20260211_040500.flac"
HEARD = ("--tone", "tone.flac", "--zone", "Europe/Vienna")
SOUND = {NIGHT: NIGHT, "tone.flac": "tone.flac"}

LITTER = (".sleepnoise-", ".unfinished-")
"""Beginnings of names that nobody may find afterwards."""

LOADING_S = 1.0
"""Time that a command takes to load its libraries, s. Chosen: as on the machine it was written on."""

PROGRAM = (sys.executable, "-m", "sleepnoise")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A command with what it needs.

    Attributes
    ----------
    name : str
    words : sequence of str
        After ``sleepnoise``, run in the scene's folder.
    makes : str
        File or folder that it makes or changes.
    needs : mapping of str to str
        What lies in its folder before, and where that is in the stock.
    grows : bool
        Whether it makes its files one after the other, each whole, rather than all at once.
    dossier : bool
        Whether what it makes is a dossier, which knows by itself whether it is whole.
    """

    name: str
    words: Sequence[str]
    makes: str
    needs: Mapping[str, str]
    grows: bool = False
    dossier: bool = False


def _of(scene: str, path: str) -> str:
    return f"after/{scene}/{path}"


_CASE = "out/case"
_HEARD = {_CASE: _of("dossier assess", _CASE), **SOUND}

SCENES = (
    Scene(
        name="demo",
        words=("demo", "out/demo", "--hours", "0.05", "--rate", "8000"),
        makes="out/demo",
        needs={},
    ),
    Scene(
        name="assess", words=("assess", NIGHT, *HEARD, "--out", "out/night"), makes="out/night", needs=SOUND
    ),
    Scene(
        name="assess anew",
        words=("assess", NIGHT, *HEARD, "--out", "out/night", "--force"),
        makes="out/night",
        needs={**SOUND, "out/night": _of("assess", "out/night")},
    ),
    Scene(
        name="assess-many",
        words=("assess-many", "beds/one", "beds/two", *HEARD, "--out", "out/many", "--workers", "2"),
        makes="out/many/nights",
        needs={**SOUND, "beds": "beds"},
        grows=True,
    ),
    Scene(
        name="survey",
        words=("survey", "out/many", "--csv", "out/ranks/s.csv", "--page", "out/ranks/s.html"),
        makes="out/ranks",
        needs={"out/many": _of("assess-many", "out/many"), "out/ranks": "empty"},
    ),
    Scene(
        name="dossier start",
        words=("dossier", "start", _CASE, "--title", "Flat 3", "--zone", "Europe/Vienna"),
        makes=_CASE,
        needs={},
        dossier=True,
    ),
    Scene(
        name="dossier add-night",
        words=("dossier", "add-night", _CASE, NIGHT, "--tone", "tone.flac"),
        makes=_CASE,
        needs={**SOUND, _CASE: _of("dossier start", _CASE)},
        dossier=True,
    ),
    Scene(
        name="dossier assess",
        words=("dossier", "assess", _CASE),
        makes=_CASE,
        needs={**SOUND, _CASE: _of("dossier add-night", _CASE)},
        dossier=True,
    ),
    Scene(
        name="dossier export",
        words=("dossier", "export", _CASE, "out/case.zip"),
        makes="out/case.zip",
        needs=_HEARD,
    ),
    Scene(
        name="dossier import",
        words=("dossier", "import", "case.zip", "out/again"),
        makes="out/again",
        needs={"case.zip": _of("dossier export", "out/case.zip")},
    ),
    Scene(
        name="dossier report",
        words=("dossier", "report", _CASE, "--out", "out/case.json"),
        makes="out/case.json",
        needs=_HEARD,
    ),
    Scene(
        name="plan",
        words=("plan", "night", "--room", "bedroom.toml", "--out", "out/plan.json"),
        makes="out/plan.json",
        needs={"night": _of("assess", "out/night"), "bedroom.toml": "bedroom.toml"},
    ),
    Scene(
        name="hear-plan",
        words=("hear-plan", "plan.json", NIGHT, *HEARD, "--out", "out/heard", "--excerpts", "2"),
        makes="out/heard",
        needs={**SOUND, "plan.json": _of("plan", "out/plan.json"), "out/heard": "empty"},
    ),
    Scene(
        name="design-masker",
        words=(
            "design-masker",
            "night",
            "--out",
            "out/masker/m.json",
            "--sound",
            "out/masker/m.flac",
            "--seconds",
            "20",
            "--aim",
            "not noticeable",
        ),
        makes="out/masker",
        needs={"night": _of("assess", "out/night"), "out/masker": "empty"},
        grows=True,
    ),
    Scene(
        name="calibrate",
        words=("calibrate", "--tone", "tone.flac", "--out", "out/kept.toml", "--made-on", "2026-02-10"),
        makes="out/kept.toml",
        needs=SOUND,
    ),
    Scene(
        name="test-sound",
        words=("test-sound", "pink", "out/pink.wav", "--seconds", "20"),
        makes="out/pink.wav",
        needs={},
    ),
)
"""Commands, in the order in which one makes what the next needs."""


def run(words: Sequence[str], folder: Path, **more: Any) -> "subprocess.CompletedProcess[str]":
    """Run a command to its end."""
    given = {"stdin": subprocess.DEVNULL, "capture_output": True, "errors": "replace", "timeout": 300, **more}
    return subprocess.run([*PROGRAM, *words], cwd=folder, check=False, text=True, **given)


class Stock:
    """Whatever scenes need, and what they make undisturbed; each command is run once."""

    def __init__(self, folder: Path, scenes: Sequence[Scene] = SCENES) -> None:
        self.folder = folder
        self.took_s: dict[str, float] = {}
        for name in ("empty", "beds/one", "beds/two", "after"):
            (folder / name).mkdir(parents=True)
        samples, rate = soundfile.read(DEMO / NIGHT, dtype="int16")
        soundfile.write(folder / NIGHT, samples[: 200 * rate], rate)
        shutil.copy(DEMO / "calibration_tone.flac", folder / "tone.flac")
        shutil.copy(DEMO / "bedroom.toml", folder / "bedroom.toml")
        for place in ("one/a", "one/b", "two/a"):
            shutil.copy(folder / NIGHT, folder / "beds" / f"{place}_20260211_040500.flac")
        for scene in scenes:
            self.prepare(scene, folder / "after" / scene.name)
            began = time.monotonic()
            done = run(scene.words, folder / "after" / scene.name)
            self.took_s[scene.name] = max(time.monotonic() - began - LOADING_S, LOADING_S)
            if done.returncode != 0:
                raise RuntimeError(f"{scene.name}: {done.stdout[-500:]}{done.stderr[-1500:]}")

    def prepare(self, scene: Scene, folder: Path) -> None:
        """Fill a folder with what a scene needs, as if nothing had happened yet."""
        shutil.rmtree(folder, ignore_errors=True)
        (folder / "out").mkdir(parents=True)
        for target, source in scene.needs.items():
            (folder / target).parent.mkdir(parents=True, exist_ok=True)
            (shutil.copytree if (self.folder / source).is_dir() else shutil.copy)(
                self.folder / source, folder / target
            )

    def whole(self, scene: Scene) -> dict[str, str]:
        """Return what a scene makes undisturbed."""
        return content(self.folder / "after" / scene.name / scene.makes)


def content(place: Path) -> dict[str, str]:
    """Return the hash of every file at a place, by its path below it, but for litter."""
    files = [place] if place.is_file() else sorted(place.rglob("*"))
    return {
        path.relative_to(place).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
        if path.is_file() and not any(part.startswith(LITTER) for part in path.relative_to(place).parts)
    }


def litter(folder: Path) -> list[str]:
    """Return what was left that nobody asked for."""
    unfinished = [
        path for path in folder.rglob(".unfinished/*") if not path.name.endswith((".held", ".night"))
    ]
    found = [path for path in folder.rglob("*") if path.name.startswith(LITTER)]
    return sorted(path.relative_to(folder).as_posix() for path in (*unfinished, *found))


def faults_of(scene: Scene, stock: Stock, folder: Path, before: Mapping[str, str]) -> list[str]:
    """Return what is wrong with what a disturbed scene left: nothing, if all is old or all is new."""
    now, whole = content(folder / scene.makes), stock.whole(scene)
    if scene.dossier:
        if not now:
            return []
        checked = run(("dossier", "verify", str(folder / scene.makes)), folder)
        said = f"verify: {checked.stdout[-300:]}{checked.stderr[-300:]}"
        return [] if checked.returncode == 0 else [said]
    if scene.grows:
        wrong = [name for name, mark in now.items() if mark not in (whole.get(name), before.get(name))]
        return [f"neither old nor new: {wrong}"] if wrong else []
    return [] if now in (before, whole) else [f"some old, some new: {sorted(now)}"]
