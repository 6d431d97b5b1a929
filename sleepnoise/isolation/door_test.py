"""A door test set against the tabulated door: what was measured wins, and the difference is shown.

Closing a door changes its own paths only; what else comes from the same side stays. With an open
doorway taken as transmission 1, the open area of the closed door follows from the difference
between open and closed: ``a = (S + o) 10^(-M/10) - o``, where ``o`` is that of the other paths.
"""

from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.paths import RoomPaths
from sleepnoise.isolation.sounds import sound
from sleepnoise.profiles.bedroom import DoorTestEntry

LEAST_SHARE = 0.05
"""Least part of the closed level that must have come through the door itself. Chosen: where other paths
bring the rest, 0.2 dB of error in the test would double or swallow the door."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoorComparison:
    """Measured against tabulated.

    Attributes
    ----------
    part : str
        Key of the door.
    measured_db, tabulated_db : ndarray, shape (bands,) or (), dB
        Open minus closed; one number where only dB(A) was measured, ``nan`` in bands not measured.
    better_db : ndarray, same shape, dB
        By how much the door's own paths keep out more than tabulated; negative where less. In bands
        beyond those measured the nearest one holds.
    at_limit : ndarray of bool, same shape
        Other paths decided the closed level: the door is at least this good.
    """

    part: str
    measured_db: FloatArray
    tabulated_db: FloatArray
    better_db: FloatArray
    at_limit: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def calibrated(paths: RoomPaths, test: DoorTestEntry) -> tuple[RoomPaths, DoorComparison]:
    """Return the paths with the door as it was measured, and how that compares.

    Parameters
    ----------
    paths : RoomPaths
        As tabulated.
    test : DoorTestEntry
        In bands, or in dB(A) of a known sound: then every band moves by the same amount.

    Raises
    ------
    SettingsError
        If the door has no area.
    """
    of_door = np.array([path.part.key == test.part for path in paths.paths])
    door = next(path.part for path in paths.paths if path.part.key == test.part)
    if door.area_m2 <= 0.0:
        raise SettingsError(f"door test: {door.key} has no area.", remedy="Test a door with area_m2.")
    same_side = np.array([path.part.behind == door.behind for path in paths.paths])
    door_m2 = paths.open_m2[of_door].sum(axis=0)
    other_m2 = paths.open_m2[same_side & ~of_door].sum(axis=0)
    measured_db, weights = _measurement(test)
    door_sum, other_sum, opened = (
        np.asarray(np.sum(weights * area, axis=-1))
        for area in (door_m2, other_m2, np.full(len(NOMINAL_HZ), door.area_m2))
    )
    closed_sum = (opened + other_sum) * energy(-measured_db)
    least = LEAST_SHARE * closed_sum
    found = np.maximum(closed_sum - other_sum, least)
    comparison = DoorComparison(
        part=door.key,
        measured_db=measured_db,
        tabulated_db=level((opened + other_sum) / (door_sum + other_sum)),
        better_db=_held(-level(found / door_sum)),
        at_limit=closed_sum - other_sum <= least,
    )
    factor = np.where(of_door[:, None], energy(-comparison.better_db), 1.0)
    tested = {door.key: test.uncertainty_db}
    return replace(paths, open_m2=paths.open_m2 * factor, factor=factor, tested=tested), comparison


def _measurement(test: DoorTestEntry) -> tuple[FloatArray, FloatArray]:
    """Return what was measured and the weights of the bands in each number measured.

    In bands: shape (bands,), ``nan`` beyond those given, and the unit matrix; in dB(A): shape () and
    the sound's energies.
    """
    if test.open_minus_closed_dba is not None:
        return np.asarray(test.open_minus_closed_dba), energy(sound(test.sound).a_weighted_db)
    by_hz = test.difference_by_hz
    known = np.log(mid_band_hz(tuple(by_hz)))
    measured_db = np.interp(np.log(mid_band_hz()), known, list(by_hz.values()), left=np.nan, right=np.nan)
    return measured_db, np.eye(len(NOMINAL_HZ))


def _held(values_db: FloatArray) -> FloatArray:
    """Return values with the nearest known one where none is known: the correction of a door is held."""
    if values_db.ndim == 0:
        return values_db
    places = np.arange(values_db.size)
    known = ~np.isnan(values_db)
    return np.interp(places, places[known], values_db[known])
