"""The quietest masker when what every band gives away is put together.

Published criteria above the limit of hearing count all bands: the root of summed squares of
``S / (kappa (N + M + Q))`` may not exceed a value. Its inverse ``F`` is concave in the masker's
energies ``M``, so that ``F >= T`` makes a convex programme. Sequential quadratic programming finds
its answer, and tangents prove it: a linear programme over them can only be too quiet, a spectrum that
covers every event only too loud. The rounds of tangents end when both agree.

Arrays have bands last, on ``MODEL_BANDS_HZ``.
"""

from typing import Any

import numpy as np
from scipy.optimize import linprog, minimize

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.hearing.audibility import EAR_NOISE_DB, LIMIT_DB, MODEL_BANDS_HZ, combined_margin_db

GAP_DB = 0.01
"""Difference in dB(A) between both bounds at which the rounds end. Chosen: a tenth of a printed digit."""

MOST_ROUNDS = 30
"""Rounds at most. Chosen: a few are usual; whenever they end, the answer covers all events."""

NEAR = 1.001
"""Events below this share of the limit get a tangent. Chosen: 0.004 dB, below ``GAP_DB``."""

LEAST_SHARE, MOST_SHARE = 1e-6, 1e3
"""Range of a band's energy, re the cover, that is searched first. Chosen: 60 dB down, 30 dB up."""

HALVINGS = 50
"""Halvings of an interval of decibels. Chosen: leaves less than the rounding of a level."""

LARGEST_LIFT_DB = 60.0
"""Largest lift that is looked for, dB. Chosen: far above what separates both bounds."""

LEVELS_DB = (-60.0, 160.0)
"""Levels between which that of a shape is looked for, dB. Chosen: beyond any that could be needed."""

_A_WEIGHTS = energy(band_weighting_db(MODEL_BANDS_HZ))


def margin_with(signal_db: FloatArray, background_db: FloatArray, masker_db: FloatArray) -> FloatArray:
    """Return the margins of all bands together with a masker, shape (events,), dB."""
    return combined_margin_db(signal_db, level(energy(background_db) + energy(masker_db)))


def quietest_together(
    signal_db: FloatArray,
    background_db: FloatArray,
    margin_db: float,
    cover_db: FloatArray,
    *,
    step_db: float,
    limits_db: FloatArray,
) -> FloatArray:
    """Return the quietest masker that covers events, all bands together.

    Parameters
    ----------
    signal_db, background_db : ndarray, shape (events, bands), dB
        Bands that are ``nan`` take no part.
    margin_db : float, dB
    cover_db : ndarray, shape (bands,), dB
        An even masker that covers all of them, ``-inf`` in bands that are not played: the rounds
        begin with it.
    step_db : float, dB
        Largest step between neighbouring bands that are played.
    limits_db : ndarray, shape (bands,), dB
        Highest level of each band; ``inf`` where there is none.

    Returns
    -------
    ndarray, shape (bands,), dB
        Within ``GAP_DB`` of the least dB(A).
    """
    tangents = _Tangents(signal_db, background_db, margin_db, cover_db, limits_db)
    weights = (_A_WEIGHTS * energy(cover_db))[tangents.played]
    rows = _step_rows(cover_db[tangents.played], step_db)
    bounds = np.zeros(len(rows))
    ranges = [(0.0, highest) for highest in tangents.highest]
    share = _guess(tangents, weights / weights.sum(), rows)
    best = min(np.ones(weights.size), tangents.lifted(share), key=lambda each: float(weights @ each))
    for _ in range(MOST_ROUNDS):
        gradients, least = tangents.at(share)
        rows, bounds = np.vstack([rows, -gradients]), np.append(bounds, -least)
        answer = linprog(weights / weights.sum(), A_ub=rows, b_ub=bounds, bounds=ranges, method="highs")
        if answer.x is None:
            break
        share = np.asarray(answer.x)
        lifted = tangents.lifted(share)
        best = min(best, lifted, key=lambda each: float(weights @ each))
        if float(level(weights @ best) - level(weights @ share)) <= GAP_DB:
            break
    quietest_db = cover_db.copy()
    quietest_db[tangents.played] += level(best)
    return quietest_db


def quietest_level(
    signal_db: FloatArray, background_db: FloatArray, margin_db: float, shape_db: FloatArray
) -> float:
    """Return the least level at which a masker of a given shape covers events, dB.

    Parameters
    ----------
    signal_db, background_db : ndarray, shape (events, bands), dB
    margin_db : float, dB
    shape_db : ndarray, shape (bands,), dB
        The masker at level 0.

    Returns
    -------
    float, dB
        ``-inf`` if none is needed, ``inf`` if there is none.
    """

    def covers(level_db: float) -> bool:
        # Events of which nothing is known ask for nothing.
        return not (margin_with(signal_db, background_db, shape_db + level_db) > margin_db).any()

    if covers(-np.inf):
        return -np.inf
    low_db, high_db = LEVELS_DB
    if not covers(high_db):
        return np.inf
    for _ in range(HALVINGS):
        middle_db = (low_db + high_db) / 2
        low_db, high_db = (low_db, middle_db) if covers(middle_db) else (middle_db, high_db)
    return high_db


