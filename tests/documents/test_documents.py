"""Every document that the program writes has a published schema, keeps it, and is refused by it if broken.

The schemas are held by the library jsonschema (draft 2020-12), not by code of our own.
"""

import copy
import json
import re
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from jsonschema import Draft202012Validator

import sleepnoise
from sleepnoise.acoustics.bands import band_label
from sleepnoise.cli.program import app
from sleepnoise.dossier.folder import write_manifest, write_results
from sleepnoise.evidence.documents import document_forms, document_schema
from sleepnoise.evidence.plain import document_text
from sleepnoise.fieldwork.ratings import THIRD_OCTAVES_HZ
from sleepnoise.portfolio.ledger import Entry, Outcome
from tests.documents.__main__ import derived
from tests.documents.derive import attributes_of

ROOT = Path(sleepnoise.__file__).parent
DEMO = ROOT.parent / "demo_audio"
NAMES = [form.name for form in document_forms()]
NEVER_WRITTEN = {"casework/night_results.py", "portfolio/task.py", "evidence/plain.py"}
"""Modules that hash a document or only define how it is written."""

WRITERS = {
    "assess.py": "assessment", "folder.py": "assessment manifest known-sounds", "verifying.py": "assessment",
    "assess_log.py": "log-assessment", "check_recorder.py": "recorder-check",
    "two_microphones.py": "two-microphones", "door_test.py": "door-test", "adding.py": "door-test",
    "reverberation.py": "reverberation", "insulation.py": "insulation", "paths.py": "paths",
    "plan.py": "plan",
    "hear_plan.py": "plan-heard", "check_plan.py": "plan-checked", "design_masker.py": "masker",
    "check_masker.py": "masker-check", "speech_privacy.py": "speech-privacy",
    "dossier_results.py": "dossier-state nights-compared case", "dossier_evidence.py": "dossier-verification",
    "archive.py": "dossier-archive", "ledger.py": "ledger", "profiles.py": "",
}  # fmt: skip
"""Modules that write documents, and which."""

RATE_HZ = 16_000
EASY = ("--margin", "13", "--lowest-band", "20", "--cap", "45")


def run(*words):
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def kept(name, document):
    """Return what a schema has to say against a document, first in words."""
    errors = Draft202012Validator(document_schema(name)).iter_errors(document)
    return [f"{'/'.join(map(str, error.path))}: {error.message[:200]}" for error in errors]


