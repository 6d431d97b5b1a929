"""A small invented dossier: short noise for nights, a results folder of one file."""

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.casework.adding import add_night
from sleepnoise.casework.changes import prepared, writing
from sleepnoise.casework.dossier import read_dossier, start_dossier
from sleepnoise.casework.night_results import assess_night, result_folder
from sleepnoise.casework.written_files import DossierFile
from sleepnoise.dossier.document import assessment_document
from sleepnoise.evidence.plain import document_text

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
RATE_HZ = 8000


def write_quickly(record, folder):
    """Write a night's numbers without the page."""
    folder.mkdir()
    (folder / "assessment.json").write_text(document_text(assessment_document(record)), encoding="utf-8")


def record_night(path, seed=1, seconds=12.0):
    samples = np.random.default_rng(seed).normal(0.0, 0.01, round(seconds * RATE_HZ))
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_16")
    return path


def new_dossier(root, **keys):
    about = {
        "title": "Larch Court, flat 3 (invented)",
        "zone": "Europe/Vienna",
        "guidelines": ["who-1999-bedroom"],
    }
    start_dossier(root, DossierFile(**{**about, **keys}), NOW, {})
    return root


def with_night(root, evening="2026-02-10", seed=1, **known):
    about = {"start": f"{evening}T23:30:00", "windows": "closed", "full_scale_level_db": 100.0, **known}
    return add_night(root, [record_night(root.parent / f"{evening}.wav", seed)], about, NOW)


def assess(root, name):
    return assess_night(root, name, write=write_quickly, now=lambda: NOW)


@pytest.fixture(scope="session")
def made_once(tmp_path_factory):
    folder = tmp_path_factory.mktemp("case")
    root = new_dossier(folder / "flat-3")
    assess(root, with_night(root))
    return folder


@pytest.fixture
def kept(made_once, tmp_path):
    """A dossier with one assessed night; its recording lies beside it."""
    shutil.copytree(made_once, tmp_path, dirs_exist_ok=True)
    return tmp_path / "flat-3"


@pytest.fixture
def empty(tmp_path):
    return new_dossier(tmp_path / "flat-3")


@pytest.fixture
def many(kept):
    """Thirty nights with results, made from one: each 0.1 dB louder; windows open on every third."""
    text = json.loads(next(kept.glob("nights/*/assessed/*/assessment.json")).read_text("utf-8"))
    written = (kept / "nights/2026-02-10/night.toml").read_text("utf-8")
    with prepared(kept) as ready, writing(kept) as book:
        for number in range(1, 30):
            evening = (datetime(2026, 2, 10) + timedelta(days=number)).date().isoformat()
            folder = ready / "nights" / evening
            folder.mkdir(parents=True)
            night = written.replace("2026-02-10", evening).replace('"start', "start")
            windows = "open" if number % 3 == 0 else "closed"
            night = night.replace('windows = "closed"', f'windows = "{windows}"')
            (folder / "night.toml").write_text(night, encoding="utf-8")
        book.commit(ready, NOW, did="added nights", about="29")
    dossier = read_dossier(kept)
    with prepared(kept) as ready, writing(kept) as book:
        for number, night in enumerate(dossier.nights[1:], start=1):
            folder = ready / result_folder(dossier, night).relative_to(kept)
            folder.mkdir(parents=True)
            (folder / "assessment.json").write_text(json.dumps(_moved(text, number)), encoding="utf-8")
        book.commit(ready, NOW, did="assessed nights", about="29")
    return kept


def _moved(document, number):
    table = json.loads(json.dumps(document))
    for key in ("start_utc", "end_utc"):
        moved = datetime.fromisoformat(table["night"][key]) + timedelta(days=number)
        table["night"][key] = moved.isoformat(timespec="milliseconds")
    table["night"]["statistics"]["LAeq_dB"] += number / 10
    table["night"]["statistics"]["duration_s"] = table["night"]["window_s"]
    return table


@pytest.fixture(scope="session")
def tools():
    """The functions above, for tests that need them."""

    class Tools:
        now = NOW
        write_quickly = staticmethod(write_quickly)
        record_night = staticmethod(record_night)
        new_dossier = staticmethod(new_dossier)
        with_night = staticmethod(with_night)
        assess = staticmethod(assess)

    return Tools


def content(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in root.rglob("*")
        if path.is_file() and path.name != ".lock" and ".unfinished" not in path.parts
    }


@pytest.fixture(scope="session", name="content")
def content_fixture():
    """Return what is in a dossier, byte for byte."""
    return content
