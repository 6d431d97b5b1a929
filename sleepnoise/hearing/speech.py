"""Whether talk from next door is understood, or heard at all.

Speech is described by the density level of its long-term spectrum; its peaks and lulls lie 15 dB
above and below. The intelligibility index is the share of those 30 dB that rises out of noise, of the
masking by lower speech sounds and of the listener's threshold, weighted by what each band is worth for
understanding.

Symbols: ``SII`` speech intelligibility index, 0 to 1; ``N`` noise, ``Z`` masking by noise and by lower speech
sounds, both as density levels in dB/Hz; ``I`` importance of a band.
"""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import NOMINAL_HZ, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import ear_noise_of, margin_db, on_model_bands

Effort = Literal["normal", "raised", "loud", "shout"]
"""How people talk."""

Target = Literal["not understood", "not heard"]
"""What a masker may be asked to do about talk."""

ANSI_S3_5 = Source(
    document="ANSI S3.5-1997", place="clause 4, one-third-octave procedure, Table 3", how_known="library"
)
PRIVACY_CLASSES = Source(
    document="Practice of speech privacy in offices",
    place="articulation index up to 0.05: confidential, 0.05 to 0.20: normal privacy",
    how_known="looked-up",
)
GOVER_BRADLEY_2004 = Source(
    document="Gover & Bradley 2004, J. Acoust. Soc. Am. 116:3480",
    place="uniformly weighted signal-to-noise ratio, limits of audibility and of intelligibility",
    how_known="memory",
)

SPEECH_BANDS_HZ = NOMINAL_HZ[9:27]
"""Bands of the index, 160 Hz to 8 kHz. Source: ANSI_S3_5."""

IMPORTANCE = np.array([
    0.0083, 0.0095, 0.0150, 0.0289, 0.0440, 0.0578, 0.0653, 0.0711, 0.0818, 0.0844, 0.0882, 0.0898, 0.0868,
    0.0844, 0.0771, 0.0527, 0.0364, 0.0185,
])  # fmt: skip
"""I, average speech. Source: ANSI_S3_5."""

SPEECH_DENSITY_DB: dict[Effort, FloatArray] = {
    "normal": np.array([
        32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01, 23.00, 20.15, 17.32, 13.18, 11.55,
        9.33, 5.31, 2.59, 1.13,
    ]),
    "raised": np.array([
        33.81, 33.92, 38.98, 38.57, 39.11, 40.15, 38.78, 36.37, 33.86, 31.89, 28.58, 25.32, 22.35, 20.15,
        16.78, 11.47, 7.67, 5.07,
    ]),
    "loud": np.array([
        35.29, 37.76, 41.55, 43.78, 43.30, 44.85, 45.55, 44.05, 42.16, 40.53, 37.70, 34.39, 30.98, 28.21,
        25.41, 18.35, 13.87, 11.39,
    ]),
    "shout": np.array([
        30.77, 36.65, 42.50, 46.51, 47.40, 49.24, 51.21, 51.44, 51.31, 49.63, 47.65, 44.32, 40.80, 38.13,
        34.41, 28.24, 23.45, 20.72,
    ]),
}  # fmt: skip
"""Standard speech 1 m in front of the talker, dB/Hz. Source: ANSI_S3_5. Libraries disagree about one value:
loud speech at 400 Hz is 43.40 in another."""

EAR_DENSITY_DB = np.array([
    0.6, -1.7, -3.9, -6.1, -8.2, -9.7, -10.8, -11.9, -12.5, -13.5, -15.4, -17.7, -21.2, -24.2, -25.9, -23.6,
    -15.8, -7.1,
])  # fmt: skip
"""Reference internal noise, dB/Hz. Source: ANSI_S3_5."""

WIDTH_DB = 15.65 + np.arange(len(SPEECH_BANDS_HZ))
"""10 lg of the bandwidth in Hz, band level over density level. Source: ANSI_S3_5."""

PEAKS_DB = 15.0
"""Peaks of speech over its long-term level. Source: ANSI_S3_5."""
RANGE_DB = 30.0
"""From the lulls of speech to its peaks. Source: ANSI_S3_5."""
SELF_MASKING_DB = 24.0
"""How far the masking by speech itself lies below it. Source: ANSI_S3_5."""

NOT_UNDERSTOOD_SII = 0.05
"""Highest index of talk that is not understood. Source: PRIVACY_CLASSES."""

UNIFORM_BANDS = slice(0, 16)
"""160 Hz to 5 kHz among the bands of the index. Source: GOVER_BRADLEY_2004."""
UNIFORM_FLOOR_DB = -32.0
"""Least signal-to-noise ratio that counts in a band. Source: GOVER_BRADLEY_2004."""
UNIFORM_HEARD_DB = -22.0
"""Uniformly weighted ratio at which talk is just heard: shown only, since it is known from memory. Source:
GOVER_BRADLEY_2004."""


