"""Single-number ratings of sound insulation: ISO 717-1 and the ASTM contours.

Both standards slide a fixed curve along the measured one in whole steps and stop at the
highest place where the measured curve does not lie too far below. Everything that decides is
counted in whole tenths (ISO) or whole decibels (ASTM), so that equality is equality.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.decibels import FloatArray, combine
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError

ISO_717_1 = Source(document="ISO 717-1:2020", place="4.4 and 4.5, Tables 3, 4 and B.1", how_known="library")
ISO_12999_1 = Source(document="ISO 12999-1:2020", place="two-sided coverage, u of Rw", how_known="library")
ASTM_E413 = Source(document="ASTM E413", place="contour and the 32 dB and 8 dB rules", how_known="library")
ASTM_E1332 = Source(document="ASTM E1332", place="reference source spectrum", how_known="memory")

ENLARGED_HZ = (
    50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0,
    1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0,
)  # fmt: skip
"""Third octaves of the enlarged range. Source: ISO_717_1."""
THIRD_OCTAVES_HZ = ENLARGED_HZ[3:19]
"""Third octaves 100 Hz to 3150 Hz. Source: ISO_717_1."""
OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0)
"""Octaves 125 Hz to 2000 Hz. Source: ISO_717_1."""
CONTOUR_HZ = ENLARGED_HZ[4:20]
"""Third octaves 125 Hz to 4000 Hz. Source: ASTM_E413."""
OUTDOOR_HZ = ENLARGED_HZ[2:20]
"""Third octaves 80 Hz to 4000 Hz. Source: ASTM_E1332."""

_THIRD_REFERENCE_DB = (33, 36, 39, 42, 45, 48, 51, 52, 53, 54, 55, 56, 56, 56, 56, 56)
"""Reference values. Source: ISO_717_1."""
_OCTAVE_REFERENCE_DB = (36, 45, 52, 55, 56)
"""Reference values. Source: ISO_717_1."""
_REFERENCE_AT_500_HZ_DB = 52
"""The rating is the shifted reference value at 500 Hz. Source: ISO_717_1."""
_LARGEST_SUM_THIRDS_DB = 32
"""Largest sum of unfavourable deviations of 16 third octaves; equality counts. Source: ISO_717_1."""
_LARGEST_SUM_OCTAVES_DB = 10
"""Largest sum of unfavourable deviations of 5 octaves; equality counts. Source: ISO_717_1."""

_NO_1 = (-29, -26, -23, -21, -19, -17, -15, -13, -12, -11, -10, -9, -9, -9, -9, -9)
"""Spectrum No. 1, A-weighted pink noise, dB. Source: ISO_717_1."""
_NO_2 = (-20, -20, -18, -16, -15, -14, -13, -12, -11, -9, -8, -9, -10, -11, -13, -15)
"""Spectrum No. 2, A-weighted urban road traffic, dB. Source: ISO_717_1."""
_NO_1_50_3150 = (-40, -36, -33, *_NO_1)
"""Spectrum No. 1 from 50 Hz to 3150 Hz, dB. Source: ISO_717_1."""
_NO_1_50_5000 = (-41, -37, -34, *(value - 1 for value in _NO_1), -10, -10)
"""Spectrum No. 1 from 50 Hz to 5000 Hz, dB: 1 dB less wherever it continues the other. Source: ISO_717_1."""
_NO_2_50_5000 = (-25, -23, -21, *_NO_2, -16, -18)
"""Spectrum No. 2 for every enlarged range, dB. Source: ISO_717_1."""

_THIRD_SPECTRA: Mapping[str, tuple[tuple[float, ...], tuple[int, ...]]] = {
    "C": (THIRD_OCTAVES_HZ, _NO_1),
    "Ctr": (THIRD_OCTAVES_HZ, _NO_2),
    "C50-3150": (ENLARGED_HZ[:19], _NO_1_50_3150),
    "Ctr50-3150": (ENLARGED_HZ[:19], _NO_2_50_5000[:19]),
    "C50-5000": (ENLARGED_HZ, _NO_1_50_5000),
    "Ctr50-5000": (ENLARGED_HZ, _NO_2_50_5000),
    "C100-5000": (ENLARGED_HZ[3:], _NO_1_50_5000[3:]),
    "Ctr100-5000": (ENLARGED_HZ[3:], _NO_2_50_5000[3:]),
}
"""Adaptation spectra by third octaves, dB. Source: ISO_717_1."""
_OCTAVE_SPECTRA: Mapping[str, tuple[tuple[float, ...], tuple[int, ...]]] = {
    "C": (OCTAVES_HZ, (-21, -14, -8, -5, -4)),
    "Ctr": (OCTAVES_HZ, (-14, -10, -7, -4, -6)),
}
"""Adaptation spectra by octaves, dB. Source: ISO_717_1."""

_CONTOUR_DB = (-16, -13, -10, -7, -4, -1, 0, 1, 2, 3, 4, 4, 4, 4, 4, 4)
"""Contour relative to its value at 500 Hz. Source: ASTM_E413."""
_LARGEST_DEFICIENCY_DB = 8
"""Largest single deficiency; equality counts. Source: ASTM_E413."""
_LARGEST_SUM_DEFICIENCIES_DB = 32
"""Largest sum of deficiencies; equality counts. Source: ASTM_E413."""
_OUTDOOR_SOURCE_A_DB = (
    80.5, 82.9, 84.9, 84.6, 86.1, 86.4, 87.4, 88.2, 89.8, 89.1, 89.2, 89.0, 89.6, 89.0, 89.2, 88.3, 86.2,
    85.0,
)  # fmt: skip
"""Mixed transport, A-weighted, dB. Source: ASTM_E1332."""
_OUTDOOR_SUM_DB = 100.13
"""A-weighted sum of the spectrum as the formula prints it. Source: ASTM_E1332."""

COVERAGE_95_INSULATION = 1.96
"""k of insulation for 95 %, two-sided. Source: ISO_12999_1."""
RATING_UNCERTAINTY_DB = {"laboratories": 1.2, "places": 0.9, "repeat": 0.4}
"""u of a weighted index: different laboratories, different teams in one building, one team again.

