"""A calibration to be kept: by a tone, beside a meter or from a stated level, with its microphone."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sleepnoise.assessing.record import CALIBRATOR_FREQUENCY_HZ, CALIBRATOR_LEVEL_DB
from sleepnoise.calibration.kept import DEFAULT_VALID_DAYS, KeptCalibration
from sleepnoise.calibration.microphone import MicrophoneResponse, States, read_microphone_response
from sleepnoise.calibration.reference_meter import LevelPair, calibration_from_reference, read_level_pairs
from sleepnoise.calibration.tone import calibration_from_tone, calibration_from_tones
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import Calibration, InstrumentClass, calibration_from_sensitivity

WAYS = {
    "tone": "a tone (--tone)",
    "beside": "a reference meter (--beside or --beside-pair)",
    "stated": "a full-scale level (--full-scale-level)",
}
"""Ways to find a gain, and the options that choose them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepSettings:
    """What a user says of a calibration that is to be kept; None is not said.

    Attributes
    ----------
    made_on : date
    tone, tone_after : Path or None
        Recordings of a calibrator, before and after.
    tone_level_db, tone_frequency_hz : float or None
        What the calibrator gives; 94 dB and 1 kHz if not said.
    channel : int or None
        Of the tones, from 1.
    accept_drift : bool
    beside : Path or None
        File of simultaneous levels of a meter and of the recording.
    beside_pairs : tuple of LevelPair
        More of them.
    meter_class : {1, 2} or None
        Of the meter beside which the recorder stood.
    recorder_class : {1, 2} or None
        Of microphone and recorder together; taken for 2 if not said.
    full_scale_level_db : float or None
    microphone_response : Path or None
    response_means : {"response", "correction"} or None
    recorder, microphone, gain : str
        In the user's own words.
    valid_days : int
    """

    made_on: date
    tone: Path | None = None
    tone_after: Path | None = None
    tone_level_db: float | None = None
    tone_frequency_hz: float | None = None
    channel: int | None = None
    accept_drift: bool = False
    beside: Path | None = None
    beside_pairs: tuple[LevelPair, ...] = ()
    meter_class: InstrumentClass | None = None
    recorder_class: InstrumentClass | None = None
    full_scale_level_db: float | None = None
    microphone_response: Path | None = None
    response_means: States | None = None
    recorder: str = ""
    microphone: str = ""
    gain: str = ""
    valid_days: int = DEFAULT_VALID_DAYS


def calibration_to_keep(settings: KeepSettings) -> KeptCalibration:
    """Return the calibration that the settings ask for.

    Raises
    ------
    CalibrationError
        If not exactly one way is chosen, something belongs to another one, or the way fails.
    RecordingError
        If a tone's file cannot be read.
    """
    _check_one_way(settings)
    for name, belongs_to in _astray(settings):
        raise CalibrationError(
            f"calibration: {name} says something only together with {belongs_to}.",
            remedy=f"Add {belongs_to}, or leave {name} out.",
        )
    # Small files first: their mistakes need no listening.
    response = _response(settings)
    return KeptCalibration.of(
        _found(settings),
        made_on=settings.made_on,
        valid_days=settings.valid_days,
        recorder=settings.recorder,
        microphone=settings.microphone,
        gain=settings.gain,
        response=response,
    )


def _chosen(settings: KeepSettings) -> list[str]:
    chosen = {
        "tone": settings.tone is not None,
        "beside": settings.beside is not None or bool(settings.beside_pairs),
        "stated": settings.full_scale_level_db is not None,
    }
    return [way for way, holds in chosen.items() if holds]


def _check_one_way(settings: KeepSettings) -> None:
    ways = _chosen(settings)
    if len(ways) == 1:
        return
    if settings.tone_after is not None and settings.tone is None:
        raise CalibrationError(
            "calibration: a tone after the night (--tone-after) needs the one before it (--tone).",
            remedy="Give both, or the only tone that there is with --tone.",
        )
    *others, last = WAYS.values()
    given = " and ".join(WAYS[way] for way in ways) or "none"
    raise CalibrationError(
        f"calibration: exactly one way is needed, {', '.join(others)} or {last}; given: {given}.",
        remedy="Give the best that you have: a calibrator's tone, else levels beside a meter, else what the "
        "data sheet states.",
    )


def _astray(settings: KeepSettings) -> Iterator[tuple[str, str]]:
    """Yield options that say something of what was not given, and what they belong to."""
    (way,) = _chosen(settings)
    of_tone = {
        "--tone-after": settings.tone_after,
        "--tone-level": settings.tone_level_db,
        "--tone-frequency": settings.tone_frequency_hz,
        "--channel": settings.channel,
    }
    if way != "tone":
        yield from ((name, "--tone") for name, value in of_tone.items() if value is not None)
    if settings.accept_drift and settings.tone_after is None:
        yield "--accept-drift", "--tone-after"
    if way != "beside" and settings.meter_class is not None:
        yield "--meter-class", "--beside"
    if settings.response_means is not None and settings.microphone_response is None:
        yield "--response-means", "--microphone-response"


def _response(settings: KeepSettings) -> MicrophoneResponse | None:
    if settings.microphone_response is None:
        return None
    return read_microphone_response(settings.microphone_response, states=settings.response_means)


def _found(settings: KeepSettings) -> Calibration:
    if settings.tone is not None:
        return _by_tone(settings.tone, settings)
    if settings.full_scale_level_db is not None:
        return calibration_from_sensitivity(
            settings.full_scale_level_db, recorder_class=settings.recorder_class
        )
    pairs = () if settings.beside is None else read_level_pairs(settings.beside)
    all_pairs = (*pairs, *settings.beside_pairs)
    return calibration_from_reference(
        all_pairs, meter_class=settings.meter_class or 2, recorder_class=settings.recorder_class
    )


def _by_tone(tone: Path, settings: KeepSettings) -> Calibration:
    level_db = CALIBRATOR_LEVEL_DB if settings.tone_level_db is None else settings.tone_level_db
    frequency_hz = (
        CALIBRATOR_FREQUENCY_HZ if settings.tone_frequency_hz is None else settings.tone_frequency_hz
    )
    channel = 1 if settings.channel is None else settings.channel
    if settings.tone_after is None:
        return calibration_from_tone(
            tone,
            level_db=level_db,
            frequency_hz=frequency_hz,
            channel=channel,
            recorder_class=settings.recorder_class,
        )
    return calibration_from_tones(
        tone,
        settings.tone_after,
        level_db=level_db,
        frequency_hz=frequency_hz,
        channel=channel,
        accept_drift=settings.accept_drift,
        recorder_class=settings.recorder_class,
    )
