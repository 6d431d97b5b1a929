"""The main job: from one overnight recording to its record."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from sleepnoise.assessing.calibrating import NightCalibration, calibration_files, night_calibration
from sleepnoise.assessing.chosen_guidelines import criteria_of_guidelines, guideline_marks, guideline_names
from sleepnoise.assessing.listening import HeardNight, listen
from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.errors import RecordingError
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.isolation.treatments import default_steps
from sleepnoise.judgement.assessment import NightAssessment, assess_history
from sleepnoise.judgement.guidelines import Criterion
from sleepnoise.judgement.uncertainty import UncertaintyBudget, budget_for, of_recorder
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.night.quality import with_lower_bounds
from sleepnoise.night.window import NightWindow
from sleepnoise.planning.first_plan import first_plan
from sleepnoise.profiles.files import shipped_profiles
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
    calibrated = night_calibration(settings, whole[0].astimezone(window.zone).date())
    inputs = _inputs(sound, settings, names)
    heard = listen(sound, calibrated, settings, inputs, on_progress)
    _check_unchanged(sound, inputs)
    budgets = _budgets(calibrated.calibration)
    assessment = _assessed(heard, window, criteria, settings, calibrated.calibration, budgets)
    return NightRecord(
        sound=sound,
        start=sound.start,
        calibration=calibrated.calibration,
        remarks=_remarks(sound, heard, calibrated),
        quality=heard.flags,
        budgets=budgets,
        settings=settings,
        # A profile's own file name: results do not depend on where it lay.
        guidelines=tuple(Path(name).name for name in names),
        history=heard.history,
        assessment=assessment,
        plan=first_plan(
            assessment.events, steps=default_steps(), shapes=masker_shapes(), settings=settings.plan
        ),
        provenance=Provenance(inputs=inputs, versions=library_versions()),
    )


def _opened(where: str | Path | Sequence[str | Path], settings: AssessSettings) -> NightSound:
    files = Path(where) if isinstance(where, str | Path) else [Path(each) for each in where]
    alone = files[0] if isinstance(files, list) and len(files) == 1 else files
    return open_night(alone, given=settings.start, zone=settings.zone, clock=settings.clock)


def _assessed(
    heard: HeardNight,
    window: NightWindow,
    criteria: tuple[Criterion, ...],
    settings: AssessSettings,
    calibration: Calibration,
    budgets: tuple[UncertaintyBudget, ...],
) -> NightAssessment:
    weighted_db, low_bands_db = (budget.expanded_db for budget in budgets) if budgets else (np.nan, np.nan)
    assessment = assess_history(
        heard.history,
        window=window,
        criteria=criteria,
        event_settings=settings.events,
        absolute=calibration.absolute,
        expanded_uncertainty_db=weighted_db,
        band_uncertainty_db=low_bands_db,
    )
    return replace(assessment, events=with_lower_bounds(assessment.events, heard.flags))


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
