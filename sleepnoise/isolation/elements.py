"""Building elements: what generic doors, windows, walls and vents let through, band by band.

Data come in octaves. Thirds between them are drawn as straight lines over lg f.
"""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, OCTAVE_RATIO, mid_band_hz
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.profiles.files import read_construction, shipped_profiles
from sleepnoise.profiles.schema import ConstructionProfile, ElementEntry

BELOW_DATA_DB_PER_OCTAVE = 6.0
"""Slope below the lowest band given, of losses of elements and of treatments alike. Chosen: the mass law;
holding the value would promise too much."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Element:
    """One generic element.

    Attributes
    ----------
    key, title : str
    insulation : Spectrum or None
        On every third octave, dB: R, or Dn,e when *small*. ``None`` when only *single* is known.
    small : bool
        Counts re 10 m², its area does not matter.
    as_hung : bool
        The values hold for leaf and ordinary gaps together.
    thickness_m : float or None, m
    mass_kg_per_m2 : float or None
    single : str
        The rating as printed, such as ``"STC 20"``; empty when there is none.
    spread_db : float or None, dB
        How far sources disagree; ``None`` when there is only one.
    source : Source
    note : str
    """

    key: str
    title: str
    insulation: Spectrum | None
    small: bool
    as_hung: bool
    thickness_m: float | None
    mass_kg_per_m2: float | None
    single: str
    spread_db: float | None
    source: Source
    note: str


LONGEST_KEY = 100
"""Characters of a key that are compared. Chosen: above every key; the time grows with their square."""

ALIKE_SHOWN = 3
"""Keys alike that a complaint names. Chosen: they fit a line."""

KEYS_REMEDY = (
    "'sleepnoise profiles show NAME' prints the keys of elements; NAME is one of "
    "doors, windows, walls, floors-roofs, small-elements and limp-layers."
)
"""Where to find the key of an element."""


def alike_text(key: str) -> str:
    """Return which keys of elements look like this one, as the end of a complaint; empty if none does."""
    alike = get_close_matches(key[:LONGEST_KEY], shipped_elements(), ALIKE_SHOWN)
    return f", alike {'is' if len(alike) == 1 else 'are'} {', '.join(alike)}" if alike else ""


def thirds_from_octaves(octaves_by_hz: dict[float, float]) -> Spectrum:
    """Return every third octave from octaves or other bands, dB.

    Straight lines over lg f between them; 6 dB an octave less below the lowest, never
    below 0 unless the lowest is; the last value above the highest.
    """
    known = np.log(mid_band_hz(tuple(octaves_by_hz)))
    wanted = np.log(mid_band_hz())
    values_db = np.array(list(octaves_by_hz.values()))
    drawn_db = np.interp(wanted, known, values_db)
    octaves_below = np.maximum(known[0] - wanted, 0.0) / np.log(OCTAVE_RATIO)
    floor_db = min(0.0, float(values_db[0]))
    lowered_db = np.maximum(drawn_db - BELOW_DATA_DB_PER_OCTAVE * octaves_below, floor_db)
    return Spectrum(nominal_hz=NOMINAL_HZ, levels_db=np.where(octaves_below > 0.0, lowered_db, drawn_db))


def elements(profile: ConstructionProfile) -> dict[str, Element]:
    """Return the elements of a construction profile by key."""
    return {entry.key: _element(entry, profile.sources[entry.source].source()) for entry in profile.element}


@lru_cache(maxsize=1)
def shipped_elements() -> dict[str, Element]:
    """Return every element that comes with the program, by key; read once."""
    profiles = (read_construction(found.path) for found in shipped_profiles("construction"))
    return {key: element for profile in profiles for key, element in elements(profile).items()}


def _element(entry: ElementEntry, source: Source) -> Element:
    return Element(
        key=entry.key,
        title=entry.title,
        insulation=thirds_from_octaves(entry.octaves_by_hz) if entry.octaves_db else None,
        small=entry.quantity == "small element",
        as_hung=entry.mounting in ("as hung", "in use"),
        thickness_m=None if entry.thickness_mm is None else entry.thickness_mm / 1000.0,
        mass_kg_per_m2=entry.mass_kg_per_m2,
        single=_single(entry),
        spread_db=entry.spread_db,
        source=source,
        note=entry.note,
    )


def _single(entry: ElementEntry) -> str:
    if entry.single is None:
        return ""
    upper = "" if entry.single.upper_db is None else f" to {entry.single.upper_db:g}"
    return f"{entry.single.name} {entry.single.db:g}{upper}"
