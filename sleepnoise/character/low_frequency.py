"""Low-frequency sound in a background: C minus A, and third octaves against national curves.

The curves come from guideline profiles. What is said here is how far a background lies above or
below them; verdicts, which need an uncertainty and the document's own averaging time, are made elsewhere.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source
from sleepnoise.profiles.guideline import GuidelineProfile

DIN_45680 = Source(
    document="DIN 45680:1997-03", place="preliminary test, LCeq - LAeq > 20 dB", how_known="looked-up"
)

C_MINUS_A_DB = 20.0
"""Difference above which low frequencies are to be looked at, dB. Source: DIN_45680."""

HIGHEST_LOW_HZ = 250.0
"""Highest band of a curve that is taken for one of low frequencies. Chosen: national curves end at 100 to
200 Hz; curves beyond are room criteria."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LowFrequencyCurve:
    """Third-octave levels of one document.

    Attributes
    ----------
    name : str
        Document and title.
    levels_by_hz : dict of float to float, dB
    source : Source
    """

    name: str
    levels_by_hz: dict[float, float]
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveComparison:
    """A background against one curve.

    Attributes
    ----------
    curve : LowFrequencyCurve
    worst_hz : float, Hz
        Band that lies highest above the curve; ``nan`` if no band could be compared.
    excess_db : float, dB
        How far it does; negative if the curve holds everywhere.
    excess_by_hz : dict of float to float, dB
        Bands above the curve.
    not_measured_hz : tuple of float, Hz
        Bands of the curve of which nothing is known.
    """

    curve: LowFrequencyCurve
    worst_hz: float
    excess_db: float
    excess_by_hz: dict[float, float]
    not_measured_hz: tuple[float, ...]

    @property
    def exceeded(self) -> bool | None:
        """Whether a band lies above the curve; None if none does but some could not be compared."""
        if self.excess_by_hz:
            return True
        return None if self.not_measured_hz else False


@dataclass(frozen=True, slots=True, kw_only=True)
class LowFrequencyContent:
    """What a background holds at low frequencies.

    Attributes
    ----------
    c_minus_a_db : float, dB
        LCeq less LAeq; ``nan`` if either is not known.
    curves : tuple of CurveComparison
    """

    c_minus_a_db: float
    curves: tuple[CurveComparison, ...]

    @property
    def prominent(self) -> bool | None:
        """Whether the preliminary test asks for a closer look; None if C minus A is not known."""
        return None if np.isnan(self.c_minus_a_db) else self.c_minus_a_db > C_MINUS_A_DB


def low_frequency_curves(profiles: Iterable[GuidelineProfile]) -> tuple[LowFrequencyCurve, ...]:
    """Return the curves of low frequencies that guideline profiles hold.

    Parameters
    ----------
    profiles : iterable of GuidelineProfile
    """
    return tuple(
        LowFrequencyCurve(
            name=f"{profile.title}: {criterion.title}",
            levels_by_hz=criterion.levels_by_hz,
            source=profile.sources[criterion.source].source(),
        )
        for profile in profiles
        for criterion in profile.criterion
        if criterion.quantity == "band_leq" and max(criterion.levels_by_hz) <= HIGHEST_LOW_HZ
    )


def compared(
    nominal_hz: tuple[float, ...], levels_db: FloatArray, curve: LowFrequencyCurve
) -> CurveComparison:
    """Compare third-octave levels with a curve.

    Parameters
    ----------
    nominal_hz : tuple of float, Hz
    levels_db : ndarray, shape (bands,), dB re 20 µPa
        ``-inf`` is silence and lies below every curve, ``nan`` is not known.
    curve : LowFrequencyCurve
    """
    measured = dict(zip(nominal_hz, map(float, levels_db), strict=True))
    excess = {hz: measured.get(hz, np.nan) - limit_db for hz, limit_db in curve.levels_by_hz.items()}
    known = {hz: value for hz, value in excess.items() if not np.isnan(value)}
    worst_hz = max(known, key=known.__getitem__, default=float("nan"))
    return CurveComparison(
        curve=curve,
        worst_hz=worst_hz,
        excess_db=known.get(worst_hz, float("nan")),
        excess_by_hz={hz: value for hz, value in known.items() if value > 0},
        not_measured_hz=tuple(hz for hz in excess if hz not in known),
    )


def c_minus_a_db(lceq: float, laeq: float) -> float:
    """Return LCeq less LAeq, dB; ``nan`` of silence."""
    return lceq - laeq if np.isfinite(lceq) and np.isfinite(laeq) else float("nan")