Source: ISO_12999_1; the values for "places" and "repeat" are known from memory only.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightedRating:
    """A weighted index (Rw, R'w, Dw, Dn,w, DnT,w ...) with its spectrum adaptation terms.

    Attributes
    ----------
    rating_db : float, dB
        ``nan`` when a band that it needs is not known.
    unfavourable_sum_db : float, dB
        Sum of unfavourable deviations at that rating.
    terms_db : mapping of str to float, dB
        ``"C"`` and ``"Ctr"``, and of the enlarged ranges those whose bands were there.
    """

    rating_db: float
    unfavourable_sum_db: float
    terms_db: Mapping[str, float]

    @property
    def c_db(self) -> float:
        """Adaptation term for living noise and the like, dB."""
        return self.terms_db["C"]

    @property
    def ctr_db(self) -> float:
        """Adaptation term for urban road traffic and the like, dB."""
        return self.terms_db["Ctr"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ContourRating:
    """A class by contour: STC of a loss, NIC of a level difference, NNIC of a standardized one.

    Attributes
    ----------
    rating_db : float, dB
        ``nan`` when a band is not known.
    deficiency_sum_db, largest_deficiency_db : float, dB
    largest_at_hz : float
        Nominal frequency of the largest deficiency, the lowest of equals.
    held_by_one_band : bool
        Whether the next step up would break the 8 dB rule.
    """

    rating_db: float
    deficiency_sum_db: float
    largest_deficiency_db: float
    largest_at_hz: float
    held_by_one_band: bool


def weighted_rating(
    insulation: Spectrum, *, octaves: bool = False, in_tenths: bool = False
) -> WeightedRating:
    """Rate sound insulation by the reference curve of ISO 717-1.

    Parameters
    ----------
    insulation : Spectrum, dB
        Sound reduction indices or level differences; more bands than needed do no harm.
    octaves : bool, optional
        Rate the five octaves 125 Hz to 2000 Hz (field measurements) instead of 16 third octaves.
    in_tenths : bool, optional
        Shift by 0.1 dB, as for statements of uncertainty, instead of 1 dB.

    Raises
    ------
    SettingsError
        If one of the bands is missing.

    References
    ----------
    ISO 717-1:2020, 4.4 and 4.5, Annex B.
    """
    bands_hz = OCTAVES_HZ if octaves else THIRD_OCTAVES_HZ
    reference_db = np.array(_OCTAVE_REFERENCE_DB if octaves else _THIRD_REFERENCE_DB)
    largest_sum_db = _LARGEST_SUM_OCTAVES_DB if octaves else _LARGEST_SUM_THIRDS_DB
    values_db = _needed(insulation, bands_hz)
    spectra = _OCTAVE_SPECTRA if octaves else _THIRD_SPECTRA
    adapted = {
        name: adapted_index_db(insulation, name, octaves=octaves)
        for name, (needed_hz, _) in spectra.items()
        if set(needed_hz) <= set(insulation.nominal_hz)
    }
    if not np.all(np.isfinite(values_db)):
        return WeightedRating(
            rating_db=np.nan, unfavourable_sum_db=np.nan, terms_db=dict.fromkeys(adapted, np.nan)
        )
    step = 1 if in_tenths else 10
    tenths = _whole(values_db * 10.0) - 10 * reference_db
    shift = _highest_shift(tenths, step, 10 * largest_sum_db)
    rating = 10 * _REFERENCE_AT_500_HZ_DB + shift
    terms = {name: _rounded(value, step) - rating / 10.0 for name, value in adapted.items()}
    return WeightedRating(
        rating_db=rating / 10.0,
        unfavourable_sum_db=int(np.sum(np.maximum(shift - tenths, 0))) / 10.0,
        terms_db={name: round(value, 1) for name, value in terms.items()},
    )


def adapted_index_db(insulation: Spectrum, term: str, *, octaves: bool = False) -> float:
    """Return the unrounded index against one adaptation spectrum, dB: the rating plus its term.

    Parameters
    ----------
    insulation : Spectrum, dB
    term : str
        ``"C"``, ``"Ctr"``, or with the range: ``"C50-3150"``, ``"Ctr100-5000"`` ...
    octaves : bool, optional

    References
    ----------
    ISO 717-1:2020, formula for X_Aj, from values rounded to 0.1 dB.
    """
    needed_hz, spectrum_db = (_OCTAVE_SPECTRA if octaves else _THIRD_SPECTRA)[term]
    values_db = _needed(insulation, needed_hz)
    return -float(combine(np.array(spectrum_db) - _tenth(values_db)))


def contour_rating(insulation: Spectrum) -> ContourRating:
    """Rate transmission losses or level differences by the contour of ASTM E413.

    Values are rounded to whole decibels first (memory).

    Raises
    ------
    SettingsError
        If one of the third octaves 125 Hz to 4000 Hz is missing.
    """
    values_db = _needed(insulation, CONTOUR_HZ)
    if not np.all(np.isfinite(values_db)):
        return ContourRating(
            rating_db=np.nan,
            deficiency_sum_db=np.nan,
            largest_deficiency_db=np.nan,
            largest_at_hz=np.nan,
            held_by_one_band=False,
        )
    above_contour = _whole(values_db) - np.array(_CONTOUR_DB)
    by_sum = _highest_shift(above_contour, 1, _LARGEST_SUM_DEFICIENCIES_DB)
    by_band = int(above_contour.min()) + _LARGEST_DEFICIENCY_DB
    rating = min(by_sum, by_band)
    deficiencies = np.maximum(rating - above_contour, 0)
    return ContourRating(
        rating_db=float(rating),
        deficiency_sum_db=float(deficiencies.sum()),
        largest_deficiency_db=float(deficiencies.max()),
        largest_at_hz=CONTOUR_HZ[int(deficiencies.argmax())],
        held_by_one_band=by_band == rating,
    )


def outdoor_indoor_class_db(insulation: Spectrum) -> float:
    """Return the unrounded outdoor-indoor transmission class (OITC), dB; publish it as a whole number.

    The source spectrum is known from memory only: show the class as unverified.

    Raises
    ------
    SettingsError
        If one of the third octaves 80 Hz to 4000 Hz is missing.
    """
    heard_db = combine(np.array(_OUTDOOR_SOURCE_A_DB) - _needed(insulation, OUTDOOR_HZ))
    return _OUTDOOR_SUM_DB - float(heard_db)


def _needed(insulation: Spectrum, bands_hz: tuple[float, ...]) -> FloatArray:
    missing = [band_label(hz) for hz in bands_hz if hz not in insulation.nominal_hz]
    if missing:
        raise SettingsError(
            f"rating: needs every band from {bands_hz[0]:g} to {bands_hz[-1]:g} Hz, "
            f"missing: {', '.join(missing)} Hz.",
            remedy="Measure or enter the missing bands; a rating cannot be made without them.",
        )
    return insulation.on_bands(bands_hz).levels_db


def _highest_shift(above_curve: NDArray[np.int64], step: int, largest_sum: int) -> int:
    """Return the largest multiple of *step* that the curve may be raised by."""
    # Raised any further than this, the worst band alone would exceed the sum.
    highest = (int(above_curve.min()) + largest_sum) // step
    shifts = step * np.arange(highest - largest_sum // step - 1, highest + 1)
    sums = np.sum(np.maximum(shifts[:, None] - above_curve, 0), axis=1)
    return int(shifts[sums <= largest_sum].max())


def _whole(values: FloatArray) -> NDArray[np.int64]:
    """Round half up; 20.35 x 10 must count as 203.5 although it is stored as a little less."""
    return np.floor(values + 0.5 + 1e-9).astype(np.int64)


def _tenth(values_db: FloatArray) -> FloatArray:
    return np.asarray(np.floor(values_db * 10.0 + 0.5 + 1e-9) / 10.0)


def _rounded(value_db: float, step: int) -> float:
    """Round an index as finely as the rating: to 1 dB, or to 0.1 dB."""
    return float(np.floor(value_db * 10.0 / step + 0.5 + 1e-9)) * step / 10.0