class _Tangents:
    """The rows ``F >= T`` of all events, as functions of shares of a masker that covers them."""

    def __init__(
        self,
        signal_db: FloatArray,
        background_db: FloatArray,
        margin_db: float,
        cover_db: FloatArray,
        limits_db: FloatArray,
    ) -> None:
        self.played = np.flatnonzero(np.isfinite(cover_db))
        known = ~(np.isnan(signal_db) | np.isnan(background_db))
        self._signal = np.where(known, energy(signal_db), 0.0) / energy(LIMIT_DB)
        self._noise = np.where(known, energy(background_db), 0.0) + energy(EAR_NOISE_DB)
        self._cover = energy(cover_db)[self.played]
        self.highest = energy((limits_db - cover_db)[self.played])
        self._target = float(energy(-margin_db))

    def at(self, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return gradients, shape (rows, played), and what they must reach, of events near the limit."""
        values, gradients = self.values(share)
        near = values < NEAR
        rows = near if near.any() else np.ones_like(near)
        return gradients[rows], 1.0 - values[rows] + gradients[rows] @ share

    def values(self, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ``F / T`` of events that are heard at all, and its gradients, shape (rows, played)."""
        over, noise = self._over(share)
        heard = (over > 0.0).any(axis=-1)
        over, relative = over[heard], self._cover / noise[heard][:, self.played]
        total = self._inverse(over)
        gradients = total[:, None] ** 3 * over[:, self.played] ** 2 * relative
        return total / self._target, gradients / self._target

    def lifted(self, share: FloatArray) -> FloatArray:
        """Return shares raised by one factor, as little as covers every event, none above its limit."""
        low_db, high_db = 0.0, LARGEST_LIFT_DB
        if self._covers(share):
            return share
        for _ in range(HALVINGS):
            middle_db = (low_db + high_db) / 2
            if self._covers(np.minimum(share * energy(middle_db), self.highest)):
                high_db = middle_db
            else:
                low_db = middle_db
        raised = np.minimum(share * energy(high_db), self.highest)
        return raised if self._covers(raised) else np.ones_like(share)

    def _covers(self, share: FloatArray) -> bool:
        return bool((self._inverse(self._over(share)[0]) >= self._target).all())

    def _over(self, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return signal over limit and the noise that hides it, shape (events, bands) each."""
        noise = self._noise.copy()
        noise[:, self.played] += share * self._cover
        return self._signal / noise, noise

    @staticmethod
    def _inverse(over: FloatArray) -> FloatArray:
        """Return F, shape (events,); ``inf`` for silence."""
        squares = np.sum(over**2, axis=-1)
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / np.sqrt(squares))


def _guess(tangents: _Tangents, weights: FloatArray, steps: FloatArray) -> FloatArray:
    """Return shares near the quietest ones, by sequential quadratic programming; the rounds mend them."""
    inequalities = (
        {
            "type": "ineq",
            "fun": lambda share: tangents.values(share)[0] - 1.0,
            "jac": lambda share: tangents.values(share)[1],
        },
        {"type": "ineq", "fun": lambda share: -steps @ share, "jac": lambda _share: -steps},
    )
    how: dict[str, Any] = {
        "jac": lambda _share: weights,
        "bounds": [(LEAST_SHARE, min(float(highest), MOST_SHARE)) for highest in tangents.highest],
        "constraints": inequalities,
        "method": "SLSQP",
        "options": {"maxiter": 200, "ftol": 1e-8},
    }

    def loudness(share: FloatArray) -> float:
        return float(weights @ share)

    found = minimize(loudness, np.ones(weights.size), **how)
    return np.asarray(np.clip(found.x, LEAST_SHARE, tangents.highest))


def _step_rows(cover_db: FloatArray, step_db: float) -> FloatArray:
    """Return rows that are at most 0 where shares of a cover step too far from band to band."""
    bands = cover_db.size
    rows = np.zeros((2 * (bands - 1), bands))
    for row, (band, other) in enumerate(
        pair for lower in range(bands - 1) for pair in ((lower, lower + 1), (lower + 1, lower))
    ):
        rows[row, band] = 1.0
        rows[row, other] = -float(energy(step_db + cover_db[other] - cover_db[band]))
    return rows
