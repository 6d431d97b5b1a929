"""Whether a masker is right in shape and only turned too low or too high: one offset for all bands."""

import math
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray

LEAST_SHARE = 0.5
"""Share of bands that must be known. Chosen: a shape that is mostly hidden cannot be called right."""

LEAST_U_DB = 0.1
"""Smallest U by which a band is weighed, dB. Chosen: the step in which levels are shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonOffset:
    """One offset that explains all bands.

    Attributes
    ----------
    offset_db : float, dB
        Measured less design; positive is too loud.
    uncertainty_db : float, dB
        Expanded, k = 2.
    shape_within_db : float, dB
        Largest difference that is left in a known band once the offset is taken off.
    bands : int
        Known bands; where the background is too near, nothing is known but an upper limit.
    """

    offset_db: float
    uncertainty_db: float
    shape_within_db: float
    bands: int


def common_offset(
    difference_db: FloatArray, uncertainty_db: FloatArray, *, tolerance_db: float, least_db: float
) -> CommonOffset | None:
    """Return the offset that explains the differences of all bands, or None if none does.

    The offset is the mean of the known bands, weighed by 1/U². It explains a band if what is left
    is within the tolerance or within the band's own U. Where U is not known, the difference is an
    upper limit, and only one below the offset contradicts it.

    Parameters
    ----------
    difference_db : array, dB, shape (bands,)
        Measured less design.
    uncertainty_db : array, dB, shape (bands,)
        Expanded, k = 2; ``nan`` where the difference is an upper limit.
    tolerance_db : float, dB
        Of a band.
    least_db : float, dB
        The offset counts only if it is larger than this beyond its uncertainty.
    """
    known = np.isfinite(uncertainty_db) & np.isfinite(difference_db)
    if not known.any() or np.mean(known) < LEAST_SHARE:
        return None
    u_db = np.maximum(uncertainty_db[known], LEAST_U_DB)
    offset_db = float(np.average(difference_db[known], weights=u_db**-2.0))
    # The calibration's error is the same in all bands: many of them make the offset no surer than one.
    offset_u_db = float(u_db.min())
    left_db = np.abs(difference_db[known] - offset_db)
    lowest_limit_db = float(np.min(difference_db[~known], initial=math.inf))
    explained = bool((left_db <= np.maximum(tolerance_db, u_db)).all())
    contradicted = lowest_limit_db < offset_db - tolerance_db
    if contradicted or not explained or abs(offset_db) - offset_u_db <= least_db:
        return None
    return CommonOffset(
        offset_db=offset_db,
        uncertainty_db=offset_u_db,
        shape_within_db=float(left_db.max()),
        bands=int(known.sum()),
    )
