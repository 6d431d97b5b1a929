"""Taking the background off levels, as far as a standard allows it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.decibels import FloatArray, level
from sleepnoise.acoustics.source import Source

ISO_16283_1 = Source(document="ISO 16283-1:2014", place="9.2, background noise", how_known="library")
ISO_10140_4 = Source(document="ISO 10140-4", place="4.3, background noise", how_known="library")
ISO_1996_2 = Source(document="ISO 1996-2:2017", place="10.4, residual sound", how_known="library")


@dataclass(frozen=True, slots=True, kw_only=True)
class BackgroundRule:
    """How a standard lets background sound be taken off.

    Attributes
    ----------
    limit_db : float, dB
        At this margin and below it no full correction is allowed.
    clear_db : float, dB
        From this margin on nothing is corrected.
    correction_at_limit_db : float, dB
        What is taken off at the limit and below it instead.
    source : Source
    """

    limit_db: float
    clear_db: float
    correction_at_limit_db: float
    source: Source


FIELD_RULE = BackgroundRule(limit_db=6.0, clear_db=10.0, correction_at_limit_db=1.3, source=ISO_16283_1)
LABORATORY_RULE = BackgroundRule(limit_db=6.0, clear_db=15.0, correction_at_limit_db=1.3, source=ISO_10140_4)
RESIDUAL_RULE = BackgroundRule(limit_db=3.0, clear_db=np.inf, correction_at_limit_db=0.0, source=ISO_1996_2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrectedLevels:
    """Levels without the background.

    Attributes
    ----------
    levels_db : ndarray, dB
    at_limit : ndarray of bool, same shape
        The true level may be lower: an insulation from it reads *at least*.
    """

    levels_db: FloatArray
    at_limit: NDArray[np.bool_]


def without_background(
    levels_db: ArrayLike, background_db: ArrayLike, rule: BackgroundRule = FIELD_RULE
) -> CorrectedLevels:
    """Take the background off levels that were measured with it.

    Parameters
    ----------
    levels_db, background_db : array_like, dB
    rule : BackgroundRule, optional
        ISO 16283-1 when left out: 6 dB and 10 dB.

    Returns
    -------
    CorrectedLevels
        Where the margin is not known, neither is the level.

    Examples
    --------
    >>> round(float(without_background(51.2, 43.2).levels_db), 2)
    50.45
    """
    levels, background = np.broadcast_arrays(
        np.asarray(levels_db, dtype=np.float64), np.asarray(background_db, dtype=np.float64)
    )
    with np.errstate(invalid="ignore"):
        margin_db = levels - background
    # Silence over silence has no margin, and nothing to take off.
    margin_db = np.where(np.isneginf(levels) & np.isneginf(background), np.inf, margin_db)
    at_limit = margin_db <= rule.limit_db
    full_db = -level(-np.expm1(-np.log(10.0) / 10.0 * np.maximum(margin_db, rule.limit_db)))
    correction_db = np.where(at_limit, rule.correction_at_limit_db, full_db)
    return CorrectedLevels(
        levels_db=levels - np.where(margin_db >= rule.clear_db, 0.0, correction_db), at_limit=at_limit
    )
