"""One invented night for every room that stores or shows results, made without a sound file."""

import os
import signal
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.assessing.said import Said
from sleepnoise.assessing.sounds import Ear, night_sounds, recognised_night
from sleepnoise.evidence.provenance import FileMark, Provenance
from sleepnoise.isolation.treatments import default_steps
from sleepnoise.judgement.assessment import assess_history
from sleepnoise.judgement.circumstances import NOTHING_SAID
from sleepnoise.judgement.guidelines import criteria_of
from sleepnoise.judgement.uncertainty import budget_for, of_recorder
from sleepnoise.levels.bands import bands_within
from sleepnoise.levels.history import LevelHistory
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.night.events import find_events
from sleepnoise.night.window import NightWindow
from sleepnoise.planning.first_plan import first_plan
from sleepnoise.profiles.files import read_guideline
from sleepnoise.recording.audio_file import AudioFile
from sleepnoise.recording.calibration import Calibration, calibration_from_sensitivity
from sleepnoise.recording.quality import QualityFlag
from sleepnoise.recording.sequence import NightSound, Part
from sleepnoise.recording.timestamps import StartTime


def pytest_runtest_setup() -> None:
    """Let the commands that a test starts hear an interrupt.

    They would not where tests run in the background, or after a test that was interrupted on purpose: whoever
    has heard one interrupt hears no second one.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


pytest_plugins = [
    "door_sounds",
    "figure_places",
    "invented_case",
    "level_traces",
    "passing_car",
    "plan_problems",
    "sound_files",
    "two_rooms",
]

# The same examples everywhere, so that a test passes or fails for everybody alike, and no deadline on
# busy machines; HYPOTHESIS_PROFILE=default draws new ones.
settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

START = datetime(2026, 1, 14, 21, 55, tzinfo=UTC)
ZONE = "Europe/Vienna"
GUIDELINES = ("who-1999-bedroom", "who-2009-night")
HOURS = 2.25
EVENTS = ((900, 8, 25.0), (2400, 3, 35.0), (5000, 40, 15.0))
"""Start after the recording's, s; length, s; dB over the background."""


def invented_history() -> LevelHistory:
    ticks = round(HOURS * 3600 * 8)
    rng = np.random.default_rng(3)
    over_db = np.zeros(ticks, dtype=np.float32)
    for start_s, length_s, rise_db in EVENTS:
        over_db[8 * start_s : 8 * (start_s + length_s)] = rise_db
    laf = (27.0 + rng.normal(0.0, 0.25, ticks)).astype(np.float32) + over_db
    nominal_hz = bands_within(48_000)
    bands = np.stack([laf - 12 + 3 * np.float32(np.sin(place)) for place in range(len(nominal_hz))])
    return LevelHistory(
        start=START,
        sample_rate_hz=48_000,
        laeq=laf.copy(), lceq=laf + 9, lzeq=laf + 14, laf=laf, lafmax=laf + np.float32(0.2),
        lafmin=laf - np.float32(0.2), lasmax=laf - np.float32(0.1), lcpeak=laf + 20,
        nominal_hz=nominal_hz,
        bands=bands,
        left_out=np.zeros(ticks, dtype=np.bool_),
    )  # fmt: skip


def sound_of(history: LevelHistory) -> NightSound:
    audio = AudioFile(
        path=Path("larch.wav"), container="WAV", encoding="PCM_24", sample_rate_hz=48_000, channels=1,
        frames=round(history.seconds * 48_000),
    )  # fmt: skip
    return NightSound(
        start=StartTime(utc=history.start, zone=ZONE, origin="given (--start)", zone_origin="given (--zone)"),
        sample_rate_hz=48_000, channels=1, parts=(Part(audio=audio, stamped_frame=0),), frames=audio.frames,
        gaps=(), remarks=(),
    )  # fmt: skip


class Deaf(Ear):
    """An ear for nights of which there are levels only."""

    can_hear = False


def record_of(history: LevelHistory, calibration: Calibration) -> NightRecord:
    chosen = AssessSettings(zone=ZONE, guidelines=GUIDELINES)
    assessment = assess_history(
        history,
        window=NightWindow.parse("23:00-07:00", ZONE),
        criteria=tuple(each for name in GUIDELINES for each in criteria_of(read_guideline(name))),
        event_settings=chosen.events,
        absolute=calibration.absolute,
        expanded_uncertainty_db=calibration.expanded_uncertainty_db,
    )
    said = Said(labels=None, diary=None, known=(), circumstances=NOTHING_SAID)
    deaf = Deaf(sound_of(history), calibration, 1)
    recognised = recognised_night(history, find_events(history, chosen.events), said, deaf)
    sounds = night_sounds(
        recognised, assessment, history, said, deaf, guidelines=GUIDELINES, verdicts_without_own=()
    )
    return NightRecord(
        sounds=sounds,
        sound=sound_of(history),
        start=sound_of(history).start,
        calibration=calibration,
        remarks=("The recorder's clock was 90 s slow.",),
        quality=(
            QualityFlag(
                kind="knock", what="Something touched the microphone.", effect="noted",
                start=START + timedelta(minutes=75), end=START + timedelta(minutes=75, seconds=1),
            ),
        ),
        budgets=(budget_for(of_recorder(calibration)),) if calibration.absolute else (),
        settings=chosen,
        guidelines=GUIDELINES,
        history=history,
        assessment=assessment,
        plan=first_plan(
            assessment.events, steps=default_steps(), shapes=masker_shapes(), settings=chosen.plan
        ),
        provenance=Provenance(
            inputs=(FileMark(role="recording", name="larch.wav", size_bytes=7, sha256="0" * 64),),
            versions={"python": "3.11.0", "sleepnoise": "0.1.0"},
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def record() -> NightRecord:
    """A calibrated night of 2.25 h with three events."""
    return record_of(invented_history(), calibration_from_sensitivity(100.0))


@pytest.fixture(scope="session")
def uncalibrated() -> NightRecord:
    """The same night without calibration."""
    return record_of(invented_history(), Calibration.relative())


@pytest.fixture(scope="session")
def silent() -> NightRecord:
    """A night of digital silence, uncalibrated: every level is -inf, nothing happens."""
    history = invented_history()
    nothing = np.full(history.ticks, -np.inf, dtype=np.float32)
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    silence = LevelHistory(
        start=history.start,
        sample_rate_hz=48_000,
        nominal_hz=history.nominal_hz,
        bands=np.full(history.bands.shape, -np.inf, dtype=np.float32),
        left_out=history.left_out.copy(),
        **{name: nothing.copy() for name in names},
    )
    return record_of(silence, Calibration.relative())
