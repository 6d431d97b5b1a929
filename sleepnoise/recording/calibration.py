"""Calibration: how many pascals stand behind full scale, how that is known, and how well."""

import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal, Self

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.uncertainty import COVERAGE_95, combined
from sleepnoise.errors import CalibrationError

ISO_1996_2_METER = Source(
    document="ISO 1996-2:2017",
    place="Table 1, footnote a: u of a class 1 meter 0.5 dB, of a class 2 meter 1.5 dB",
    how_known="looked-up",
)

InstrumentClass = Literal[1, 2]
"""Class of IEC 61672-1."""

METER_U_DB: dict[int, float] = {1: 0.5, 2: 1.5}
"""u of a level from a calibrated meter or recorder, by its class, dB. Source: ISO_1996_2_METER."""

RECORDER_CLASS: InstrumentClass = 2
"""Class for which a recorder with its microphone is taken. Chosen: a small microphone is seldom better away
from the calibrator's frequency, and nobody has tested the recorder."""

DATA_SHEET_DB = 3.0
"""How far a microphone may be from its data sheet, dB. Chosen: what data sheets of small microphones
commonly allow (common practice, no source)."""

STATED_GAIN_DB = 1.0
"""How far a gain may be from its label, dB. Chosen: detents and menus are nominal."""

FULL_SCALE_LEVELS_DB = (70.0, 170.0)
"""Levels that a full-scale sine may stand for, dB. Chosen: from the most sensitive microphone at
full gain to one that bears a gunshot."""

STATED_AT_HZ = 1000.0
"""Frequency of a stated sensitivity, Hz. Chosen: where data sheets state it (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyPart:
    """One reason why a calibrated level may be off.

    Attributes
    ----------
    what : str
    standard_db : float, dB
        Standard uncertainty u, for a change of 1 dB in the level each.
    basis : str
        Where the number comes from, in plain words.
    """

    what: str
    standard_db: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneSpan:
    """Where a calibrator's tone lies in a sound file.

    Attributes
    ----------
    name : str
        Name of the file, without its folder.
    sha256 : str
        64 hexadecimal digits.
    start_s, end_s : float, s
        From the beginning of the file, ends included.
    """

    name: str
    sha256: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What turns samples into pascals.

    Attributes
    ----------
    pascal_per_full_scale : float, Pa
        Pressure of a sample of value 1.0.
    absolute : bool
        False when nothing is known about the gain: levels are then relative to full scale
        and give no verdict.
    expanded_uncertainty_db : float, dB
        U (k = 2) that calibration and recorder contribute to a level; ``nan`` if not absolute.
    origin : str
        Where it came from, for people.
    parts : tuple of UncertaintyPart
        What that uncertainty is made of.
    frequency_hz : float, Hz
        Where the gain was found: a microphone's response counts from there.
    tones : tuple of ToneSpan
        The calibrator's tones that were used.
    drift_db : float, dB
        How much more the recorder gave for the tone after the night than before; ``nan``: not known.
    made_on : date or None
        When it was made, if that is known.
    remarks : tuple of str
        What people should know about it, in sentences.
    """

    pascal_per_full_scale: float
    absolute: bool
    expanded_uncertainty_db: float
    origin: str
    parts: tuple[UncertaintyPart, ...] = ()
    frequency_hz: float = STATED_AT_HZ
    tones: tuple[ToneSpan, ...] = ()
    drift_db: float = math.nan
    made_on: date | None = None
    remarks: tuple[str, ...] = ()

    @classmethod
    def relative(cls) -> Self:
        """Return the calibration of someone who has none: a full-scale mean square reads 0 dB."""
        return cls(
            pascal_per_full_scale=REFERENCE_PRESSURE_PA,
            absolute=False,
            expanded_uncertainty_db=math.nan,
            origin="none: levels are relative to full scale",
        )


def shown_name(path: Path) -> str:
    """Return a file's name without its folder, safe to print and to write."""
    # The same file has the same name, whether or not a locale knows its letters.
    name = path.name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return name if name.isprintable() else repr(name)


def expanded_db(parts: tuple[UncertaintyPart, ...]) -> float:
    """Return the expanded uncertainty U (k = 2) of independent parts, dB."""
    return COVERAGE_95 * combined([part.standard_db for part in parts])


def recorder_part(recorder_class: InstrumentClass | None = None) -> UncertaintyPart:
    """Return what the recorder itself contributes, however its gain was found.

    Parameters
    ----------
    recorder_class : {1, 2} or None
        Class of microphone and recorder together; None if nobody has said it.

    Raises
    ------
    CalibrationError
        If there is no such class.
    """
    if recorder_class not in (None, *METER_U_DB):
        raise CalibrationError(
            f"recorder and microphone: their class must be 1 or 2, got {recorder_class}.",
            remedy="Give the class that both are certified for together; without one, leave it out.",
        )
    taken = RECORDER_CLASS if recorder_class is None else recorder_class
    known = "taken for a class" if recorder_class is None else "said to be of class"
    meter = " meter" if recorder_class is None else ""
    return UncertaintyPart(
        what="recorder and microphone",
        standard_db=METER_U_DB[taken],
        basis=f"{known} {taken}{meter}; {ISO_1996_2_METER.document}, Table 1",
    )


def calibration_from_sensitivity(
    full_scale_level_db: float, *, recorder_class: InstrumentClass | None = None
) -> Calibration:
    """Return the calibration of a recorder whose full-scale level is stated.

    Parameters
    ----------
    full_scale_level_db : float, dB re 20 µPa
        Sound pressure level of the **sine** whose peaks just reach full scale.
    recorder_class : {1, 2} or None
        As for :func:`recorder_part`.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        If the level lies outside ``FULL_SCALE_LEVELS_DB``.

    Examples
    --------
    A full-scale sine of 94 dB has an effective value of 1 Pa, so its peaks are at 1.41 Pa.

    >>> round(calibration_from_sensitivity(94.0).pascal_per_full_scale, 2)
    1.42
    """
    lowest_db, highest_db = FULL_SCALE_LEVELS_DB
    if not lowest_db <= full_scale_level_db <= highest_db:
        raise CalibrationError(
            f"the level of a full-scale sine must be {lowest_db:g} to {highest_db:g} dB, "
            f"got {full_scale_level_db:g}.",
            remedy="Give the sound pressure level at which the recorder, with the gain used, just overloads.",
        )
    effective_pa = REFERENCE_PRESSURE_PA * 10.0 ** (full_scale_level_db / 20)
    # Rectangular: nothing is said of where within its tolerance a microphone or a gain lies.
    parts = (
        recorder_part(recorder_class),
        UncertaintyPart(
            what="stated sensitivity of the microphone",
            standard_db=DATA_SHEET_DB / math.sqrt(3),
            basis=f"within {DATA_SHEET_DB:g} dB of its data sheet, anywhere",
        ),
        UncertaintyPart(
            what="stated gain",
            standard_db=STATED_GAIN_DB / math.sqrt(3),
            basis=f"within {STATED_GAIN_DB:g} dB of its label, anywhere",
        ),
    )
    return Calibration(
        pascal_per_full_scale=effective_pa * math.sqrt(2),
        absolute=True,
        expanded_uncertainty_db=expanded_db(parts),
        origin=f"stated: a full-scale sine is {full_scale_level_db:g} dB",
        parts=parts,
    )
