"""The calibration of a night: by whichever of several ways its user has chosen."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sleepnoise.assessing.record import CALIBRATOR_FREQUENCY_HZ, CALIBRATOR_LEVEL_DB, AssessSettings
from sleepnoise.calibration.kept import read_calibration
from sleepnoise.calibration.microphone import MicrophoneResponse, read_microphone_response
from sleepnoise.calibration.tone import calibration_from_tone, calibration_from_tones
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import Calibration, calibration_from_sensitivity


@dataclass(frozen=True, slots=True, kw_only=True)
class NightCalibration:
    """A calibration, and the microphone's response relative to where the gain was found."""

    calibration: Calibration
    response: MicrophoneResponse | None

    @property
    def remarks(self) -> tuple[str, ...]:
        """What people should know of both."""
        return self.calibration.remarks + (self.response.remarks if self.response else ())


def night_calibration(settings: AssessSettings, evening: date | None) -> NightCalibration:
    """Return the calibration that the settings ask for.

    Parameters
    ----------
    settings : AssessSettings
    evening : date or None
        Local date on which the night began; None if there is no night, and no period to keep to.

    Raises
    ------
    CalibrationError
        If the settings contradict each other, or a file does not give what it should.
    """
    _check_one_way(settings)
    calibration, response = _by_settings(settings, evening)
    if settings.microphone_response is not None:
        response = read_microphone_response(settings.microphone_response, states=settings.response_means)
    if response is not None:
        # The gain holds the response at the frequency where it was found already.
        response = response.relative_to(calibration.frequency_hz)
    return NightCalibration(calibration=calibration, response=response)


def calibration_files(settings: AssessSettings) -> tuple[tuple[Path, str], ...]:
    """Return the files that the calibration rests on, and what each is used as."""
    named = (
        (settings.tone, "calibration tone"),
        (settings.tone_after, "calibration tone after the night"),
        (settings.calibration_file, "calibration file"),
        (settings.microphone_response, "microphone response"),
    )
    return tuple((path, role) for path, role in named if path is not None)


def _check_one_way(settings: AssessSettings) -> None:
    ways = {
        "a tone (--tone)": settings.tone,
        "a full-scale level (--full-scale-level)": settings.full_scale_level_db,
        "a calibration file (--calibration)": settings.calibration_file,
    }
    given = [name for name, value in ways.items() if value is not None]
    if len(given) > 1:
        raise CalibrationError(
            f"calibration: only one way can count, given were {' and '.join(given)}.",
            remedy="Leave all but one out; a tone recorded that night is the best witness.",
        )
    if settings.tone_after is not None and settings.tone is None:
        raise CalibrationError(
            "calibration: a tone after the night (--tone-after) needs the one before it (--tone).",
            remedy="Give both, or the only tone that there is with --tone.",
        )
    told = (settings.tone_level_db, settings.tone_frequency_hz)
    if settings.tone is None and told != (CALIBRATOR_LEVEL_DB, CALIBRATOR_FREQUENCY_HZ):
        raise CalibrationError(
            "calibration: --tone-level and --tone-frequency say something only together with a tone.",
            remedy="Give the recording of the calibrator too (--tone), or leave them out.",
        )
    if settings.recorder_class is not None:
        _check_class_counts(settings)


def _check_class_counts(settings: AssessSettings) -> None:
    """Refuse a class of the recorder where it would change nothing."""
    if settings.calibration_file is not None:
        raise CalibrationError(
            "calibration: a calibration file (--calibration) says what the recorder contributes; "
            "--recorder-class cannot change it.",
            remedy="Give --recorder-class to 'calibrate' when the file is made, and leave it out here.",
        )
    if settings.tone is None and settings.full_scale_level_db is None:
        raise CalibrationError(
            "calibration: --recorder-class says something only together with a calibration.",
            remedy="Give a tone (--tone) or a full-scale level (--full-scale-level) too, or leave it out.",
        )


def _by_settings(
    settings: AssessSettings, evening: date | None
) -> tuple[Calibration, MicrophoneResponse | None]:
    if settings.calibration_file is not None:
        kept = read_calibration(settings.calibration_file)
        return kept.calibration if evening is None else kept.for_night(evening), kept.response
    if settings.full_scale_level_db is not None:
        stated_db, of_class = settings.full_scale_level_db, settings.recorder_class
        return calibration_from_sensitivity(stated_db, recorder_class=of_class), None
    if settings.tone is None:
        return Calibration.relative(), None
    level_db, frequency_hz = settings.tone_level_db, settings.tone_frequency_hz
    if settings.tone_after is None:
        return (
            calibration_from_tone(
                settings.tone,
                level_db=level_db,
                frequency_hz=frequency_hz,
                channel=settings.channel,
                recorder_class=settings.recorder_class,
            ),
            None,
        )
    calibration = calibration_from_tones(
        settings.tone,
        settings.tone_after,
        level_db=level_db,
        frequency_hz=frequency_hz,
        channel=settings.channel,
        accept_drift=settings.accept_drift,
        recorder_class=settings.recorder_class,
    )
    return calibration, None
