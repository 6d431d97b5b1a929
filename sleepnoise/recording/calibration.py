"""Calibration: how many pascals stand behind full scale, and how that is known."""

from dataclasses import dataclass

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA


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
