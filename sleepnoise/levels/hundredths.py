"""Levels as whole hundredths of a decibel: half the memory of floats, a fifth of the file.

No meter is good to a hundredth of a decibel. Two values are kept back for what is no level.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

LevelArray = NDArray[np.float32]
HundredthsArray = NDArray[np.int16]

SCALE = 100
"""Steps in a decibel. Chosen: a hundredth is finer than any meter, and fits 16 bits up to 327 dB."""

SILENCE = -32768
"""Stands for -inf, digital silence. Chosen: the lowest 16-bit number, as -inf is the lowest level."""

NOT_KNOWN = 32767
"""Stands for nan, not known. Chosen: the highest 16-bit number, which no level reaches."""


def hundredths(levels_db: ArrayLike) -> HundredthsArray:
    """Return levels in dB as whole hundredths, ``SILENCE`` and ``NOT_KNOWN`` for what is no level.

    Examples
    --------
    >>> hundredths([30.004, -np.inf, np.nan]).tolist()
    [3000, -32768, 32767]
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        steps = np.clip(np.rint(levels * SCALE), SILENCE + 1, NOT_KNOWN - 1)
    steps[np.isneginf(levels)] = SILENCE
    steps[np.isnan(levels)] = NOT_KNOWN
    return steps.astype(np.int16)


class BandLevels:
    """Third-octave levels of a history: kept as hundredths, read as decibels.

    Parameters
    ----------
    kept : ndarray, shape (bands, ticks), int16
        Not copied, and read-only from now on.

    Notes
    -----
    Indexing gives float32 arrays, dB, as an array of levels would; only the part asked for is
    turned into floats. A night of bands is the largest thing in memory.

    Examples
    --------
    >>> BandLevels(hundredths([[30.0, 31.5], [20.0, -np.inf]]))[1].tolist()
    [20.0, -inf]
    """

    __slots__ = ("kept",)

    def __init__(self, kept: HundredthsArray) -> None:
        kept.flags.writeable = False
        self.kept = kept

    @property
    def shape(self) -> tuple[int, ...]:
        """Bands and ticks."""
        return self.kept.shape

    def __len__(self) -> int:
        return len(self.kept)

    def __iter__(self) -> Iterator[LevelArray]:
        return (self[band] for band in range(len(self)))

    def __getitem__(self, key: Any) -> LevelArray:
        part = np.asarray(self.kept[key])
        levels = part.astype(np.float32) / np.float32(SCALE)
        levels[part == SILENCE] = -np.inf
        levels[part == NOT_KNOWN] = np.nan
        return levels

    def __array__(self, dtype: DTypeLike | None = None, copy: bool | None = None) -> NDArray[Any]:
        if copy is False:
            raise ValueError("band levels are kept as hundredths: decibels are always a copy.")
        return self[:].astype(dtype or np.float32, copy=False)


def part_of(bands: BandLevels | LevelArray, first: int, last: int) -> BandLevels | LevelArray:
    """Return ticks ``first <= t < last`` of band levels (a view, nothing copied)."""
    return BandLevels(bands.kept[:, first:last]) if isinstance(bands, BandLevels) else bands[:, first:last]