MASKER_STEP_DB = 0.5
"""Spacing of masker levels that are tried. Chosen: finer than anyone can set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeechPrivacy:
    """What reaches a listener of somebody's talk.

    Attributes
    ----------
    sii : float
        Speech intelligibility index; ``nan`` where a band is not known.
    peak_margin_db : float, dB
        How far peaks of the talk rise over the limit of hearing by the band model.
    uniform_snr_db : float, dB
        Uniformly weighted signal-to-noise ratio; its limits are unverified and give no verdict.
    """

    sii: float
    peak_margin_db: float
    uniform_snr_db: float

    @property
    def understood(self) -> bool | None:
        """Whether words get across; ``None`` if it cannot be told."""
        return None if np.isnan(self.sii) else self.sii > NOT_UNDERSTOOD_SII

    @property
    def heard(self) -> bool | None:
        """Whether somebody can be heard talking; ``None`` if it cannot be told."""
        if np.isnan(self.sii) and not self.peak_margin_db > 0:
            return None
        return self.peak_margin_db > 0

    def reaches(self, target: Target) -> bool:
        """Return whether a target is surely met; what cannot be told is not."""
        return (self.understood if target == "not understood" else self.heard) is False


def talk_behind(loss: Spectrum, effort: Effort = "normal") -> Spectrum:
    """Return the band levels of talk behind a wall or a door, on ``SPEECH_BANDS_HZ``.

    Parameters
    ----------
    loss : Spectrum, dB
        Level difference from 1 m in front of the talker to the pillow. A band that is missing
        is not known.
    effort : {"normal", "raised", "loud", "shout"}
    """
    losses_db = loss.on_bands(SPEECH_BANDS_HZ, fill_db=np.nan).levels_db
    return Spectrum(nominal_hz=SPEECH_BANDS_HZ, levels_db=SPEECH_DENSITY_DB[effort] + WIDTH_DB - losses_db)


def speech_privacy(talk: Spectrum, noise: Spectrum, listener: Listener | None = None) -> SpeechPrivacy:
    """Return what a listener gets of some talk in a noise, background and masker together.

    Parameters
    ----------
    talk, noise : Spectrum, dB
        Long-term levels at the pillow; bands that are missing are not known.
    listener : Listener, optional
        A median young adult when left out.
    """
    listener = listener or Listener()
    talk_db = talk.on_bands(SPEECH_BANDS_HZ, fill_db=np.nan).levels_db
    noise_db = noise.on_bands(SPEECH_BANDS_HZ, fill_db=np.nan).levels_db
    shift_db = listener.shift_db(mid_band_hz(SPEECH_BANDS_HZ))
    peaks = Spectrum(nominal_hz=SPEECH_BANDS_HZ, levels_db=talk_db + PEAKS_DB)
    margin = margin_db(on_model_bands(peaks), on_model_bands(noise), ear_noise_db=ear_noise_of(listener))
    ratios_db = np.maximum((talk_db - noise_db)[UNIFORM_BANDS], UNIFORM_FLOOR_DB)
    return SpeechPrivacy(
        sii=intelligibility_index(talk_db - WIDTH_DB, noise_db - WIDTH_DB, shift_db),
        peak_margin_db=float(margin),
        uniform_snr_db=float(np.mean(ratios_db)),
    )


def needed_masker_dba(
    talk: Spectrum, background: Spectrum, masker: Spectrum, target: Target, *, cap_dba: float
) -> float:
    """Return the quietest level at which a masker keeps talk from being understood, or heard.

    Parameters
    ----------
    talk, background, masker : Spectrum, dB
        With the same bands; the masker is of 0 dB(A).
    target : {"not understood", "not heard"}
    cap_dba : float, dB(A)
        Loudest masker that will do.

    Returns
    -------
    float, dB(A)
        To ``MASKER_STEP_DB``; ``-inf`` when no masker is needed, ``inf`` when none up to the cap
        will do, or a band is not known.
    """
    if speech_privacy(talk, background).reaches(target):
        return -np.inf
    levels_dba = np.arange(0.0, cap_dba + MASKER_STEP_DB / 2, MASKER_STEP_DB)

    # A louder masker never uncovers talk, so the levels fall into "not yet" and "enough".
    def enough(place: int) -> bool:
        return speech_privacy(talk, background.combined(masker.attenuated(-levels_dba[place]))).reaches(
            target
        )

    place = bisect_left(range(levels_dba.size), True, key=enough)
    return float(levels_dba[place]) if place < levels_dba.size else np.inf


def intelligibility_index(
    speech_db: ArrayLike, noise_db: ArrayLike, threshold_shift_db: ArrayLike = 0.0
) -> float:
    """Return the speech intelligibility index.

    Parameters
    ----------
    speech_db, noise_db : array_like, shape (18,), dB/Hz
        Density levels on ``SPEECH_BANDS_HZ``; ``-inf`` is silence.
    threshold_shift_db : array_like, shape (18,) or scalar, dB
        Hearing loss.

    Returns
    -------
    float
        0 to 1; ``nan`` if a band is not known.

    References
    ----------
    ``ANSI_S3_5``.
    """
    speech = np.asarray(speech_db, dtype=np.float64)
    disturbance = np.maximum(
        masking_db(speech, np.asarray(noise_db, dtype=np.float64)), EAR_DENSITY_DB + threshold_shift_db
    )
    too_loud = (speech - SPEECH_DENSITY_DB["normal"] - 10.0) / 160.0
    audible = np.clip((speech - disturbance + PEAKS_DB) / RANGE_DB, 0.0, 1.0)
    return float(np.sum(IMPORTANCE * np.minimum(1.0 - too_loud, 1.0) * audible))


def masking_db(speech_db: FloatArray, noise_db: FloatArray) -> FloatArray:
    """Return the masking by noise and by lower speech sounds, Z, shape (18,), dB/Hz."""
    middle_hz = np.array(SPEECH_BANDS_HZ)
    masker_db = np.maximum(noise_db, speech_db - SELF_MASKING_DB)
    slope_db = -80.0 + 0.6 * (masker_db + 10.0 * np.log10(middle_hz) - 6.353)
    octaves = 3.32 * np.log10(0.89 * middle_hz[:, None] / middle_hz)
    with np.errstate(invalid="ignore"):
        spread = energy(masker_db + slope_db * octaves)
    # Bands mask those above them; silence masks nothing, whatever its slope.
    from_below = np.sum(np.where(masker_db > -np.inf, np.tril(spread, -1), 0.0), axis=1)
    masked_db = level(energy(noise_db) + from_below)
    masked_db[0] = masker_db[0]
    return masked_db
