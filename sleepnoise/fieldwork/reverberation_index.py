"""The reverberation index of the survey method: a table instead of a measurement.

``k = 10 lg(T/T0)`` with T0 = 0.5 s, from the size of the room and what stands in it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.field import REFERENCE_REVERBERATION_S

ISO_10052 = Source(document="ISO 10052:2021", place="Table 4", how_known="library")

VOLUME_LIMITS_M3 = (15.0, 35.0, 60.0, 150.0)
"""Upper ends of the four classes of volume; only the last belongs to its class. Source: ISO_10052."""

# fmt: off
_INDEX_DB: tuple[Mapping[str, tuple[float, ...]], ...] = (
    # V<15 m³
    {
        "kitchen": (0, 0, 0, 0, 0, 0),
        "bathroom": (1, 1, 0, 0, -0.5, 0),
        "furnished": (0, 0, -0.5, -0.5, -1, -0.5),
        "a": (0, 1, 1, 1, 0, 0.5),
        "b": (1, 2.5, 3, 2.5, 2, 2),
        "c": (0, 2.5, 3.5, 4, 4, 4),
        "d": (0, 2.5, 3, 4, 4, 4),
        "e": (3.5, 3.5, 3.5, 3.5, 1.5, 3.5),
        "f": (4.5, 4.5, 4.5, 3.5, 2.5, 3.5),
        "g": (3.5, 4, 4.5, 5, 5, 5),
        "h": (4, 4.5, 5, 5, 4.5, 5),
        "a+e": (2, 2.5, 2.5, 2.5, 1, 2),
        "b+f": (3, 3.5, 4, 3, 2.5, 3),
        "c+g": (2, 3.5, 4, 4.5, 4.5, 4.5),
        "d+h": (2, 3.5, 4, 4.5, 4.5, 4.5),
    },
    # 15<=V<35 m³
    {
        "kitchen": (0, 0.5, 0, 0, 0, 0),
        "bathroom": (1.5, 1.5, 0.5, 0.5, 0, 0.5),
        "furnished": (0, 0, 0, 0, -0.5, 0),
        "a": (1, 1.5, 1.5, 1, 0.5, 1),
        "b": (1, 3, 3.5, 3, 2.5, 2.5),
        "c": (1, 3, 4, 4.5, 4, 4.5),
        "d": (1, 3, 3.5, 4.5, 4, 4.5),
        "e": (3.5, 4, 4, 4, 2, 4),
        "f": (4.5, 4.5, 4.5, 4, 3, 4),
        "g": (4, 5, 5, 5, 5, 5.5),
        "h": (4.5, 5, 5.5, 5.5, 5, 5),
        "a+e": (2.5, 3, 3, 2.5, 1.5, 2.5),
        "b+f": (3, 4, 4, 3.5, 3, 3.5),
        "c+g": (2.5, 4, 4.5, 5, 4.5, 5),
        "d+h": (3, 4, 4.5, 5, 4.5, 5),
    },
    # 35<=V<60 m³
    {
        "furnished": (0.5, 0.5, 0.5, 0, 0, 0),
        "a": (1, 2, 2, 1.5, 1, 1.5),
        "b": (2, 3.5, 4, 3.5, 2.5, 3),
        "c": (1.5, 3.5, 4.5, 5, 4.5, 5),
        "d": (1.5, 3.5, 4, 5, 5, 5),
        "e": (4, 4, 4.5, 4, 2.5, 4),
        "f": (4.5, 4.5, 4.5, 4, 3, 5),
        "g": (4.5, 5, 5.5, 5.5, 5.5, 5.5),
        "h": (5, 5.5, 6, 5, 5.5, 5.5),
        "a+e": (2.5, 3, 3.5, 3, 2, 3),
        "b+f": (3.5, 4, 4.5, 4, 3, 4),
        "c+g": (3, 4.5, 5, 5.5, 5, 5.5),
        "d+h": (3.5, 4.5, 5, 5, 5.5, 5.5),
    },
    # 60<=V<=150 m³
    {
        "furnished": (0.5, 0.5, 0.5, 0.5, 0, 0.5),
        "a": (1, 2.5, 2.5, 2, 1.5, 2),
        "b": (2.5, 4, 4.5, 3.5, 2.5, 3.5),
        "c": (2, 4, 5, 5.5, 5, 5.5),
        "d": (2, 4, 4.5, 5.5, 5.5, 5.5),
        "e": (4, 4, 5, 4.5, 3, 4.5),
        "f": (4.5, 5, 5, 4, 3, 5),
        "g": (5, 5.5, 6, 6, 6, 6),
        "h": (5.5, 6, 6.5, 5.5, 6, 6),
        "a+e": (2.5, 3.5, 4, 3.5, 2.5, 3.5),
        "b+f": (3.5, 4.5, 5, 4, 3, 4.5),
        "c+g": (3.5, 5, 5.5, 6, 5.5, 6),
        "d+h": (4, 5, 5.5, 5.5, 6, 6),
    },
)
# fmt: on
"""k at 125, 250, 500, 1000 and 2000 Hz and of A- or C-weighted levels, dB. Source: ISO_10052."""


INDEX_OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0)
"""Octaves of the index. Source: ISO_10052."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReverberationIndex:
    """Reverberation index of one room.

    Attributes
    ----------
    octaves_db : tuple of float, dB
        At 125, 250, 500, 1000 and 2000 Hz.
    weighted_db : float, dB
        For A- or C-weighted levels.
    """

    octaves_db: tuple[float, ...]
    weighted_db: float


