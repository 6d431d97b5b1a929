"""The bedroom as paths: leaf, gaps and openings of every part, each an equivalent open area.

All paths lead into the same room, so an open area over the room's absorption is all there is to
know: ``L_room = L_behind + 10 lg(area/A)``. For a facade the same formula holds with the level 2 m
before it, since T0 cancels out of D2m,nT. Arrays are (paths, bands); levels are A-weighted bands.

Uncertainties are standard ones; ranges that documents leave open count as rectangular.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.uncertainty import combined
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.bedroom import Bedroom, Gap, Part
from sleepnoise.isolation.composite import SMALL_ELEMENT_AREA_M2, gain_without, share_of_energy
from sleepnoise.isolation.openings import Place, leak_width_m
from sleepnoise.profiles.bedroom import Side

EN_12354_3_REPORT = Source(
    document="Example report after EN 12354-3", place="uncertainty of the prediction", how_known="looked-up"
)

PREDICTION_U_DB = 2.0
"""Standard uncertainty of a predicted path. Source: EN_12354_3_REPORT."""
WIDTH_FACTOR_DB = 3.0
"""A width told by paper and light may be half or twice as much. Chosen: no document links the two."""
SLIT_U_DB = 2.0
"""Standard uncertainty of a leak whose width was measured. Chosen: the slit model without friction and the
rule of transmission 1 differ by -2 to 8 dB at most widths and bands."""

Through = str
"""``"leaf"``, ``"opening"``, or an edge such as ``"gap bottom"``."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """One way into the room.

    Attributes
    ----------
    part : Part
    gap : Gap or None
    through : str
        ``"leaf"``, ``"opening"`` or ``"gap"`` with its edge.
    simple_m2 : float or None, m²
        Open area with transmission 1, the simple bound of a gap.
    u_db : float, dB
        Standard uncertainty.
    """

    part: Part
    through: Through
    u_db: float
    gap: Gap | None = None
    simple_m2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomPaths:
    """Every path of a room.

    Attributes
    ----------
    bedroom : Bedroom
    paths : tuple of Path
    open_m2 : ndarray, shape (paths, bands), m²
        Equivalent open area.
    factor : ndarray, shape (paths, bands)
        What a door test made of the tabulated open areas; 1 without one.
    tested : dict
        Standard uncertainty, dB, of all paths together of a part that was measured, by its key.
    """

    bedroom: Bedroom
    paths: tuple[Path, ...]
    open_m2: FloatArray
    factor: FloatArray
    tested: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomLevels:
    """What arrives in the room.

    Attributes
    ----------
    paths : RoomPaths
    arriving : dict
        A-weighted band levels behind the room, by side; shape (bands,), dB.
    insertion_db : ndarray, shape (paths, bands), dB
        Level behind a path less that which it brings into the room.
    band_levels_db : ndarray, shape (paths, bands), dB
        A-weighted.
    levels_dba : ndarray, shape (paths,), dB(A)
    shares : ndarray, shape (paths,)
        Of the A-weighted energy in the room, 0 to 1.
    gains_without_db : ndarray, shape (paths,), dB
        What taking a path away entirely would bring; infinite for the only one.
    room_dba, u_db : float
        Level of all paths together and its standard uncertainty.
    """

    paths: RoomPaths
    arriving: dict[Side, FloatArray]
    insertion_db: FloatArray
    band_levels_db: FloatArray
    levels_dba: FloatArray
    shares: FloatArray
    gains_without_db: FloatArray
    room_dba: float
    u_db: float

    @property
    def strongest(self) -> int:
        """Number of the path that brings most."""
        return int(np.argmax(self.levels_dba))


def room_paths(bedroom: Bedroom) -> RoomPaths:
    """Return every path of a room, from tabulated values and the slit model."""
    found = [found for part in bedroom.parts for found in _part_paths(part)]
    open_m2 = np.stack([area_m2 for _, area_m2 in found])
    return RoomPaths(
        bedroom=bedroom,
        paths=tuple(path for path, _ in found),
        open_m2=open_m2,
        factor=np.ones_like(open_m2),
    )


def leaf_open_m2(part: Part) -> FloatArray:
    """Return the open area that the leaf of a part is worth, shape (bands,), m²."""
    assert part.element.insulation is not None
    area_m2 = SMALL_ELEMENT_AREA_M2 if part.element.small else part.area_m2 - part.open_area_m2
    return area_m2 * energy(-part.element.insulation.levels_db)


def gap_open_m2(gap: Gap, depth_m: float, width_m: float | None = None) -> FloatArray:
    """Return the open area that a gap is worth, of its own width or another, shape (bands,), m²."""
    place: Place = "along an edge" if gap.edge == "bottom" else "in a wall"
    width_m = gap.width_m if width_m is None else width_m
    return gap.length_m * leak_width_m(NOMINAL_HZ, width_m, depth_m, place)


def levels(paths: RoomPaths, arriving: Mapping[Side, FloatArray]) -> RoomLevels:
    """Work out what arrives in the room along every path.

    Parameters
    ----------
    paths : RoomPaths
    arriving : mapping
        A-weighted band levels by side, shape (bands,), dB; a side left out is silent.

    Raises
    ------
    SettingsError
        If no sound stands behind any part of the room.
    """
    behind_db = _behind_db(paths, arriving)
    insertion_db = -level(paths.open_m2 / paths.bedroom.absorption_m2)
    band_levels_db = behind_db - insertion_db
    levels_dba = combine(band_levels_db, axis=1)
    shares = share_of_energy(levels_dba)
    return RoomLevels(
        paths=paths,
        arriving=dict(arriving),
        insertion_db=insertion_db,
        band_levels_db=band_levels_db,
        levels_dba=levels_dba,
        shares=shares,
        gains_without_db=gain_without(levels_dba),
        room_dba=float(combine(levels_dba)),
        u_db=_room_u_db(paths, shares),
    )


def path_levels_dba(paths: RoomPaths, open_m2: FloatArray, arriving: Mapping[Side, FloatArray]) -> FloatArray:
    """Return only what each path would bring with other open areas, shape (paths,), dB(A); fast."""
    arrived = energy(_behind_db(paths, arriving)) * open_m2 / paths.bedroom.absorption_m2
    return level(np.sum(arrived, axis=1))


def rectangular_u_db(width_db: float) -> float:
    """Return the standard uncertainty of a value that may lie anywhere in a range this wide, dB."""
    return width_db / float(np.sqrt(12.0))


def _room_u_db(paths: RoomPaths, shares: FloatArray) -> float:
    """Return the standard uncertainty of the level in the room, dB; each path counts with its share.

    Paths of a part that was measured as a whole err together, by the uncertainty of the test.
    """
    keys = [path.part.key for path in paths.paths]
    alone = [
        share * path.u_db
        for path, key, share in zip(paths.paths, keys, shares, strict=True)
        if key not in paths.tested
    ]
    together = [
        u_db * sum(share for each, share in zip(keys, shares, strict=True) if each == key)
        for key, u_db in paths.tested.items()
    ]
    return combined([*alone, *together])


def _behind_db(paths: RoomPaths, arriving: Mapping[Side, FloatArray]) -> FloatArray:
    silence_db = np.full(len(NOMINAL_HZ), -np.inf)
    behind_db = np.stack([arriving.get(path.part.behind, silence_db) for path in paths.paths])
    if np.all(np.isneginf(behind_db)):
        sides = sorted({path.part.behind for path in paths.paths})
        raise SettingsError(
            f"sound behind the room: must stand on a side that the room has ({', '.join(sides)}), "
            f"got {', '.join(sorted(arriving)) or 'none'}.",
            remedy="Name a side of the room, or add [[arriving]] to the room file.",
        )
    return behind_db


def _part_paths(part: Part) -> list[tuple[Path, FloatArray]]:
    """Return the paths of one part with their open areas: leaf, each gap, and what stands open."""
    spread_db = part.element.spread_db or 0.0
    u_db = combined([PREDICTION_U_DB, rectangular_u_db(spread_db)])
    found = [(Path(part=part, through="leaf", u_db=u_db), leaf_open_m2(part))]
    for gap in part.gaps:
        width_u_db = 0.0 if gap.measured else rectangular_u_db(2.0 * WIDTH_FACTOR_DB)
        path = Path(
            part=part,
            through=f"gap {gap.edge}",
            u_db=combined([SLIT_U_DB, width_u_db]),
            gap=gap,
            simple_m2=gap.length_m * gap.width_m,
        )
        found.append((path, gap_open_m2(gap, part.depth_m)))
    if part.open_area_m2 > 0.0:
        opening = Path(part=part, through="opening", u_db=PREDICTION_U_DB, simple_m2=part.open_area_m2)
        found.append((opening, np.full(len(NOMINAL_HZ), part.open_area_m2)))
    return found
