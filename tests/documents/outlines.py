"""The outline of every JSON document that the program writes; what is a class is told by its fields."""

from typing import Any, NamedTuple, get_args, get_type_hints

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.assess_log import LogSettings
from sleepnoise.assessing.record import NightRecord
from sleepnoise.assessing.sounds import NightSounds
from sleepnoise.casework import archive, journal
from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.casework.dossier import DossierFile
from sleepnoise.casework.missing import Point
from sleepnoise.casework.verifying import Verification
from sleepnoise.character.speech_likeness import SpeechLikeness
from sleepnoise.demo.truth import EventLevels
from sleepnoise.evidence.provenance import FileMark
from sleepnoise.fieldwork.door_test import Reading
from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.judgement.uncertainty import UncertaintyBudget
from sleepnoise.levels.statistics import LevelStatistics
from sleepnoise.masking.design import EventOutcome, MaskerDesign
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event
from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.planning.bedroom_problem import RoomWishes
from sleepnoise.planning.first_plan import FirstPlan, MaskerChoice
from sleepnoise.planning.problem import Problem
from sleepnoise.portfolio import ledger
from sleepnoise.proving.after_night import AfterNight
from sleepnoise.proving.agreement import MeasuredAnew
from sleepnoise.proving.excerpts import Excerpt
from sleepnoise.proving.held import Held
from sleepnoise.proving.night_proof import NightProof
from sleepnoise.proving.promise import Promise, promise_of
from sleepnoise.recognition import known_sounds
from sleepnoise.recognition.groups import GroupedEvents, RecurringSound
from sleepnoise.recognition.recognise import RecognisedNight
from sleepnoise.trials.door_test import DoorTestResult
from sleepnoise.trials.insulation import study_insulation
from sleepnoise.trials.masker_check import MaskerCheck
from sleepnoise.trials.masker_study import MaskerStudy
from sleepnoise.trials.paired_nights import PairedEvent, PairedNights
from sleepnoise.trials.recorder_check import RecorderCheck
from sleepnoise.trials.reverberation import study_reverberation
from sleepnoise.trials.talk_study import TalkStudy
from tests.documents.derive import (
    HASH,
    INSTANT,
    NUMBER,
    NUMBERS,
    TEXT,
    TRUTH,
    WHOLE,
    Either,
    Is,
    Maybe,
    Named,
    Ready,
    fields_of,
)

Outline = Any


class Document(NamedTuple):
    """A document: its name in files of the package, what it is, and its outline."""

    name: str
    title: str
    outline: Outline


def of(owner: Any, name: str) -> Any:
    """Return the type of a field, or of what a function returns."""
    return get_type_hints(owner, include_extras=True)[name]


def schema(name: str) -> Outline:
    told = {
        "name": Is(Ready(type="string", const=name), "Which kind of document this is."),
        "version": Is(Ready(type="integer", const=1), "Rises whenever a key changes its meaning."),
    }
    return Is(told, "Which kind of document this is, and of which version.")


CONVENTIONS = Is(Named(TEXT), "How to read the numbers, in words.")
VERSIONS = Is(Named(TEXT), "Versions of the program and of what it used.")
INPUTS = Is(tuple[FileMark, ...], "Every file that the result rests on, with its SHA-256.")
CAUTIONS = Is([TEXT], "What a reader must be told.")
REMARKS = Is([TEXT], "What to know of how it came about, in sentences.")
TIMES = {
    "start_utc": Is(INSTANT, "When it begins, UTC."),
    "start_local": Is(INSTANT, "When it begins, local time."),
}
PLAIN_NUMBER = Ready(type=["number", "null"])
BANDS = Ready(anyOf=[PLAIN_NUMBER, {"type": "object", "additionalProperties": PLAIN_NUMBER}])
"""One value for each band by its name, or the single number that there is."""


def verdict() -> Outline:
    said = Is(TRUTH, "Whether the value was seen in its document.")
    return {**fields_of(Verdict), "verified": said}


def budget() -> Outline:
    return {"combined_db": NUMBER, "expanded_db": NUMBER, **fields_of(UncertaintyBudget)}


def interval() -> Outline:
    return {**TIMES, "complete": Is(TRUTH, "Whether all of it was recorded."), **fields_of(LevelStatistics)}


