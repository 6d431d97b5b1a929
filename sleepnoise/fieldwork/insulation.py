"""An insulation measurement: from levels on both sides of an element to its quantities and ratings.

Symbols: as in ``field``; ``D2m,nT`` standardized level difference of a facade, ``R'45`` and ``R'tr,s``
apparent sound reduction index of an element outdoors.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork import field
from sleepnoise.fieldwork.background import without_background
from sleepnoise.fieldwork.ratings import (
    CONTOUR_HZ,
    OCTAVES_HZ,
    OUTDOOR_HZ,
    THIRD_OCTAVES_HZ,
    ContourRating,
    WeightedRating,
    contour_rating,
    outdoor_indoor_class_db,
    weighted_rating,
)

Before = Literal["room", "2-m-before", "on-element-loudspeaker", "on-element-traffic"]
"""Where the level on the side of the sound was read."""

INCIDENCE_DB: dict[Before, float] = {
    "room": 0.0,
    "on-element-loudspeaker": field.LOUDSPEAKER_45_DEG_DB,
    "on-element-traffic": field.TRAFFIC_DB,
}
"""Correction for the incidence of sound on an element, dB. Source: ISO_16283_3, see ``field``."""

STANDARDIZED: dict[Before, str] = {"room": "DnT", "2-m-before": "D2m,nT"}
REDUCTION: dict[Before, str] = {
    "room": "R'",
    "on-element-loudspeaker": "R'45",
    "on-element-traffic": "R'tr,s",
}
CLASSES = {"D": "NIC", "DnT": "NNIC", "R'": "ASTC"}
"""What a contour rating is called, by quantity (ASTM E336)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sides:
    """Levels of one measurement, all by the same bands.

    Attributes
    ----------
    nominal_hz : tuple of float
        Third octaves, or octaves.
    source_db, receiving_db : ndarray, shape (positions, bands), dB
    background_db : ndarray, shape (bands,), dB, or None
        On the receiving side, with the sound off.
    source_corners_db, receiving_corners_db : ndarray, shape (corners, bands), dB, or None
        For the low-frequency procedure of small rooms.
    """

    nominal_hz: tuple[float, ...]
    source_db: FloatArray
    receiving_db: FloatArray
    background_db: FloatArray | None = None
    source_corners_db: FloatArray | None = None
    receiving_corners_db: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One quantity in bands, with its ratings.

    Attributes
    ----------
    symbol : str
        Such as ``"DnT"``.
    values : Spectrum, dB
    weighted : WeightedRating or None
        ISO 717-1; None if a band that it needs was not measured.
    contour : ContourRating or None
        ASTM E413, by third octaves, if it has a name for this quantity.
    contour_name : str
    outdoor_class_db : float or None, dB
        OITC of ASTM E1332, unrounded; None but for third octaves of R'45, which is what ASTM E966 calls
        the apparent outdoor-indoor transmission loss (memory).
    """

    symbol: str
    values: Spectrum
    weighted: WeightedRating | None
    contour: ContourRating | None
    contour_name: str
    outdoor_class_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Insulation:
    """What an element keeps out.

    Attributes
    ----------
    nominal_hz : tuple of float
    source_db, receiving_db : ndarray, shape (bands,), dB
        Means over positions; the receiving level is without the background.
    at_limit : ndarray of bool, shape (bands,)
        The background was too near: insulation reads *at least*.
    reverberation_s : ndarray, shape (bands,), s
    quantities : tuple of Quantity
    remarks : tuple of str
    """

    nominal_hz: tuple[float, ...]
    source_db: FloatArray
    receiving_db: FloatArray
    at_limit: NDArray[np.bool_]
    reverberation_s: FloatArray
    quantities: tuple[Quantity, ...]
    remarks: tuple[str, ...]


def insulation(
    sides: Sides,
    reverberation_s: FloatArray,
    volume_m3: float,
    *,
    before: Before = "room",
    area_m2: float | None = None,
    smallest_dimension_m: float | None = None,
    octaves: bool = False,
) -> Insulation:
    """Work out every quantity that the readings allow.

    Parameters
    ----------
    sides : Sides
    reverberation_s : ndarray, shape (31,), s
        Of the receiving room, by third octaves.
    volume_m3 : float, m³
        Of the receiving room.
    before : str, optional
        Where the level on the side of the sound was read.
    area_m2 : float, optional, m²
        Of the element; without it no reduction index.
    smallest_dimension_m : float, optional, m
        Of the receiving room; without it no NNIC.
    octaves : bool, optional
        Whether the bands are octaves.

    Raises
    ------
    SettingsError
        If the two sides have no band in common.
    """
    if not sides.nominal_hz:
        raise SettingsError(
            "insulation: both sides and the background must have bands in common.",
            remedy="Give the same third octaves, or octaves, on both sides.",
        )
    hz = sides.nominal_hz
    times_s = np.array([reverberation_s[NOMINAL_HZ.index(each)] for each in hz])
    source_db, receiving_db = (field.position_mean(each) for each in (sides.source_db, sides.receiving_db))
    remarks: list[str] = []
    if not octaves and before == "room" and field.needs_low_frequency_procedure(volume_m3):
        remarks += _small_room(sides, source_db, receiving_db, times_s)
    quiet_db = np.full(len(hz), -np.inf) if sides.background_db is None else sides.background_db
    corrected = without_background(receiving_db, quiet_db)
    if sides.background_db is None:
        remarks.append("No background was read: insulation may be higher than it reads.")
    difference_db = field.level_difference(source_db, corrected.levels_db)
    found = _quantities(difference_db, times_s, volume_m3, before, area_m2)
    nnic = smallest_dimension_m is not None and field.nnic_may_be_stated(volume_m3, smallest_dimension_m)
    return Insulation(
        nominal_hz=hz,
        source_db=source_db,
        receiving_db=corrected.levels_db,
        at_limit=corrected.at_limit,
        reverberation_s=times_s,
        quantities=tuple(_rated(name, hz, values, octaves, nnic) for name, values in found),
        remarks=tuple(remarks),
    )


def _quantities(
    difference_db: FloatArray, times_s: FloatArray, volume_m3: float, before: Before, area_m2: float | None
) -> Iterator[tuple[str, FloatArray]]:
    absorption_m2 = field.absorption_area_m2(volume_m3, times_s)
    if before in STANDARDIZED:
        yield "D" if before == "room" else "D2m", difference_db
        yield STANDARDIZED[before], field.standardized_level_difference(difference_db, times_s)
    if before == "room":
        yield "Dn", field.normalized_level_difference(difference_db, absorption_m2)
    if before in REDUCTION and area_m2 is not None:
        incidence_db = INCIDENCE_DB[before]
        values = field.apparent_reduction_index(difference_db, area_m2, absorption_m2, incidence_db)
        yield REDUCTION[before], values


def _rated(name: str, hz: tuple[float, ...], values_db: FloatArray, octaves: bool, nnic: bool) -> Quantity:
    values = Spectrum(nominal_hz=hz, levels_db=values_db)
    weighted_hz = OCTAVES_HZ if octaves else THIRD_OCTAVES_HZ
    contour_name = CLASSES.get(name, "") if not octaves and (name != "DnT" or nnic) else ""
    contoured = contour_name and set(CONTOUR_HZ) <= set(hz)
    outdoors = name == REDUCTION["on-element-loudspeaker"] and not octaves and set(OUTDOOR_HZ) <= set(hz)
    return Quantity(
        symbol=name,
        values=values,
        weighted=weighted_rating(values, octaves=octaves) if set(weighted_hz) <= set(hz) else None,
        contour=contour_rating(values) if contoured else None,
        contour_name=contour_name if contoured else "",
        outdoor_class_db=outdoor_indoor_class_db(values) if outdoors else None,
    )


def _small_room(
    sides: Sides, source_db: FloatArray, receiving_db: FloatArray, times_s: FloatArray
) -> Iterator[str]:
    """Put corner readings into the lowest bands (in place), or say that they are missing."""
    low = [place for place, hz in enumerate(sides.nominal_hz) if hz in field.LOW_FREQUENCY_BANDS_HZ]
    if not low:
        return
    if sides.source_corners_db is None or sides.receiving_corners_db is None:
        yield (
            "A room under 25 m³ needs readings in its corners at 50, 63 and 80 Hz; without them these bands "
            "hold for the places measured only."
        )
        return
    for levels_db, corners_db in (
        (source_db, sides.source_corners_db),
        (receiving_db, sides.receiving_corners_db),
    ):
        levels_db[low] = field.low_frequency_level(levels_db[low], corners_db[:, low])
    # All three take the time of the 63 Hz octave, whose thirds they are.
    times_s[low] = times_s[low].mean()
    yield "50, 63 and 80 Hz by the low-frequency procedure for small rooms, from the loudest corner."
