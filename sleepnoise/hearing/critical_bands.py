"""Loudness by critical bands, the other method of the standard.

Third octaves are gathered into twenty critical bands; each has a core loudness, which towards higher
bands falls off only gradually. It is quicker than excitation along the inner ear and widely used, and
knows no masker: a second figure for how loud a steady sound is.

Symbols: ``N`` loudness in sone, ``N'`` specific loudness in sone/Bark, ``z`` critical-band rate in Bark.
"""

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine, energy
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.excitation import Field

ISO_532_1 = Source(
    document="ISO 532-1:2017", place="clause 5 and Annex A, Tables A.2 to A.9", how_known="library"
)

SONE_BANDS_HZ = NOMINAL_HZ[1:-2]
"""Bands of the method, 25 Hz to 12.5 kHz. Source: ISO_532_1."""

LOW_RANGE_DB = np.array([45.0, 55.0, 65.0, 71.0, 80.0, 90.0, 100.0, 120.0])
"""Weighted levels up to which each row of ``LOW_WEIGHT_DB`` holds. Source: ISO_532_1."""

LOW_WEIGHT_DB = np.array([
    [-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0],
    [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
    [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0],
    [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
    [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0],
    [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
    [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0],
    [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0],
], dtype=np.float64)  # fmt: skip
"""Weights of the bands 25 to 250 Hz after contours of equal loudness, dB. Source: ISO_532_1."""

LOW_GROUPS = (slice(0, 6), slice(6, 9), slice(9, 11))
"""Third octaves of the three lowest critical bands. Source: ISO_532_1."""

QUIET_DB = np.array([30, 18, 12, 8, 7, 6, 5, 4, *[3] * 12], dtype=np.float64)
"""Threshold of hearing in the critical bands without the outer ear, dB. Source: ISO_532_1."""

EAR_LOSS_DB = np.array([
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -0.5, -1.6, -3.2, -5.4, -5.6, -4.0, -1.5, 2.0, 5.0, 12.0,
])  # fmt: skip
"""Loss on the way into the ear, dB. Source: ISO_532_1."""

DIFFUSE_DB = np.array([
    0, 0, 0.5, 0.9, 1.2, 1.6, 2.3, 2.8, 3.0, 2.0, 0, -1.4, -2.0, -1.9, -1.0, 0.5, 3.0, 4.0, 4.3, 4.0,
])  # fmt: skip
"""A diffuse field's level over that of a free field as loud, dB. Source: ISO_532_1."""

WIDTH_DB = np.array([
    -0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5,
])  # fmt: skip
"""Third octave's level over its critical band's, dB. Source: ISO_532_1."""

UPPER_EDGE_BARK = (
    0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3, 13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7,
    23.6, 24.0,
)  # fmt: skip
"""Upper edges of the critical bands and of the rest above them. Source: ISO_532_1."""

EDGE_SURPLUS_BARK = 0.0001
"""What the standard's program adds to every upper edge; its check value needs it. Source: ISO_532_1."""

SLOPE_FROM_SONE = (
    21.5, 18.0, 15.1, 11.5, 9.0, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10, 0.035, 0.0,
)  # fmt: skip
"""Specific loudness from which each row of ``SLOPE`` holds, sone/Bark. Source: ISO_532_1."""

SLOPE = (
    (13.0, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5),
    (9.0, 7.5, 6.0, 5.1, 4.5, 4.5, 4.5, 4.5),
    (7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9),
    (6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2),
    (4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7),
    (3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2),
    (2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7),
    (2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3),
    (1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1),
    (1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82),
    (0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62),
    (0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42),
    (0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22),
    (0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17),
    (0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11),
    (0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08),
    (0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05),
    (0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02),
)
"""How specific loudness falls towards higher bands, sone/Bark a Bark; columns are bands, the last one holds
for all that follow. Source: ISO_532_1."""


def critical_band_sone(sound: Spectrum, field: Field = "diffuse") -> float:
    """Return the loudness of a steady sound, sone; bands that are not known take no part.

    References
    ----------
    ``ISO_532_1``. For levels up to 120 dB.
    """
    levels_db = sound.on_bands(SONE_BANDS_HZ).levels_db
    return _with_slopes(core_loudness(np.where(np.isnan(levels_db), -np.inf, levels_db), field))


def core_loudness(levels_db: FloatArray, field: Field) -> FloatArray:
    """Return the specific loudness within the critical bands, shape (20,), sone/Bark.

    Parameters
    ----------
    levels_db : ndarray, shape (28,), dB
        On ``SONE_BANDS_HZ``.
    field : {"diffuse", "free"}
    """
    low_db = levels_db[: LOW_WEIGHT_DB.shape[1]]
    row = np.sum(low_db + LOW_WEIGHT_DB > LOW_RANGE_DB[:, None], axis=0)
    weighted_db = low_db + LOW_WEIGHT_DB[np.minimum(row, len(LOW_RANGE_DB) - 1), np.arange(low_db.size)]
    gathered_db = [combine(weighted_db[group]) for group in LOW_GROUPS]
    band_db = np.concatenate([gathered_db, levels_db[low_db.size :]]) - EAR_LOSS_DB
    band_db += DIFFUSE_DB if field == "diffuse" else 0.0
    over_db = np.where(band_db > QUIET_DB, band_db - WIDTH_DB - QUIET_DB, -np.inf)
    core = (
        0.0635 * 10.0 ** (0.025 * QUIET_DB) * np.maximum((0.75 + 0.25 * energy(over_db)) ** 0.25 - 1.0, 0.0)
    )
    # Within the lowest band the threshold falls steeply.
    core[0] *= min(1.0, 0.4 + 0.32 * core[0] ** 0.2)
    return np.asarray(core)


def _with_slopes(core: FloatArray) -> float:
    """Return the area under core loudness and its slopes, sone.

    The pattern is followed upwards. Where it lies above a band's core loudness it falls, at a rate that
    changes as it passes the values of ``SLOPE_FROM_SONE``; where it lies below, it jumps up.
    """
    total = place = height = 0.0
    row = 0
    for band, (upper, level) in enumerate(zip(UPPER_EDGE_BARK, [*core.tolist(), 0.0], strict=True)):
        edge = upper + EDGE_SURPLUS_BARK
        column = min(max(band - 1, 0), len(SLOPE[0]) - 1)
        while height > level and place < edge:
            fall, after = SLOPE[row][column], max(SLOPE_FROM_SONE[row], level)
            width = (height - after) / fall
            if width > edge - place:
                width, after = edge - place, height - (edge - place) * fall
            total += width * (height + after) / 2
            place, height = place + width, after
            row += height <= SLOPE_FROM_SONE[row] and row < len(SLOPE) - 1
        if place < edge:
            total += (edge - place) * level
            place, height = edge, level
            row = next(i for i, least in enumerate(SLOPE_FROM_SONE) if least <= level)
    return total
