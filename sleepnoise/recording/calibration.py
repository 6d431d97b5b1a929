"""Calibration: how many pascals stand behind full scale, and how that is known."""

import math
from dataclasses import dataclass

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA
from sleepnoise.errors import CalibrationError

UNCERTAINTY_BY_TONE_DB = 3.0
"""U (k = 2) of a level from a recorder that recorded a calibrator's tone, dB. Chosen: twice the
1.5 dB that ISO 1996-2:2017 is remembered to allow a class 2 instrument; a recorder with a small
microphone is seldom better away from the calibrator's frequency, and nobody has tested its class."""

UNCERTAINTY_BY_SENSITIVITY_DB = 5.0
"""U (k = 2) of a level from a stated sensitivity, dB. Chosen: the 1.5 dB above, a microphone
within 3 dB of its data sheet (u = 3/sqrt 3) and a gain known within 1 dB (u = 1/sqrt 3) make
u = 2.4 dB; doubled and rounded up."""

FULL_SCALE_LEVELS_DB = (70.0, 170.0)
"""Levels that a full-scale sine may stand for, dB. Chosen: from the most sensitive microphone at
full gain to one that bears a gunshot."""


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
    """

    pascal_per_full_scale: float
    absolute: bool
    expanded_uncertainty_db: float
    origin: str

    @classmethod
    def relative(cls) -> "Calibration":
        """Return the calibration of someone who has none: a full-scale mean square reads 0 dB."""
        return cls(
            pascal_per_full_scale=REFERENCE_PRESSURE_PA,
            absolute=False,
            expanded_uncertainty_db=float("nan"),
            origin="none: levels are relative to full scale",
        )


def calibration_from_sensitivity(full_scale_level_db: float) -> Calibration:
    """Return the calibration of a recorder whose full-scale level is stated.

    Parameters
    ----------
    full_scale_level_db : float, dB re 20 µPa
        Sound pressure level of the **sine** whose peaks just reach full scale.

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
    return Calibration(
        pascal_per_full_scale=effective_pa * math.sqrt(2),
        absolute=True,
        expanded_uncertainty_db=UNCERTAINTY_BY_SENSITIVITY_DB,
        origin=f"stated: a full-scale sine is {full_scale_level_db:g} dB",
    )
