"""A third-octave spectrum: one level for each band, with the bands' names.

No operators on purpose: dB are never added with ``+``. Verbs instead.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine
from sleepnoise.acoustics.weighting import Weighting, band_weighting_db


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Third-octave band levels.

    Attributes
    ----------
    nominal_hz : tuple of float
        Nominal mid-band frequencies, rising, each one of ``NOMINAL_HZ``.
    levels_db : ndarray, shape (bands,), dB
        Read-only. ``-inf`` is silence, ``nan`` is not known.
    """

    nominal_hz: tuple[float, ...]
    levels_db: FloatArray

    def __post_init__(self) -> None:
        locked = np.array(self.levels_db, dtype=np.float64)
        if locked.shape != (len(self.nominal_hz),):
            raise ValueError(f"{len(self.nominal_hz)} bands need as many levels, got shape {locked.shape}.")
        unknown = set(self.nominal_hz) - set(NOMINAL_HZ)
        if unknown or list(self.nominal_hz) != sorted(set(self.nominal_hz)):
            raise ValueError(
                f"bands must be rising third octaves between 20 Hz and 20 kHz, got {self.nominal_hz}."
            )
        locked.flags.writeable = False
        object.__setattr__(self, "levels_db", locked)

    def attenuated(self, loss_db: ArrayLike) -> Self:
        """Return what is left behind a loss, one value or one a band, dB."""
        return type(self)(nominal_hz=self.nominal_hz, levels_db=self.levels_db - np.asarray(loss_db))

    def combined(self, other: "Spectrum") -> Self:
        """Return both sounds heard together; both must have the same bands."""
        if other.nominal_hz != self.nominal_hz:
            raise ValueError("only spectra with the same bands can be combined.")
        levels_db = combine(np.stack([self.levels_db, other.levels_db]), axis=0)
        return type(self)(nominal_hz=self.nominal_hz, levels_db=levels_db)

    def on_bands(self, nominal_hz: tuple[float, ...], fill_db: float = -np.inf) -> Self:
        """Return the same levels on other bands; bands that were missing get *fill_db*."""
        known = dict(zip(self.nominal_hz, self.levels_db, strict=True))
        levels_db = np.array([known.get(nominal, fill_db) for nominal in nominal_hz])
        return type(self)(nominal_hz=nominal_hz, levels_db=levels_db)

    def weighted_level(self, weighting: Weighting = "A") -> float:
        """Return the weighted level of all bands together, dB.

        Weights are taken at exact mid-band frequencies, as is usual for band data.
        """
        return float(combine(self.levels_db + band_weighting_db(self.nominal_hz, weighting)))