def event() -> Outline:
    return {
        "event": Is(WHOLE, "Number of the event, from 1."),
        **TIMES,
        **fields_of(Event, "number", "start"),
    }


def choice() -> Outline:
    return {**fields_of(MaskerChoice), "step": Is(TEXT, "Key of the isolation step.")}


def recording() -> Outline:
    file = {"name": TEXT, "sha256": HASH, "container": TEXT, "encoding": TEXT, "frames": WHOLE}
    return {
        "files": Is([file], "The parts of the recording, in order of time."),
        "sample_rate_hz": NUMBER,
        "channels": WHOLE,
        "channel": Is(WHOLE, "The one that holds the microphone, from 1."),
        "duration_s": NUMBER,
        "remarks": REMARKS,
        **TIMES,
        "start_origin": Is(TEXT, "Where the start was taken from."),
        "start_uncertainty_s": NUMBER,
        "zone": Is(TEXT, "IANA name of the local time zone."),
        "zone_origin": Is(TEXT, "Where the zone was taken from."),
    }


def night() -> Outline:
    return {
        **TIMES,
        "end_utc": Is(INSTANT, "When the night window ends, UTC."),
        "end_local": Is(INSTANT, "When the night window ends, local time."),
        "window_s": NUMBER,
        "statistics": LevelStatistics,
        "events": Is(WHOLE, "How many events there are."),
        "event_time_s": NUMBER,
        "background_spectrum": Spectrum,
        "quarter_hours": [interval()],
        "hours": [interval()],
    }


def quality() -> Outline:
    flag = {
        "kind": TEXT,
        **TIMES,
        "duration_s": NUMBER,
        "effect": Is(TEXT, "What becomes of it in the figures."),
        "what": Is(TEXT, "What went wrong, in words."),
    }
    keys = ("recorded_s", "missing_s", "left_out_s", "shorter_than_a_tick_s")
    return {**dict.fromkeys(keys, NUMBER), "flags": Is([flag], "What went wrong, from when on.")}


def sounds() -> Outline:
    named = {"name": TEXT, "label": TEXT}
    speech = {"event": WHOLE, **fields_of(SpeechLikeness), "speech_like": TRUTH}
    return {
        "groups": Is([{**fields_of(RecurringSound), "sound": named}], "Sounds that come again."),
        "singles": Is(of(GroupedEvents, "singles"), "Numbers of events that are like no other."),
        "listened": Is(of(GroupedEvents, "listened"), "Whether the sounds themselves were compared."),
        "labelled": Is(of(RecognisedNight, "said"), "Every stretch that a label holds for."),
        "suggestions": of(RecognisedNight, "suggestions"),
        "speech": Is([speech], "How much each event that was long enough to tell is like speech."),
        **{name: of(NightSounds, name) for name in ("own", "diary", "background", "disturbance")},
        "verdicts_without_own": Is(
            [verdict()], "The same verdicts without the sleeper's and the room's own."
        ),
        "quiet_stretch": of(NightSounds, "quiet"),
        "busy_stretch": of(NightSounds, "busy"),
    }


def first_plan() -> Outline:
    step = {**fields_of(IsolationStep), "verified": Is(TRUTH, "Whether its source was seen.")}
    return {
        **{name: of(FirstPlan, name) for name in ("settings", "events", "audible_now")},
        "isolation_steps": [step],
        "choices": [choice()],
        "best": [choice()],
    }


