"""A door test as a ladder: the same steady sound, the same places, one change at a time.

What a step *removed* is bookkeeping of energies in the order in which the steps were made. It is
no proof of separate paths: a curtain works in series with door and gaps, and the same seals
fitted first would have shown another number of decibels. Say the order whenever you say a step.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.fieldwork.background import FIELD_RULE, BackgroundRule, without_background


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ladder:
    """Levels behind a door after each step, background taken off.

    Attributes
    ----------
    titles : tuple of str
        Steps in the order in which they were made.
    levels_db : ndarray, shape (steps,) or (steps, bands), dB
    at_limit : ndarray of bool, same shape
        The true level may be lower.
    """

    titles: tuple[str, ...]
    levels_db: FloatArray
    at_limit: NDArray[np.bool_]

    def gain_db(self, first: int, last: int) -> FloatArray:
        """Return how much quieter step *last* is than step *first*, dB; ``nan`` if *first* is a limit."""
        gain_db = self.levels_db[first] - self.levels_db[last]
        return np.where(self.at_limit[first], np.nan, gain_db)

    def step_gains_db(self) -> FloatArray:
        """Return the gain of each step over the one before, shape (steps - 1, ...), dB."""
        return np.stack([self.gain_db(step, step + 1) for step in range(len(self.titles) - 1)])

    def gain_is_least(self, last: int) -> NDArray[np.bool_]:
        """Whether gains up to a step read *at least*."""
        return np.asarray(self.at_limit[last])

    def removed_db(self) -> FloatArray:
        """Return what each step took away as a level of its own, dB; ``nan`` where it got louder."""
        removed = -np.diff(energy(self.levels_db), axis=0)
        return level(np.where(removed >= 0.0, removed, np.nan))

    def removed_share(self, first: int) -> FloatArray:
        """Return each later step's part of the energy of step *first*; negative where it got louder.

        Returns
        -------
        ndarray, shape (steps - first - 1, ...)
            Together with ``left_share`` they add up to 1.
        """
        energies = energy(self.levels_db[first:] - self.levels_db[first])
        return -np.diff(energies, axis=0)

    def left_share(self, first: int) -> FloatArray:
        """Return the part of the energy of step *first* that is left after the last step."""
        return energy(self.levels_db[-1] - self.levels_db[first])


def ladder(
    titles: tuple[str, ...],
    levels_db: ArrayLike,
    background_db: ArrayLike = -np.inf,
    rule: BackgroundRule = FIELD_RULE,
) -> Ladder:
    """Return the ladder of a door test.

    Parameters
    ----------
    titles : tuple of str, steps
        Such as ``("open", "closed", "closed and curtain")``; at least two.
    levels_db : array_like, shape (steps,) or (steps, bands), dB
        Measured on the quiet side.
    background_db : array_like, dB
        The same places without the source: one value, one a band or one a step and band.
    rule : BackgroundRule, optional

    Raises
    ------
    ValueError
        If titles and levels do not belong together.
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    if levels.ndim == 0 or len(titles) != len(levels) or len(titles) < 2:
        raise ValueError(
            f"a ladder needs at least two steps, each with a level, got {len(titles)} and {levels.shape}."
        )
    corrected = without_background(levels, background_db, rule)
    return Ladder(titles=titles, levels_db=corrected.levels_db, at_limit=corrected.at_limit)


def loudness_ratio(gain_db: ArrayLike) -> FloatArray:
    """Return how loud the rest seems beside what was: 10 dB less is about half as loud.

    Common practice for steady broadband sound well above threshold; faint and low-pitched sounds
    shrink faster.

    Examples
    --------
    >>> round(float(loudness_ratio(10.0)), 2)
    0.5
    """
    return np.asarray(2.0 ** (-np.asarray(gain_db, dtype=np.float64) / 10.0))
