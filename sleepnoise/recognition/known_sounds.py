"""Known sounds on disk: what groups of alike sounds were like, to know them again in later nights."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.errors import RecordingError
from sleepnoise.evidence.plain import plain_value
from sleepnoise.evidence.reading import few_bytes, first_mistake
from sleepnoise.recognition.features import AUDIO_SPREAD, LEVEL_SPREAD, SoundFeatures
from sleepnoise.recognition.groups import KnownSound, Whose
from sleepnoise.recognition.word_table import cleaned

SCHEMA = "sleepnoise known sounds"
VERSION = 1
"""Version of the file. Chosen: goes up whenever the numbers of a sound mean something else."""

LARGEST_BYTES = 10_000_000
"""Largest file that is read. Chosen: five thousand sounds."""

_Numbers = Annotated[float, Field(allow_inf_nan=False)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Features(_Strict):
    levels: Annotated[list[_Numbers], Field(min_length=len(LEVEL_SPREAD), max_length=len(LEVEL_SPREAD))]
    audio: Annotated[list[_Numbers], Field(max_length=len(AUDIO_SPREAD))]


class _Sound(_Strict):
    name: Annotated[str, Field(pattern=r"^[a-z]+ [a-z]+ sound [1-9]\d{0,5}$")]
    # As from a labels file: on one line, and nothing in it that could steer a terminal.
    label: Annotated[str, Field(max_length=300), AfterValidator(cleaned)]
    whose: Whose
    events: Annotated[int, Field(ge=1)]
    nights: Annotated[int, Field(ge=1)]
    features: _Features


class _File(_Strict):
    schema_name: Annotated[Literal["sleepnoise known sounds"], Field(alias="schema")]
    version: Literal[1]
    sounds: list[_Sound]


def known_sounds_document(known: Iterable[KnownSound]) -> dict[str, Any]:
    """Return known sounds as plain data for JSON."""
    return {"schema": SCHEMA, "version": VERSION, "sounds": [plain_value(sound) for sound in known]}


def read_known_sounds(path: Path) -> tuple[KnownSound, ...]:
    """Read known sounds that an earlier night left.

    Raises
    ------
    RecordingError
        If the file cannot be read, or is not what :func:`known_sounds_document` makes.
    """
    try:
        file = _File.model_validate_json(few_bytes(path, LARGEST_BYTES, what="known sounds", remedy=_REMEDY))
    except ValidationError as error:
        raise RecordingError(f"{path}: {first_mistake(error)}.", remedy=_REMEDY) from None
    names = [sound.name for sound in file.sounds]
    if len(set(names)) < len(names):
        raise RecordingError(f"{path}: two sounds have one name.", remedy=_REMEDY)
    return tuple(_sound(path, sound) for sound in file.sounds)


_REMEDY = "Give the known sounds that an earlier assessment wrote, unchanged."


def _sound(path: Path, sound: _Sound) -> KnownSound:
    if len(sound.features.audio) not in (0, len(AUDIO_SPREAD)):
        raise RecordingError(f"{path}: {sound.name} lacks numbers of its sound.", remedy=_REMEDY)
    return KnownSound(
        name=sound.name,
        label=sound.label,
        whose=sound.whose,
        events=sound.events,
        nights=sound.nights,
        features=SoundFeatures(levels=tuple(sound.features.levels), audio=tuple(sound.features.audio)),
    )