def assessment() -> Outline:
    settings = {
        "window": TEXT,
        "guidelines": [TEXT],
        "events": EventSettings,
        "plan": of(FirstPlan, "settings"),
    }
    uncertainty = {"coverage_factor": WHOLE, "expanded_db": NUMBER, "budgets": [budget()]}
    return {
        "schema": schema("sleepnoise/assessment"),
        "conventions": CONVENTIONS,
        "recording": recording(),
        "calibration": of(NightRecord, "calibration"),
        "settings": Is(settings, "What was decided."),
        "night": Is(night(), "What the night window was like."),
        "quality": quality(),
        "uncertainty": uncertainty,
        "verdicts": [verdict()],
        "events": [event()],
        "sounds": sounds(),
        "plan": first_plan(),
        "cautions": CAUTIONS,
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def manifest() -> Outline:
    return {
        "schema": schema("sleepnoise/manifest"),
        "inputs": INPUTS,
        "outputs": Is(tuple[FileMark, ...], "Every other file of the folder, with its SHA-256."),
        "versions": VERSIONS,
    }


def log_assessment() -> Outline:
    figure = {"low_dB": NUMBER, "high_dB": NUMBER, "made_of": TEXT, "known_s": NUMBER}
    stretch = {
        **TIMES,
        "duration_s": NUMBER,
        "complete": TRUTH,
        "figures": Named(figure),
    }
    log = {
        "name": TEXT,
        **TIMES,
        "zone": TEXT,
        "step_s": NUMBER,
        "steps": WHOLE,
        "columns": [TEXT],
        "third_octaves_hz": NUMBERS,
        "remarks": REMARKS,
    }
    ends = {"end_utc": INSTANT, "end_local": INSTANT, "window_s": NUMBER}
    one = {
        "event": WHOLE,
        **TIMES,
        "highest_dB": NUMBER,
        **fields_of(Event, "number", "start", "first_tick", "last_tick", "lafmax"),
    }
    settings = {
        "window": TEXT,
        "meter_class": of(LogSettings, "meter_class"),
        "guidelines": [TEXT],
        "events": EventSettings,
    }
    return {
        "schema": schema("sleepnoise/log-assessment"),
        "conventions": CONVENTIONS,
        "log": log,
        "settings": settings,
        "night": {**ends, **stretch, "quarter_hours": [stretch], "hours": [stretch]},
        "uncertainty": [budget()],
        "verdicts": [verdict()],
        "events": Maybe([one]),
        "events_made_of": TEXT,
        "not_known": Is([TEXT], "What a log cannot tell."),
        "cautions": CAUTIONS,
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def door_test() -> Outline:
    gain = {
        "gain_db": NUMBERS,
        "at_least": NUMBERS,
        "expanded_uncertainty_db": NUMBERS,
        "loudness_ratio": NUMBER,
    }
    reading = {
        "name": TEXT,
        "levels_db": Named(NUMBER),
        "used_s": of(Reading, "used_s"),
        "rejected_s": of(Reading, "rejected_s"),
    }
    step = {
        "step": Is(WHOLE, "From 1."),
        "title": TEXT,
        "done": TEXT,
        "measured_db": NUMBERS,
        "source_change_db": NUMBERS,
        "corrected_db": NUMBERS,
        "at_background_limit": NUMBERS,
        "step_gain": Maybe(gain),
        "gain_since_first": Maybe(gain),
        "gain_since": Maybe(gain),
        "removed_share_of_since": Maybe(NUMBERS),
        "repeat_spread_db": NUMBER,
        "readings": [reading],
        "source": [reading],
    }
    return {
        "schema": schema("sleepnoise/door-test"),
        "conventions": CONVENTIONS,
        "title": TEXT,
        "absolute": TRUTH,
        "calibration": of(DoorTestResult, "calibration"),
        "nominal_hz": NUMBERS,
        "background_db": Maybe(NUMBERS),
        "since_step": WHOLE,
        "steps": [step],
        "left_share_of_since": NUMBERS,
        "remarks": REMARKS,
        "cautions": CAUTIONS,
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def paths() -> Outline:
    source = {"document": TEXT, "place": TEXT, "how_known": TEXT}
    path = {
        "part": TEXT,
        "title": TEXT,
        "through": TEXT,
        "behind": TEXT,
        "construction": TEXT,
        "source": source,
        "gap_width_mm": PLAIN_NUMBER,
        "gap_width_measured": Maybe(TRUTH),
        "open_area_with_transmission_1_m2": PLAIN_NUMBER,
        "insertion_dB": BANDS,
        "LA_dB": PLAIN_NUMBER,
        "standard_uncertainty_dB": PLAIN_NUMBER,
        "share": PLAIN_NUMBER,
        "gain_without_dB": PLAIN_NUMBER,
        "strongest": TRUTH,
    }
    advice = {
        "treatment": TEXT,
        "title": TEXT,
        "part": TEXT,
        "gain_dB": PLAIN_NUMBER,
        "standard_uncertainty_dB": PLAIN_NUMBER,
        "room_LA_dB": PLAIN_NUMBER,
        "part_gain_dB": BANDS,
        "cost_class": TEXT,
        "price": PLAIN_NUMBER,
        "excludes": [TEXT],
        "basis": TEXT,
        "source": source,
        "alarm": Maybe(TEXT),
        "cautions": CAUTIONS,
    }
    refusal = {"treatment": TEXT, "title": TEXT, "part": TEXT, "reasons": [TEXT]}
    door = {
        "part": TEXT,
        "open_minus_closed_dB": BANDS,
        "tabulated_dB": BANDS,
        "better_than_tabulated_dB": BANDS,
        "at_least": Is(TRUTH, "Whether the background hid part of what the door does."),
    }
    return {
        "schema": schema("sleepnoise/paths"),
        "made_from": {"name": TEXT, "sha256": HASH, "versions": VERSIONS},
        "room": {"title": TEXT, "volume_m3": PLAIN_NUMBER, "absorption_m2": BANDS},
        "sounds": [{"behind": TEXT, "sound": TEXT, "LA_dB": PLAIN_NUMBER, "source": source}],
        "room_LA_dB": PLAIN_NUMBER,
        "standard_uncertainty_dB": PLAIN_NUMBER,
        "room_LA_tabulated_dB": PLAIN_NUMBER,
        "door_test": Maybe(door),
        "paths": [path],
        "treatments": {"advised": [advice], "too_little": [advice], "not_advised": [refusal]},
        "currency": Maybe(TEXT),
    }


def plan() -> Outline:
    treatment = {
        "part": TEXT,
        "part_title": TEXT,
        "treatments": [TEXT],
        "titles": [TEXT],
        "money": NUMBER,
        "guessed": Is(TRUTH, "Whether the price is a typical one."),
    }
    one = Maybe(
        {
            "treatments": [treatment],
            "money": NUMBER,
            "masker": Maybe(TEXT),
            "masker_spectrum": Maybe(Spectrum),
            "masker_LA_dB": NUMBER,
            "score": NUMBER,
            "audible": WHOLE,
            "LAeq_dB": NUMBER,
            "background_LA_dB": NUMBER,
            "alarm_LA_dB": NUMBER,
            "not_kept": [TEXT],
            "method": TEXT,
            "proved": TRUTH,
            "gap": NUMBER,
        }
    )
    heard = {
        "event": TEXT,
        "from": TEXT,
        "margin_db": NUMBER,
        "audible": Maybe(TRUTH),
        "LAFmax_dB": NUMBER,
    }
    front = {
        "money": NUMBER,
        "masker": Maybe(TEXT),
        "masker_LA_dB": NUMBER,
        "audible": WHOLE,
        "treatments": [treatment],
    }
    surer = {"certainty": NUMBER, "probability": NUMBER, "tightened_db": NUMBER, "plan": one}
    asked = {"room": RoomWishes, "shapes": TRUTH, "shaped": TRUTH, "lowest_hz": NUMBER}
    return {
        "schema": schema("sleepnoise/plan"),
        "made_from": {"files": INPUTS, "versions": VERSIONS},
        "room": TEXT,
        "currency": Maybe(TEXT),
        "wish": of(Problem, "wish"),
        "asked": asked,
        "promise": Is(of(promise_of, "return"), "What the plan promises, to be held against facts."),
        "combinations": WHOLE,
        "reached": TRUTH,
        "as_it_is": {"LAeq_dB": NUMBER, "background_LA_dB": NUMBER},
        "plan": one,
        "isolation_only": one,
        "masking_only": one,
        "target_5_dB_wider": one,
        "events": [heard],
        "comes_in_by": of(BedroomPlan, "parts"),
        "steps": of(BedroomPlan, "steps"),
        "front": [front],
        "map": of(BedroomPlan, "map"),
        "audible_whatever_is_done": of(BedroomPlan, "whatever"),
        "missing": of(BedroomPlan, "missing"),
        "certainty": of(BedroomPlan, "certainty"),
        "surer_plans": [surer],
        "listener": of(Problem, "listener"),
        "alarms": of(BedroomPlan, "alarms"),
        "published_limits": of(BedroomPlan, "limits"),
        "cautions": CAUTIONS,
    }


def masker() -> Outline:
    told = {"event": WHOLE, "start_local": INSTANT, "label": TEXT, **fields_of(EventOutcome)}
    with_it = {
        "without_masker_db": NUMBER,
        "with_masker_db": NUMBER,
        "values": of(MaskerStudy, "values"),
    }
    designed = {name: of(MaskerDesign, name) for name in ("settings", "spectrum", "level_dba")}
    return {
        "schema": schema("sleepnoise/masker"),
        "conventions": CONVENTIONS,
        "night": TEXT,
        "behind": {"key": TEXT, "title": TEXT},
        **designed,
        "loudness_sone": NUMBER,
        "audibility_uncertainty_db": NUMBER,
        "events": [told],
        "standard_shapes": of(MaskerDesign, "standard_shapes"),
        "night_laeq": with_it,
        "alarms": of(MaskerStudy, "alarms"),
        "remarks": REMARKS,
        "cautions": CAUTIONS,
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def masker_check() -> Outline:
    name = "sleepnoise/masker-check"
    return {"schema": schema(name), "conventions": CONVENTIONS, **fields_of(MaskerCheck)}


def recorder_check() -> Outline:
    return {
        "schema": schema("sleepnoise/recorder-check"),
        "answer": of(RecorderCheck, "ability") if "ability" in get_type_hints(RecorderCheck) else TEXT,
        "points": of(RecorderCheck, "points"),
        "LA90_dB": NUMBER,
        "absolute": TRUTH,
        "full_scale_over_LA90_dB": NUMBER,
        "faults": of(RecorderCheck, "flags"),
        "calibration": Maybe(of(NightRecord, "calibration")),
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def two_microphones() -> Outline:
    one = {name: of(PairedEvent, name) for name in ("first_tick", "last_tick", "outcome")}
    one |= {"difference_db": NUMBERS, "at_least": NUMBERS, "sharpness": NUMBER, "off_line_s": NUMBER}
    own = ("scale", "one_file", "expanded_uncertainty_db", "alignment", "nominal_hz", "bands")
    return {
        "schema": schema("sleepnoise/two-microphones"),
        "conventions": CONVENTIONS,
        "verdict": Ready(enum=["measured", "cannot tell"]),
        **{name: of(PairedNights, name) for name in own},
        "events": [one],
        "remarks": REMARKS,
        "cautions": CAUTIONS,
        "inputs": INPUTS,
        "versions": VERSIONS,
    }


def nights_compared() -> Outline:
    own = ("nights", "not_assessed", "groups", "changes", "windows")
    return {
        "schema": schema("sleepnoise/nights-compared"),
        "conventions": CONVENTIONS,
        "dossier": Is(TEXT, "Title of the dossier."),
        **{name: of(NightsCompared, name) for name in own},
    }


def case() -> Outline:
    done = {"number": WHOLE, "time_utc": INSTANT, "did": TEXT, "about": TEXT}
    return {
        "schema": schema("sleepnoise/case"),
        "dossier": DossierFile,
        "state": tuple[Point, ...],
        "comparison": nights_compared(),
        "door_tests": [TEXT],
        "papers": Named([TEXT]),
        "journal": [done],
        "journal_sha256": Is(HASH, "Of the last entry, which seals all before it."),
        "versions": VERSIONS,
    }


def truth() -> Outline:
    row = {"number": WHOLE, "kind": TEXT, "start_s": NUMBER, "start_utc": INSTANT, "duration_s": NUMBER}
    row |= {"alone": fields_of(EventLevels), "with_background": fields_of(EventLevels)}
    ground = {
        "quiet_LAeq_dB": NUMBER,
        "LAeq_dB": NUMBER,
        "condenser": [{"start_s": NUMBER, "duration_s": NUMBER, "LAeq_dB": NUMBER}],
    }
    return {
        "schema": Ready(const="sleepnoise demo truth"),
        "version": Ready(const=1),
        "notice": TEXT,
        "place": TEXT,
        "seed": WHOLE,
        "sample_rate_hz": WHOLE,
        "zone": TEXT,
        "start_utc": INSTANT,
        "start_local": INSTANT,
        "duration_s": NUMBER,
        "conventions": CONVENTIONS,
        "LAeq_dB": NUMBER,
        "background": ground,
        "events": [{**row, "background_LAeq_dB": NUMBER}],
        "recording": TEXT,
        "bits": WHOLE,
        "pascal_per_full_scale": NUMBER,
        "calibration_tone": {"file": TEXT, "level_dB": NUMBER, "frequency_hz": NUMBER},
        "door_test": [{"file": TEXT, "what": TEXT, "LAeq_dB": NUMBER}],
    }


def ledger_entry() -> Outline:
    return {
        "schema": schema("sleepnoise/ledger"),
        **{name: of(ledger.Entry, name) for name in ("outcome", "fingerprint", "manifest_sha256", "rows")},
    }


def anew() -> Outline:
    return {**fields_of(MeasuredAnew), "difference_db": NUMBER, "agrees": Maybe(TRUTH)}


def held() -> Outline:
    return {**fields_of(Held), "difference": NUMBER}


def plan_heard() -> Outline:
    one = get_args(of(AfterNight, "events"))[0]
    return {
        "schema": schema("sleepnoise/plan-heard"),
        "conventions": CONVENTIONS,
        "room": TEXT,
        "levels": [anew()],
        "events": [{**fields_of(one), "LAFmax_dB": anew(), "side": Is(TEXT, "Which way it differs.")}],
        "audible": Is(WHOLE, "How many events are audible."),
        "verdicts": [verdict()],
        "excerpts": [fields_of(Excerpt)],
    }


def plan_checked() -> Outline:
    one = {"night": TEXT, "word": of(NightProof, "word"), "rows": [held()], "audible_events": held()}
    gain = {
        "part": TEXT,
        "before": TEXT,
        "after": TEXT,
        "word": of(NightProof, "word"),
        "overall": held(),
        "bands": [held()],
        "at_least": NUMBERS,
    }
    return {
        "schema": schema("sleepnoise/plan-checked"),
        "conventions": CONVENTIONS,
        "room": TEXT,
        "nights": [one],
        "door_test": Maybe(gain),
        "gain_by_nights": Either(gain, TEXT, Ready(type="null")),
        "planned_anew": Maybe(Promise),
    }


def documents() -> tuple[Document, ...]:
    """Return every document, in the order of the work."""
    decay = of(study_reverberation, "return")
    return (
        Document("assessment", "A night assessed: assessment.json", assessment()),
        Document("manifest", "The files of an assessment: manifest.json", manifest()),
        Document(
            "known-sounds", "Recurring sounds, to be known again: known_sounds.json", known_sounds._File
        ),
        Document("log-assessment", "An assessed log of levels: 'assess-log'", log_assessment()),
        Document("recorder-check", "What a recorder can do: 'check-recorder --json'", recorder_check()),
        Document("two-microphones", "What is lost on the way: 'two-microphones --json'", two_microphones()),
        Document("door-test", "What changes at a door gained: 'door-test --json'", door_test()),
        Document("reverberation", "Decay of a room: 'reverberation --json'", decay),
        Document("insulation", "A measured insulation: 'insulation --json'", of(study_insulation, "return")),
        Document("paths", "What each path lets in: 'paths --json'", paths()),
        Document("plan", "Treatments and masker: 'plan --out'", plan()),
        Document("plan-heard", "A night heard behind its plan: 'hear-plan --json'", plan_heard()),
        Document("plan-checked", "A plan held against facts: 'check-plan --json'", plan_checked()),
        Document("masker", "A designed masker: 'design-masker --out'", masker()),
        Document("masker-check", "A masker at the pillow: 'check-masker --json'", masker_check()),
        Document("speech-privacy", "What is heard of talk: 'speech-privacy --json'", TalkStudy),
        Document(
            "dossier-state",
            "What a dossier lacks: 'dossier status --json'",
            {"dossier": Is(TEXT, "Its title."), "points": tuple[Point, ...]},
        ),
        Document(
            "dossier-verification",
            "Whether a dossier is whole: 'dossier verify --json'",
            {"sound": Is(TRUTH, "Whether nothing was found wrong."), "verification": Verification},
        ),
        Document("nights-compared", "Nights side by side: 'dossier compare --json'", nights_compared()),
        Document("case", "A whole case: 'dossier report --out'", case()),
        Document("journal-entry", "One line of a dossier's journal.jsonl", journal.Entry),
        Document("dossier-archive", "Contents of an exported dossier", archive._Contents),
        Document("ledger", "What became of one night of many: ledger/*.json", ledger_entry()),
        Document("demo-truth", "What is truly in the invented night: truth.json", truth()),
    )