@pytest.fixture(scope="module")
def noise_files(tmp_path_factory):
    """Sounds of a second or so: a bang, a test of a recorder, two channels of one room."""
    folder = tmp_path_factory.mktemp("sounds")
    rng = np.random.default_rng(3)
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    bang = 0.1 * rng.standard_normal(time_s.size) * 10 ** (-3 * time_s / 0.5)
    samples = np.r_[np.zeros(RATE_HZ // 2), bang, np.zeros(RATE_HZ // 2)]
    noise = 1e-5 * rng.standard_normal(samples.size)
    soundfile.write(folder / "bang.wav", samples + noise, RATE_HZ, subtype="PCM_24")
    minute = rng.normal(0, 3e-5, 60 * RATE_HZ)
    minute[20 * RATE_HZ : 20 * RATE_HZ + 1600] += rng.normal(0, 0.1, 1600) * np.exp(-np.arange(1600) / 320)
    soundfile.write(folder / "minute.wav", minute, RATE_HZ, subtype="PCM_24")
    night = rng.standard_normal(90 * RATE_HZ) * 1e-4
    for at in (40, 55, 70):
        night[at * RATE_HZ : at * RATE_HZ + time_s.size] += (
            0.02 * np.sin(1200 * time_s) * np.exp(-time_s / 0.3)
        )
    soundfile.write(folder / "20260210_233000.wav", night, RATE_HZ, subtype="PCM_24")
    return folder


@pytest.fixture(scope="module")
def night_folder(record, tmp_path_factory):
    folder = tmp_path_factory.mktemp("night") / "larch"
    folder.mkdir()
    write_results(record, folder)
    write_manifest(record, folder)
    return folder


def test_the_shipped_schemas_are_those_of_the_types_that_documents_are_made_of():
    """Whoever changes a document runs ``python -m tests.documents`` and reads the difference."""
    shipped = {
        path.stem: path.read_text(encoding="utf-8") for path in (ROOT / "evidence" / "schemas").iterdir()
    }
    assert shipped == derived()


@pytest.mark.parametrize("name", NAMES)
def test_every_schema_is_one_and_describes_every_field(name):
    schema = document_schema(name)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    lacking = []

    def walk(part, where):
        if isinstance(part, list):
            for each in part:
                walk(each, where)
        elif isinstance(part, dict):
            for key, value in part.get("properties", {}).items():
                if not value.get("description"):
                    lacking.append(f"{where}/{key}")
            for key, value in part.items():
                walk(value, f"{where}/{key}")

    walk(schema, name)
    assert lacking == []


def test_no_document_is_written_without_a_schema():
    """By the calls that write one, and by the names that documents give themselves."""
    calls, named = set(), set()
    for path in ROOT.rglob("*.py"):
        place, text = path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")
        if re.search(r"\b(?:document_text|print_document)\(", text) and place not in NEVER_WRITTEN:
            calls.add(path.name)
        named |= set(re.findall(r'"(sleepnoise/[a-z-]+)"', text))
    assert calls <= set(WRITERS)
    assert {name for names in WRITERS.values() for name in names.split()} <= set(NAMES)
    schemas = json.dumps([document_schema(name) for name in NAMES])
    # A table of levels is Parquet, whose columns say themselves what they are.
    assert [
        each for each in sorted(named - {"sleepnoise/levels"}) if f'"const": "{each}"' not in schemas
    ] == []


def test_what_an_assessment_writes_keeps_its_schemas(night_folder, noise_files, tmp_path):
    for name, file in (
        ("assessment", "assessment"),
        ("manifest", "manifest"),
        ("known-sounds", "known_sounds"),
    ):
        document = json.loads((night_folder / f"{file}.json").read_text(encoding="utf-8"))
        assert kept(name, document) == [], name
    labels = tmp_path / "labels.csv"
    labels.write_text("start,end,label\n23:30:50,23:31:00,cough\n", encoding="utf-8")
    diary = tmp_path / "diary.csv"
    diary.write_text("time,words\n23:30:40,bang\n", encoding="utf-8")
    said = ("--zone", "Europe/Vienna", "--full-scale-level", 100, "--labels", labels, "--diary", diary)
    document = run("assess", noise_files / "20260210_233000.wav", *said, "--guideline", "all", "--json")
    assert document["sounds"]["labelled"]
    assert document["sounds"]["diary"]
    assert document["sounds"]["speech"]
    assert kept("assessment", document) == []
    assert (
        kept("assessment", run("assess", noise_files / "20260210_233000.wav", "--zone", "UTC", "--json"))
        == []
    )


def test_what_a_log_gives_keeps_its_schema(tmp_path):
    start = datetime(2026, 2, 10, 22, 30)
    rows = (f"{start + timedelta(minutes=15 * place)},{25 + place % 4:.1f},20.0" for place in range(36))
    (tmp_path / "log.csv").write_text("\n".join(("Time,LAeq,L90", *rows)), encoding="utf-8")
    columns = ("--column", "time=Time", "--column", "laeq=LAeq", "--column", "la90=L90")
    words = ("assess-log", tmp_path / "log.csv", *columns, "--zone", "Europe/Vienna", "--json")
    assert kept("log-assessment", run(*words)) == []


def test_what_short_tests_give_keeps_its_schemas(noise_files, tmp_path):
    assert kept("door-test", run("door-test", "open=70", "closed=60", "sealed=53", "--json")) == []
    assert (
        kept("reverberation", run("reverberation", noise_files / "bang.wav", "--volume", 30, "--json")) == []
    )
    assert kept("recorder-check", run("check-recorder", noise_files / "minute.wav", "--json")) == []
    said = ("check-recorder", noise_files / "minute.wav", "--full-scale-level", 105, "--json")
    assert kept("recorder-check", run(*said)) == []
    levels = [", ".join(f'"{band_label(hz)}" = {db}' for hz in THIRD_OCTAVES_HZ) for db in (85.0, 45.0, 20.0)]
    sides = "".join(
        f"[{side}]\nlevels_db = [{{{each}}}]\n"
        for side, each in zip(("source", "receiving", "background"), levels, strict=True)
    )
    (tmp_path / "wall.toml").write_text(
        'kind = "insulation"\ntitle = "Wall"\narea_m2 = 9.0\n[room]\nvolume_m3 = 30.0\n'
        f'furnishing = "furnished"\n{sides}',
        encoding="utf-8",
    )
    assert kept("insulation", run("insulation", tmp_path / "wall.toml", "--json")) == []


def test_what_two_microphones_give_keeps_its_schema(two_rooms, tmp_path):
    channels = two_rooms(90, seed=4).noise_outside(6).recorded(lag_s=0.0, drift_ppm=0.0)
    soundfile.write(tmp_path / "both.wav", list(zip(*channels, strict=True)), RATE_HZ, subtype="PCM_24")
    assert (
        kept("two-microphones", run("two-microphones", tmp_path / "both.wav", "--same-gain", "--json")) == []
    )


def test_what_is_planned_keeps_its_schemas(night_folder, tmp_path):
    room = DEMO / "bedroom.toml"
    assert kept("paths", run("paths", room, "--json")) == []
    plan = run("plan", night_folder, "--room", room, "--target", "inaudible", "--json")
    assert plan["plan"] is not None
    assert kept("plan", plan) == []
    through = ("speech-privacy", night_folder, "--through", "door-hollow-wood-44")
    assert kept("speech-privacy", run(*through, "--json")) == []
    design = run("design-masker", night_folder, *EASY, "--json")
    assert kept("masker", design) == []
    (tmp_path / "m.json").write_text(json.dumps(design), encoding="utf-8")
    sound = 0.01 * np.random.default_rng(1).standard_normal(8 * RATE_HZ)
    soundfile.write(tmp_path / "on.wav", sound, RATE_HZ, subtype="PCM_24")
    soundfile.write(tmp_path / "off.wav", 1e-3 * sound[::-1], RATE_HZ, subtype="PCM_24")
    held = ("check-masker", tmp_path / "m.json", tmp_path / "on.wav", "--off", tmp_path / "off.wav")
    assert kept("masker-check", run(*held, "--full-scale-level", 100, "--json")) == []


def test_what_a_dossier_holds_keeps_its_schemas(tmp_path):
    dossier = DEMO / "dossier"
    assert kept("dossier-state", run("dossier", "status", dossier, "--json")) == []
    assert kept("nights-compared", run("dossier", "compare", dossier, "--json")) == []
    assert kept("dossier-verification", run("dossier", "verify", dossier, "--json")) == []
    for words in (("report", "--out", tmp_path / "case.json"), ("export", tmp_path / "case.zip")):
        done = CliRunner().invoke(app, ["dossier", words[0], str(dossier), *map(str, words[1:])])
        assert done.exit_code == 0, done.output
    assert kept("case", json.loads((tmp_path / "case.json").read_text(encoding="utf-8"))) == []
    with zipfile.ZipFile(tmp_path / "case.zip") as archive:
        [contents] = [name for name in archive.namelist() if name.endswith(".json") and "/" not in name]
        assert kept("dossier-archive", json.loads(archive.read(contents))) == []
    for line in (dossier / "journal.jsonl").read_text(encoding="utf-8").splitlines():
        assert kept("journal-entry", json.loads(line)) == []
    assert kept("demo-truth", json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))) == []


