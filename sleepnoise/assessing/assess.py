"""The main job: from one overnight recording to its record."""

from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import partial
from pathlib import Path

import numpy as np

from sleepnoise.assessing.calibrating import NightCalibration, calibration_files, night_calibration
from sleepnoise.assessing.chosen_guidelines import (
    criteria_of_guidelines,
    file_names,
    guideline_marks,
    guideline_names,
)
from sleepnoise.assessing.listening import HeardNight, listen
from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.assessing.said import Said, read_said
from sleepnoise.assessing.sounds import Ear, NightSounds, night_sounds, others_events, recognised_night
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.isolation.treatments import default_steps
from sleepnoise.judgement.assessment import NightAssessment, assess_history
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.judgement.uncertainty import UncertaintyBudget, budget_for, of_recorder
from sleepnoise.levels.history import LevelHistory
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.night.events import find_events
from sleepnoise.night.quality import with_lower_bounds
from sleepnoise.night.window import NightWindow
from sleepnoise.planning.first_plan import FirstPlan, first_plan
from sleepnoise.profiles.files import shipped_profiles
from sleepnoise.recognition.own_sounds import own_ticks
from sleepnoise.recognition.recognise import RecognisedNight
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.sequence import NightSound, open_night

Progress = Callable[[float], None]
"""Called with the share of the recording that has been heard, 0 to 1."""


def assess_recording(
    where: str | Path | Sequence[str | Path],
    settings: AssessSettings | None = None,
    on_progress: Progress | None = None,
) -> NightRecord:
    """Assess one overnight recording: levels, events, verdicts and a first plan.

    Parameters
    ----------
    where : str, Path or sequence of them
        A sound file, a folder of them, or several files in any order: one night.
    settings : AssessSettings, optional
        The defaults when left out.
    on_progress : callable, optional
        Called now and then with the share that has been heard, 0 to 1.

    Returns
    -------
    NightRecord

    Raises
    ------
    SleepNoiseError
        With a complaint and a remedy, for everything that a user can cause.

    Notes
    -----
    Whatever can be refused without listening to the night is refused first.
    """
    settings = settings or AssessSettings()
    names = guideline_names(settings.guidelines)
    criteria = criteria_of_guidelines(names)
    sound = _opened(where, settings)
    window = NightWindow.parse(settings.window, sound.start.zone)
    whole = window.overlapping(sound.start.utc, sound.start.utc + timedelta(seconds=sound.seconds))
    said = read_said(settings.statements, sound, window.zone)
    calibrated = night_calibration(settings, whole[0].astimezone(window.zone).date())
    inputs = _inputs(sound, settings, names)
    heard = listen(sound, calibrated, settings, inputs, on_progress)
    _check_unchanged(sound, inputs)
    budgets = _budgets(calibrated.calibration)
    judged = partial(
        assess_history,
        window=window,
        criteria=criteria,
        event_settings=settings.events,
        absolute=calibrated.calibration.absolute,
        circumstances=said.circumstances,
        expanded_uncertainty_db=budgets[0].expanded_db if budgets else np.nan,
        band_uncertainty_db=budgets[1].expanded_db if budgets else np.nan,
    )
    ear = Ear(sound, calibrated.calibration, settings.channel)
    assessment, sounds = _told_apart(judged, heard, said, ear, settings, names)
    return NightRecord(
        sound=sound,
        start=sound.start,
        calibration=calibrated.calibration,
        remarks=_remarks(sound, heard, calibrated),
        quality=heard.flags,
        sounds=sounds,
        budgets=budgets,
        settings=settings,
        guidelines=file_names(names),
        history=heard.history,
        assessment=assessment,
        plan=_plan(assessment, settings),
        provenance=Provenance(inputs=inputs, versions=library_versions()),
    )


def _plan(night: NightAssessment, settings: AssessSettings) -> FirstPlan:
    counted = others_events(night.events)
    return first_plan(counted, steps=default_steps(), shapes=masker_shapes(), settings=settings.plan)


def _told_apart(
    judged: Callable[..., NightAssessment],
    heard: HeardNight,
    said: Said,
    ear: Ear,
    settings: AssessSettings,
    guidelines: tuple[str, ...],
) -> tuple[NightAssessment, NightSounds]:
    """Return the assessment of a night, and what its sounds are and whose."""
    found = with_lower_bounds(find_events(heard.history, settings.events), heard.flags)
    recognised = recognised_night(heard.history, found, said, ear)
    assessment = judged(heard.history, events=recognised.events)
    sounds = night_sounds(
        recognised,
        assessment,
        heard.history,
        said,
        ear,
        guidelines=guidelines,
        verdicts_without_own=_verdicts_without_own(judged, heard.history, recognised),
    )
    return assessment, sounds


def _opened(where: str | Path | Sequence[str | Path], settings: AssessSettings) -> NightSound:
    files = Path(where) if isinstance(where, str | Path) else [Path(each) for each in where]
    alone = files[0] if isinstance(files, list) and len(files) == 1 else files
    return open_night(alone, given=settings.start, zone=settings.zone, clock=settings.clock)


def _verdicts_without_own(
    judged: Callable[..., NightAssessment], history: LevelHistory, recognised: RecognisedNight
) -> tuple[Verdict, ...]:
    """Return the verdicts without what is the sleeper's or the room's own; none if nothing is."""
    own = own_ticks(recognised.said, recognised.events, history)
    if not own.any():
        return ()
    others = (each for each in recognised.events if not own[each.first_tick : each.last_tick].all())
    return judged(history.without(own), events=tuple(others)).verdicts


def _budgets(calibration: Calibration) -> tuple[UncertaintyBudget, ...]:
    if not calibration.absolute:
        return ()
    recorder = of_recorder(calibration)
    return budget_for(recorder), budget_for(recorder, "low bands")


def _remarks(sound: NightSound, heard: HeardNight, calibrated: NightCalibration) -> tuple[str, ...]:
    # Reading may tell more of the files than opening them did, never less.
    said = (*heard.remarks, *sound.start.remarks, *calibrated.remarks)
    return tuple(dict.fromkeys(said))


def _inputs(sound: NightSound, settings: AssessSettings, names: tuple[str, ...]) -> tuple[FileMark, ...]:
    """Return the marks of every file that the result rests on, the recording first."""
    heard = [*((part.audio.path, "recording") for part in sound.parts), *calibration_files(settings)]
    heard += settings.statements.files
    planned_with = [profile for kind in ("treatment", "masker") for profile in shipped_profiles(kind)]
    return (
        *(file_mark(path, role) for path, role in heard),
        *guideline_marks(names),
        *(file_mark(profile.path, f"{profile.kind} profile") for profile in planned_with),
    )


def _check_unchanged(sound: NightSound, marks: tuple[FileMark, ...]) -> None:
    for part, mark in zip(sound.parts, marks, strict=False):
        if part.audio.path.stat().st_size != mark.size_bytes:
            raise RecordingError(
                f"{part.audio.path}: has changed its size while it was being read.",
                remedy="Stop the recorder or the copying, then assess the finished file.",
            )
