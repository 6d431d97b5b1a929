"""What reads the documents that people write, and those that the program kept for itself."""

import json
import shutil
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.casework.archive import export_dossier, import_dossier
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.journal import read_journal
from sleepnoise.casework.written_files import DossierFile, NightFile, read_written
from sleepnoise.comparison.night_figures import figures_from_document
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.plan_document import plan_document
from sleepnoise.evidence.plain import document_text
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.portfolio.gathering import gather
from sleepnoise.portfolio.ledger import Entry, Outcome, read_entry
from sleepnoise.portfolio.ranking import read_plans
from sleepnoise.portfolio.tables import write_tables
from sleepnoise.profiles.files import read_profile, shipped_folder
from sleepnoise.proving.kept_plan import read_plan
from sleepnoise.recognition.diary import read_diary
from sleepnoise.recognition.known_sounds import known_sounds_document, read_known_sounds
from sleepnoise.recognition.labels import read_labels
from sleepnoise.recognition.written_times import RecordedNight
from sleepnoise.trials.masker_check import read_design

FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
DEMO = Path(__file__).parents[2] / "demo_audio"

# The night on which clocks went back: an hour comes twice.
NIGHT = RecordedNight(
    start=datetime(2026, 10, 24, 21, 0, tzinfo=UTC),
    end=datetime(2026, 10, 25, 6, 0, tzinfo=UTC),
    zone=ZoneInfo("Europe/Vienna"),
)


def as_file(name: str, data: bytes) -> Path:
    path = FOLDER / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def archive(data: bytes) -> None:
    try:
        import_dossier(as_file("case.zip", data), FOLDER / "case")
        read_dossier(FOLDER / "case")
    finally:
        shutil.rmtree(FOLDER / "case", ignore_errors=True)
        left = [path for path in FOLDER.iterdir() if path.name.startswith(".")]
        assert not left, left


def ledger(data: bytes) -> None:
    as_file("many/ledger/flat 3/2026-02-10.json", data)
    write_tables(FOLDER / "many")


def compared(data: bytes) -> None:
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return
    figures_from_document(document, name="night")


@cache
def _record() -> object:
    settings = AssessSettings(
        tone=DEMO / "calibration_tone.flac", zone="Europe/Vienna", guidelines=("who-1999-bedroom",)
    )
    return assess_recording(next(DEMO.glob("larch*.flac")), settings)


@cache
def assessment() -> bytes:
    return document_text(assessment_document(_record())).encode()  # type: ignore[arg-type]


@cache
def plan() -> bytes:
    night = as_file("assessed/assessment.json", assessment()).parent
    wishes, wish = RoomWishes(origins={}), Wish(margin_db=13.0, events_allowed=5)
    maskers = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
    made = plan_bedroom([read_kept_night(night)], study_room(DEMO / "bedroom.toml"), wishes, maskers, wish)
    return document_text(plan_document(made, DEMO / "bedroom.toml", [night], (wishes, maskers))).encode()


def _known() -> list[bytes]:
    sounds = _record().sounds.recognised.known  # type: ignore[attr-defined]
    return [document_text(known_sounds_document(sounds)).encode()]


def masker() -> bytes:
    spectrum = json.loads(plan())["promise"]["masker"] or {"nominal_hz": [], "levels_db": []}
    return json.dumps({"schema": {"name": "sleepnoise/masker", "version": 1}, "spectrum": spectrum}).encode()


def exported() -> bytes:
    place = Path(tempfile.mkdtemp()) / "case"
    shutil.copytree(DEMO / "dossier", place)
    export_dossier(place, place.with_suffix(".zip"))
    return place.with_suffix(".zip").read_bytes()


