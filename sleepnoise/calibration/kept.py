"""The calibration of a recorder as a small file that later nights use again."""

import math
import tomllib
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from sleepnoise.calibration.columns import read_text
from sleepnoise.calibration.microphone import FREQUENCIES_HZ, LARGEST_DB, MicrophoneResponse
from sleepnoise.errors import CalibrationError
from sleepnoise.profiles.mistakes import explained
from sleepnoise.profiles.toml_text import toml_text
from sleepnoise.recording.calibration import Calibration, ToneSpan, UncertaintyPart, expanded_db

DEFAULT_VALID_DAYS = 30
"""How long a calibration is used again without a word, days. Chosen: one survey with one setting of the
gain; the standard asks for a check with every measurement, and a meter's laboratory check lasts one to
two years (ISO 1996-2:2017, 5.2 and 5.3)."""

LONGEST_VALID_DAYS = 730
"""Longest period that may be asked for, days. Chosen: the two years that ISO 1996-2:2017, 5.3, gives a meter
between laboratory checks at most."""

_MODEL = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
_Text = Annotated[str, Field(max_length=1000, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]
_WHAT = "a calibration"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCalibration:
    """A calibration with what is needed to use it for another night.

    Attributes
    ----------
    calibration : Calibration
        With the day it was made.
    valid_until : date
        Last night it is valid for.
    recorder, microphone, gain : str
        In the user's own words.
    response : MicrophoneResponse or None
    """

    calibration: Calibration
    valid_until: date
    recorder: str = ""
    microphone: str = ""
    gain: str = ""
    response: MicrophoneResponse | None = None

    @classmethod
    def of(
        cls,
        calibration: Calibration,
        *,
        made_on: date,
        valid_days: int = DEFAULT_VALID_DAYS,
        recorder: str = "",
        microphone: str = "",
        gain: str = "",
        response: MicrophoneResponse | None = None,
    ) -> Self:
        """Return a calibration made on a day, valid for a number of days.

        Raises
        ------
        CalibrationError
            If there is no calibration to keep, or the period is not allowed.
        """
        if not calibration.absolute:
            raise CalibrationError(
                "calibration: there is nothing to keep, the gain is not known.",
                remedy="Calibrate by a tone, beside a meter or by a stated level first.",
            )
        if not 0 <= valid_days <= LONGEST_VALID_DAYS:
            raise CalibrationError(
                f"calibration: it may be valid for 0 to {LONGEST_VALID_DAYS} days, got {valid_days}.",
                remedy="Calibrate again when it matters; a tone with every night is better.",
            )
        return cls(
            calibration=replace(calibration, made_on=made_on),
            valid_until=made_on + timedelta(days=valid_days),
            recorder=recorder,
            microphone=microphone,
            gain=gain,
            response=response,
        )

    def for_night(self, evening: date) -> Calibration:
        """Return the calibration for a night, with a remark if it is not valid for it."""
        made_on = self.calibration.made_on
        if evening > self.valid_until:
            remark = f"The calibration was valid until {self.valid_until}, the night began on {evening}."
        elif made_on is not None and evening + timedelta(days=1) < made_on:
            remark = f"The calibration was made on {made_on}, the night began on {evening}, before it."
        else:
            return self.calibration
        return replace(self.calibration, remarks=(*self.calibration.remarks, remark))


class _Part(BaseModel):
    model_config = _MODEL

    what: _Text
    standard_db: Annotated[float, Field(ge=0, le=30)]
    basis: _Text


class _Tone(BaseModel):
    model_config = _MODEL

    name: _Text
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    start_s: Annotated[float, Field(ge=0)]
    end_s: Annotated[float, Field(ge=0)]


class _Response(BaseModel):
    model_config = _MODEL

    origin: _Text
    frequency_hz: list[Annotated[float, Field(ge=FREQUENCIES_HZ[0], le=FREQUENCIES_HZ[1])]]
    response_db: list[Annotated[float, Field(ge=-LARGEST_DB, le=LARGEST_DB)]]

    @model_validator(mode="after")
    def _table(self) -> Self:
        if len(self.frequency_hz) != len(self.response_db) or not self.frequency_hz:
            raise ValueError("frequency_hz and response_db must be equally long")
        if np.any(np.diff(self.frequency_hz) <= 0):
            raise ValueError("frequency_hz must rise")
        return self


class _File(BaseModel):
    model_config = _MODEL

    kind: Literal["calibration"]
    version: Literal[1]
    made_on: date
    valid_until: date
    recorder: _Text
    microphone: _Text
    gain: _Text
    pascal_per_full_scale: Annotated[float, Field(ge=1e-4, le=1e6)]
    frequency_hz: Annotated[float, Field(ge=FREQUENCIES_HZ[0], le=FREQUENCIES_HZ[1])]
    drift_db: Annotated[float, Field(ge=-100, le=100)] | None = None
    origin: _Text
    remarks: list[_Text]
    uncertainty: Annotated[list[_Part], Field(min_length=1)]
    tone: list[_Tone] = []
    response: _Response | None = None

    @model_validator(mode="after")
    def _period(self) -> Self:
        if self.valid_until < self.made_on:
            raise ValueError("valid_until must not lie before made_on")
        return self


def calibration_text(kept: KeptCalibration) -> str:
    """Return a calibration as TOML; the same calibration gives the same text.

    Raises
    ------
    CalibrationError
        If a name or note holds what a file cannot: control characters, over 1000 characters.
    """
    found = kept.calibration
    values = {
        "kind": "calibration",
        "version": 1,
        "made_on": found.made_on,
        "valid_until": kept.valid_until,
        "recorder": kept.recorder,
        "microphone": kept.microphone,
        "gain": kept.gain,
        "pascal_per_full_scale": found.pascal_per_full_scale,
        "frequency_hz": found.frequency_hz,
        "origin": found.origin,
        "remarks": list(found.remarks),
        "uncertainty": [_fields(part) for part in found.parts],
    }
    if not math.isnan(found.drift_db):
        values["drift_db"] = found.drift_db
    if found.tones:
        values["tone"] = [_fields(tone) for tone in found.tones]
    if kept.response is not None:
        values["response"] = {
            "origin": kept.response.origin,
            "frequency_hz": kept.response.frequency_hz.tolist(),
            "response_db": kept.response.response_db.tolist(),
        }
    try:
        _File.model_validate(values)
    except ValidationError as error:
        raise CalibrationError(
            f"calibration: {explained(error, _WHAT)}", remedy="Shorten or correct what is named above."
        ) from None
    return toml_text(values)


def read_calibration(path: Path) -> KeptCalibration:
    """Read a calibration that was kept as :func:`calibration_text`, perhaps edited by hand since.

    Raises
    ------
    CalibrationError
        If there is no such file, or it is no valid calibration; every wrong key is named.
    """
    try:
        file = _File.model_validate(tomllib.loads(read_text(path, _WHAT)))
    except ValidationError as error:
        raise CalibrationError(
            f"{path}: {explained(error, _WHAT)}", remedy="Mend the keys named above, or calibrate again."
        ) from None
    except (ValueError, RecursionError) as error:
        if isinstance(error, CalibrationError):
            raise
        raise CalibrationError(
            f"{path}: is not valid TOML, so no calibration: {error!s:.200}.",
            remedy="Give a file that 'sleepnoise calibrate' wrote.",
        ) from None
    return KeptCalibration(
        calibration=_calibration(file),
        valid_until=file.valid_until,
        recorder=file.recorder,
        microphone=file.microphone,
        gain=file.gain,
        response=MicrophoneResponse(**file.response.model_dump()) if file.response else None,
    )


def _calibration(file: _File) -> Calibration:
    parts = tuple(UncertaintyPart(**part.model_dump()) for part in file.uncertainty)
    found = Calibration(
        pascal_per_full_scale=file.pascal_per_full_scale,
        absolute=True,
        expanded_uncertainty_db=expanded_db(parts),
        origin=file.origin,
        parts=parts,
        frequency_hz=file.frequency_hz,
        tones=tuple(ToneSpan(**tone.model_dump()) for tone in file.tone),
        made_on=file.made_on,
        remarks=tuple(file.remarks),
    )
    return found if file.drift_db is None else replace(found, drift_db=file.drift_db)


def _fields(thing: UncertaintyPart | ToneSpan) -> dict[str, object]:
    return {name: getattr(thing, name) for name in type(thing).__slots__}