def test_a_line_of_the_ledger_keeps_its_schema():
    outcome = Outcome(bedroom="a", night="b", state="failed", complaint="No.", remedy="Wait.")
    entry = Entry(outcome=outcome, rows={"nights": [{"LAeq_dB": float("-inf"), "night": "b", "whole": True}]})
    from sleepnoise.evidence.plain import plain_value
    from sleepnoise.portfolio.ledger import SCHEMA

    document = json.loads(document_text({"schema": SCHEMA, **plain_value(entry.model_dump())}))
    assert kept("ledger", document) == []


def short(part):
    """Return a document with one entry of each list."""
    if isinstance(part, list):
        return [short(each) for each in part[:1]]
    return {key: short(value) for key, value in part.items()} if isinstance(part, dict) else part


def broken(document):
    """Yield documents that lack a part, have one too many, or a list in its place."""
    for key in document:
        yield {name: value for name, value in document.items() if name != key}
        yield {**document, key: [[document[key]]]}
    yield {**document, "one too many": 1}


def test_a_broken_document_is_refused(night_folder):
    document = short(json.loads((night_folder / "assessment.json").read_text(encoding="utf-8")))
    assert kept("assessment", document) == []
    for each in broken(document):
        assert kept("assessment", each)
    for change in (
        lambda each: each["events"][0].update(LAFmax_dB="loud"),
        lambda each: each["events"][0].pop("background_LA90_dB"),
        lambda each: each["night"].update(start_utc="yesterday"),
        lambda each: each["inputs"][0].update(size_bytes=1.5),
        lambda each: each["schema"].update(version=2),
        lambda each: each["verdicts"][0].update(word="perhaps"),
    ):
        changed = copy.deepcopy(document)
        change(changed)
        assert len(kept("assessment", changed)) == 1


@pytest.mark.parametrize("name", NAMES)
def test_every_schema_refuses_what_is_no_document_of_its_kind(name):
    for nothing in ({}, [], "text", {"one too many": 1}):
        assert kept(name, nothing)


def test_attributes_are_read_from_docstrings():
    class Shown:
        """One.

        Attributes
        ----------
        a, b : float, dB
            Both of *them*,
            at once.
        c : int
        """

    assert attributes_of(Shown) == {"a": "Both of them, at once.", "b": "Both of them, at once."}


def test_the_command_lists_and_shows_them():
    done = CliRunner().invoke(app, ["documents", "list"])
    assert all(name in done.stdout for name in NAMES)
    assert run("documents", "show", "manifest") == document_schema("manifest")
    refused = CliRunner().invoke(app, ["documents", "show", "nonsense"])
    assert (refused.exit_code, "no document has this name" in " ".join(refused.output.split())) == (2, True)