def reverberation_index(volume_m3: float, room: str = "furnished") -> ReverberationIndex:
    """Return the index of a room.

    Parameters
    ----------
    volume_m3 : float, m³
        Up to 150 m³.
    room : str, optional
        ``"furnished"`` (the bedroom), ``"kitchen"`` and ``"bathroom"`` up to 35 m³, or the
        construction letters of the standard for an empty room: ``"a"`` to ``"h"``, ``"a+e"``,
        ``"b+f"``, ``"c+g"``, ``"d+h"``.

    Raises
    ------
    SettingsError
        If the table has no such room or size.

    Examples
    --------
    >>> reverberation_index(27.6).octaves_db
    (0, 0, 0, 0, -0.5)
    """
    largest_m3 = VOLUME_LIMITS_M3[-1]
    if not 0.0 < volume_m3 <= largest_m3:
        raise SettingsError(
            f"reverberation index: the volume must lie between 0 and {largest_m3:g} m³, got {volume_m3:g}.",
            remedy="Measure the reverberation time of such a room.",
        )
    table = _INDEX_DB[sum(volume_m3 >= limit for limit in VOLUME_LIMITS_M3[:-1])]
    if room not in table:
        raise SettingsError(
            f"reverberation index: for {volume_m3:g} m³ the room must be one of {', '.join(table)}, "
            f"got {room!r:.60}.",
            remedy="Choose one of these, or measure the reverberation time.",
        )
    *octaves_db, weighted_db = table[room]
    return ReverberationIndex(octaves_db=tuple(octaves_db), weighted_db=weighted_db)


def reverberation_in_thirds_s(
    volume_m3: float,
    furnishing: str | None = None,
    seconds: float | None = None,
    by_hz: Mapping[float, float] | None = None,
) -> FloatArray:
    """Return the reverberation time of every third octave, shape (31,), s, from what is known of a room.

    Parameters
    ----------
    volume_m3 : float, m³
    furnishing : str, optional
        As for :func:`reverberation_index`.
    seconds : float, optional, s
        One time for all bands, instead.
    by_hz : mapping of float to float, optional, s
        Times by nominal frequency, instead: straight over lg f between those given, held beyond.
    """
    if seconds is not None:
        return np.full(len(NOMINAL_HZ), seconds)
    if furnishing is not None:
        index = reverberation_index(volume_m3, furnishing)
        times_s = REFERENCE_REVERBERATION_S * energy(index.octaves_db)
        by_hz = dict(zip(INDEX_OCTAVES_HZ, times_s.tolist(), strict=True))
    known_hz = tuple(sorted(by_hz or {}))
    values_s = [(by_hz or {})[hz] for hz in known_hz]
    return np.interp(np.log(mid_band_hz()), np.log(mid_band_hz(known_hz)), values_s)
