"""The main job: from one overnight recording to its record."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from sleepnoise.calibration.tone import calibration_from_tone
from sleepnoise.dossier.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.dossier.record import AssessSettings, NightRecord
from sleepnoise.errors import CalibrationError, RecordingError
from sleepnoise.isolation.treatments import default_steps
from sleepnoise.judgement.assessment import assess_history
from sleepnoise.judgement.guidelines import Criterion, criteria_of
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.night.window import NightWindow
from sleepnoise.planning.first_plan import first_plan
from sleepnoise.profiles.files import read_guideline, shipped_profiles
from sleepnoise.recording.audio_file import AudioFile, open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, calibration_from_sensitivity
from sleepnoise.recording.timestamps import StartTime, find_start

Progress = Callable[[float], None]
"""Called with the share of the recording that has been heard, 0 to 1."""


def assess_recording(
    path: str | Path, settings: AssessSettings | None = None, on_progress: Progress | None = None
) -> NightRecord:
    """Assess one overnight recording: levels, events, verdicts and a first plan.

    Parameters
    ----------
    path : str or Path
        Sound file.
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
    path = Path(path)
    settings = settings or AssessSettings()
    criteria = _criteria(_guideline_names(settings))
    audio = open_audio(path)
    start = find_start(path, audio.sample_rate_hz, given=settings.start, zone=settings.zone)
    window = NightWindow.parse(settings.window, start.zone)
    window.overlapping(start.utc, start.utc + timedelta(seconds=audio.seconds))
    calibration = _calibration(settings)
    inputs = _inputs(path, settings)
    history = _listen(audio, calibration, start, settings, on_progress)
    _check_unchanged(audio, inputs[0])
    assessment = assess_history(
        history,
        window=window,
        criteria=criteria,
        event_settings=settings.events,
        absolute=calibration.absolute,
        expanded_uncertainty_db=calibration.expanded_uncertainty_db,
    )
    plan = first_plan(
        assessment.events, steps=default_steps(), shapes=masker_shapes(), settings=settings.plan
    )
    return NightRecord(
        audio=audio,
        start=start,
        calibration=calibration,
        settings=settings,
        # A profile's own file name: results do not depend on where it lay.
        guidelines=tuple(Path(name).name for name in _guideline_names(settings)),
        history=history,
        assessment=assessment,
        plan=plan,
        provenance=Provenance(inputs=inputs, versions=library_versions()),
    )


def _listen(
    audio: AudioFile,
    calibration: Calibration,
    start: StartTime,
    settings: AssessSettings,
    on_progress: Progress | None,
) -> LevelHistory:
    def on_seconds(done_s: float) -> None:
        if on_progress is not None:
            on_progress(done_s / audio.seconds)

    blocks = read_blocks(audio, calibration, start.utc, channel=settings.channel, on_progress=on_seconds)
    return level_history(blocks, threads=settings.threads, expected_s=audio.seconds)


def _calibration(settings: AssessSettings) -> Calibration:
    if settings.tone is not None and settings.full_scale_level_db is not None:
        raise CalibrationError(
            "calibration: either a tone or a full-scale level is needed, both were given.",
            remedy="Leave one of them out; a tone recorded that night is the better witness.",
        )
    if settings.tone is not None:
        return calibration_from_tone(
            settings.tone,
            level_db=settings.tone_level_db,
            frequency_hz=settings.tone_frequency_hz,
            channel=settings.channel,
        )
    if settings.full_scale_level_db is not None:
        return calibration_from_sensitivity(settings.full_scale_level_db)
    return Calibration.relative()


def _guideline_names(settings: AssessSettings) -> tuple[str, ...]:
    return settings.guidelines or tuple(profile.name for profile in shipped_profiles("guideline"))


def _criteria(names: tuple[str, ...]) -> tuple[Criterion, ...]:
    return tuple(criterion for name in names for criterion in criteria_of(read_guideline(name)))


def _inputs(path: Path, settings: AssessSettings) -> tuple[FileMark, ...]:
    """Return the marks of every file that the result rests on, the recording first."""
    marks = [file_mark(path, "recording")]
    if settings.tone is not None:
        marks.append(file_mark(settings.tone, "calibration tone"))
    shipped = {profile.name: profile.path for profile in shipped_profiles("guideline")}
    marks += [
        file_mark(shipped.get(name, Path(name)), "guideline profile") for name in _guideline_names(settings)
    ]
    for kind in ("treatment", "masker"):
        marks += [file_mark(profile.path, f"{kind} profile") for profile in shipped_profiles(kind)]
    return tuple(marks)


def _check_unchanged(audio: AudioFile, mark: FileMark) -> None:
    if audio.path.stat().st_size != mark.size_bytes:
        raise RecordingError(
            f"{audio.path}: has changed its size while it was being read.",
            remedy="Stop the recorder or the copying, then assess the finished file.",
        )