def _entry() -> bytes:
    rows = {
        "nights": [{"start_utc": "2026-02-10T22:00:00+00:00", "zone": "Europe/Vienna", "LAeq_dB": 31.5,
                    "LA90_dB": "-Infinity", "absolute": True, "events": 3, "LAFmax_dB": None}],
        "events": [{"event": 1, "start_utc": "2026-02-10T23:00:00+00:00", "group": "dull", "label": ""}],
        "verdicts": [{"criterion": "who1999_bedroom_laeq", "verified": True, "count": None}],
    }  # fmt: skip
    outcome = Outcome(bedroom="flat 3", night="2026-02-10", state="finished")
    return Entry(outcome=outcome, fingerprint="f" * 64, rows=rows).model_dump_json().encode()


def _reads(name: str) -> Callable[[bytes], None]:
    file, read = READERS[name]

    def target(data: bytes) -> None:
        read(as_file(file, data))

    return target


READERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "profile": ("mine.toml", read_profile),
    "labels": ("labels.csv", lambda path: read_labels(path, NIGHT)),
    "diary": ("diary.csv", lambda path: read_diary(path, NIGHT)),
    "known-sounds": ("known_sounds.json", read_known_sounds),
    "assessment": ("night/assessment.json", lambda path: read_kept_night(path.parent)),
    "plan": ("plan.json", read_plan),
    "survey-plan": ("plan.json", lambda path: read_plans(path.parent, [path.stem])),
    "masker": ("masker.json", read_design),
    "dossier-file": ("dossier.toml", lambda path: read_written(path, DossierFile)),
    "night-file": ("night.toml", lambda path: read_written(path, NightFile)),
    "journal": ("journal/journal.jsonl", lambda path: read_journal(path.parent)),
    "ledger": ("many/ledger/flat 3/2026-02-10.json", read_entry),
    "nights-list": ("nights.csv", lambda path: gather([str(path)], AssessSettings(zone="Europe/Vienna"))),
}
"""What reads a file, by name, and what the file is called."""

TARGETS: dict[str, Callable[[bytes], None]] = {
    **{name: _reads(name) for name in READERS},
    "compared-night": compared,
    "archive": archive,
    "ledger": ledger,
}
SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "profile": lambda: [
        path.read_bytes() for path in [*shipped_folder().rglob("*.toml"), *DEMO.glob("*.toml")]
    ],
    "labels": lambda: [
        b"start,end,label,whose,group\n23:10,23:12,snoring,,\n,,bread crates,outside,dull short sound 1\n"
        b"2026-10-25T01:00:00+02:00,2026-10-25T01:05,\"tram; late\",room,\n",
        b"sep=;\r\nstart;end;label\r\n25.10.2026 3:10 pm;25.10.2026 15.12;=1+1\r\n",
        "start\tend\tlabel\n23:59\t00:01\tHusten \u00fc\n".encode("utf-16"),
    ],
    "diary": lambda: [b"date,time,words\n2026-10-24,23:10,van\n2026-10-25,1:05 am,a bang\n,04:10,crates\n"],
    "known-sounds": _known,
    "assessment": lambda: [assessment()],
    "compared-night": lambda: [assessment()],
    "plan": lambda: [plan()],
    "survey-plan": lambda: [plan()],
    "masker": lambda: [masker()],
    "dossier-file": lambda: [(DEMO / "dossier/dossier.toml").read_bytes()],
    "night-file": lambda: [next(DEMO.glob("dossier/nights/*/night.toml")).read_bytes()],
    "journal": lambda: [(DEMO / "dossier/journal.jsonl").read_bytes()],
    "archive": lambda: [exported()],
    "ledger": lambda: [_entry()],
    "nights-list": lambda: [
        b"bedroom,night,recording,start,zone,clock,channel,window,calibration,tone,full_scale_level,labels,"
        b"diary\n"
        b"flat 3,one,a.wav;b.wav,2026-02-10T23:00,Europe/Vienna,22:58:30=23:00:00,1,23:00-07:00,,t.wav,,"
        b"l.csv,\n"
        b"flat 4,,memory://x/c.wav,,,,2,,,,100.5,,d.csv\n"
    ],
}  # fmt: skip
