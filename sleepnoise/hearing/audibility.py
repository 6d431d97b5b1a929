"""Whether a sound can be heard in another one, third octave by third octave.

A sound is audible in a band when its energy exceeds a fixed share of everything that hides
it there: ``S > kappa (N + Q)``, with the noise ``N`` and the ear's own noise ``Q``, which is
set so that in silence the limit is the threshold of hearing. The margin is how far the best
band lies above that limit. Linear in ``S`` and ``N``, so isolation and masking can be
weighed against each other.

Symbols: ``c`` = 10 lg kappa in dB, ``m`` margin in dB, ``d'`` detectability index,
``D'L`` = 10 lg d'.

Arrays have bands last, shape ``(..., bands)``, on ``MODEL_BANDS_HZ``. ``-inf`` is silence.
A band that is ``nan`` in the sound or in the noise is not known: it takes no part, and the
margin is ``nan`` only where no band is known.
"""

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.ageing import Listener

AGENCY_ROUTINE = Source(
    document="Detectability routine of the US Air Force range prediction program (AFWAL-TR-83-3115, 1983)",
    place="efficiencies and masking bandwidths of the 2004 revision in Fortran",
    how_known="looked-up",
)
ISO_389_7 = Source(
    document="ISO 389-7:2019", place="reference threshold of hearing, diffuse field", how_known="looked-up"
)
DETECTION = Source(
    document="Signal detection theory", place="50 % hits at 1 % false alarms: d' = 2.33", how_known="computed"
)
AGENCY_CRITERIA = Source(
    document="Audibility criteria of US aviation and park agencies",
    place="D'L of 7 and 17 dB",
    how_known="memory",
)
BAND_NOISE_SCATTER = Source(
    document="Bendat & Piersol, Random Data", place="error of mean squares, 1/sqrt(BT)", how_known="memory"
)

STANCHINA_2005 = Source(
    document="Stanchina et al. 2005, Sleep Medicine 6:423-428",
    place="rise from baseline to peak at an arousal, 17.7 and 17.5 dB, five sleepers",
    how_known="looked-up",
)

MODEL_BANDS_HZ = NOMINAL_HZ[:-2]
"""Bands of the model, 20 Hz to 12.5 kHz; 16 and 20 kHz are left out, for which there are no efficiencies
and where the threshold of most adults lies far above any bedroom's level. Source: ISO_389_7."""

THRESHOLD_DB = np.array([
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.4, 5.8, 3.8, 2.1, 1.0, 0.8,
    1.9, 0.5, -1.5, -3.1, -4.0, -3.8, -1.8, 2.5, 6.8, 8.4, 14.4,
])  # fmt: skip
"""Threshold of hearing of otologically normal young adults, 20 Hz to 12.5 kHz. Source: ISO_389_7."""

EFFICIENCY_DB = np.array([
    -6.96, -6.26, -5.56, -5.06, -4.66, -4.36, -4.16, -3.96, -3.76, -3.56, -3.56, -3.56, -3.56, -3.56, -3.76,
    -3.96, -4.16, -4.36, -4.56, -4.96, -5.36, -5.76, -6.26, -6.86,
])  # fmt: skip
"""10 lg of the detector's efficiency, 50 Hz to 10 kHz. Source: AGENCY_ROUTINE."""

WIDE_MASKING_BANDS_DB = np.array([12.1, 12.3])
"""10 lg of the masking bandwidth at 50 and 63 Hz, wider than the third octave. Source: AGENCY_ROUTINE."""

DETECTABILITY_LIMIT = 2.32
"""d' at which a sound counts as heard, as the agencies round it. Source: DETECTION."""

DETECTABILITY_LIMIT_DB = 10 * float(np.log10(DETECTABILITY_LIMIT))
"""D'L at the limit of hearing, 3.65 dB: ``D'L = m + 3.65``. Source: DETECTION."""

INAUDIBLE_DB = 0.0
"""Margin at the limit of hearing: nothing is heard. Source: DETECTION."""
HARDLY_AUDIBLE_DB = 7.0 - DETECTABILITY_LIMIT_DB
"""Margin that somebody who listens for it just notices. Source: AGENCY_CRITERIA."""
NOT_NOTICEABLE_DB = 17.0 - DETECTABILITY_LIMIT_DB
"""Margin that somebody busy with something else does not notice. Source: AGENCY_CRITERIA.

Both read D'L from the strongest band alone. A broadband sound that is equally strong in n bands has a
combined D'L higher by 5 lg n, 5 dB for ten bands; ``combined_margin_db`` counts that in."""

TARGETS_DB = {
    "inaudible": INAUDIBLE_DB,
    "hardly audible": HARDLY_AUDIBLE_DB,
    "not noticeable": NOT_NOTICEABLE_DB,
}
"""Our names for the margins that a plan may aim at, strictest first."""

EMERGENCE_LIMIT_DB = 15.0
"""Rise of LAFmax over background and masker together that a plan may aim at. Chosen: 2.5 dB below the rise at
which five sleepers were aroused (STANCHINA_2005); so few people in one laboratory are no safe ground."""

MODEL_UNCERTAINTY_DB = 3.0
"""Published masked thresholds and models differ by up to 2.5 dB from their middle from 125 Hz to 8 kHz.
Chosen: that, rounded up."""

LONG_STEPS_BELOW_HZ = 200.0
"""Bands below are read over ``LONG_STEP_S`` at least. Chosen: here a steady third octave scatters by 2 dB and
more in 125 ms, nearly as much as the model is uncertain."""

LONG_STEP_S = 0.5
"""Shortest averaging in low bands, s. Chosen: it halves the scatter of 125 ms."""

STEADY_SCATTER_DEVIATIONS = 3.0
"""How far a steady background's own maxima are allowed for, standard deviations. Chosen: in simulated events
of 2 to 80 s of background alone, 3 let fewer than 1 % pass as audible, 2.5 up to 16 %, none at all 100 %."""


def _limits_db() -> FloatArray:
    """Return 10 lg kappa; the outermost known value is held, since there the threshold decides."""
    lower_hz, upper_hz = band_edges_hz(MODEL_BANDS_HZ[4:-1])
    bandwidths_db = level(upper_hz - lower_hz)
    bandwidths_db[:2] = WIDE_MASKING_BANDS_DB
    known_db = DETECTABILITY_LIMIT_DB - EFFICIENCY_DB - bandwidths_db / 2
    return np.pad(known_db, (4, 1), mode="edge")


LIMIT_DB = _limits_db()
"""10 lg kappa, shape (bands,): signal over noise at the limit of hearing, dB. Source: AGENCY_ROUTINE."""

EAR_NOISE_DB = THRESHOLD_DB - LIMIT_DB
"""10 lg Q, shape (bands,): the ear's own noise as a band level, dB. Source: ISO_389_7."""


def on_model_bands(spectrum: Spectrum) -> FloatArray:
    """Return a spectrum's levels on the model's bands, shape (bands,); what it lacks is ``nan``."""
    return spectrum.on_bands(MODEL_BANDS_HZ, fill_db=np.nan).levels_db


def ear_noise_of(listener: Listener) -> FloatArray:
    """Return a listener's own noise, shape (bands,), dB: what limits hearing in silence rises with age."""
    return EAR_NOISE_DB + listener.shift_db(mid_band_hz(MODEL_BANDS_HZ))


def with_ear_noise_of(listener: Listener, noise_db: ArrayLike) -> FloatArray:
    """Return a noise with what a listener's own noise adds to that of a young adult, same shape, dB.

    What is not known stays unknown. Who hears better than a young adult is not told apart from one.
    """
    added = np.maximum(energy(ear_noise_of(listener)) - energy(EAR_NOISE_DB), 0.0)
    return level(energy(noise_db) + added)


def margin_db(
    signal_db: ArrayLike, noise_db: ArrayLike, *, ear_noise_db: FloatArray = EAR_NOISE_DB
) -> FloatArray:
    r"""Return how far a sound lies above the limit of hearing it in a noise.

    Parameters
    ----------
    signal_db : array_like, shape (..., bands), dB re 20 µPa
        The sound alone.
    noise_db : array_like, shape (..., bands), dB re 20 µPa
        Everything else that is heard with it; broadcast against *signal_db*.
    ear_noise_db : ndarray, shape (bands,), dB
        From :func:`ear_noise_of`; that of a young adult, the most sensitive one, when left out.

    Returns
    -------
    ndarray, shape (...), dB
        :math:`\max_i 10 \lg [S_i / (\kappa_i (N_i + Q_i))]`: positive is audible, ``-inf``
        for silence.

    Notes
    -----
    Without spread of masking between bands, which is worth less than 1 dB for smooth noises;
    leaving it out errs towards "audible". Two float32 arrays are worked out in single
    precision, which is good to 0.0001 dB and takes 0.04 s for a night of 230,400 steps.

    Examples
    --------
    A 1 kHz tone at the threshold of hearing, in silence:

    >>> tone_db = np.where(np.array(MODEL_BANDS_HZ) == 1000, 0.8, -np.inf)
    >>> round(float(margin_db(tone_db, np.full(29, -np.inf))), 2)
    0.0
    """
    return level(np.fmax.reduce(_over_limit(signal_db, noise_db, ear_noise_db), axis=-1))


def combined_margin_db(
    signal_db: ArrayLike, noise_db: ArrayLike, *, ear_noise_db: FloatArray = EAR_NOISE_DB
) -> FloatArray:
    r"""Return the margin when what every band gives away is put together.

    Parameters and shapes are those of :func:`margin_db`, and so are the targets: the agencies'
    total ``D'L`` is the result + 3.65 dB.

    Returns
    -------
    ndarray, shape (...), dB
        :math:`5 \lg \sum_i [S_i / (\kappa_i (N_i + Q_i))]^2`, never below the margin.

    Notes
    -----
    A sound that lies equally far below the limit in every band would be called audible when
    it raises the total level by as little as 0.3 dB. So the single-band margin decides about
    *inaudible*, and this one checks the other targets.
    """
    over = _over_limit(signal_db, noise_db, ear_noise_db).astype(np.float64)
    combined_db = level(np.nansum(over**2, axis=-1)) / 2
    return np.where(np.isnan(over).all(axis=-1), np.nan, combined_db)


def deciding_bands(
    signal_db: ArrayLike, noise_db: ArrayLike, *, ear_noise_db: FloatArray = EAR_NOISE_DB
) -> FloatArray:
    r"""Return in how many bands a sound is heard about equally well, shape (...).

    :math:`n = (\sum d'^2_i)^2 / \sum d'^4_i`: 1 for a tone; :math:`5 \lg n` is about what
    putting bands together adds to the margin. ``nan`` for silence.
    """
    squares = _over_limit(signal_db, noise_db, ear_noise_db).astype(np.float64) ** 2
    with np.errstate(invalid="ignore"):
        return np.asarray(np.nansum(squares, axis=-1) ** 2 / np.nansum(squares**2, axis=-1))


def _over_limit(signal_db: ArrayLike, noise_db: ArrayLike, ear_noise_db: FloatArray) -> np.ndarray:
    """Return ``S / (kappa (N + Q))`` by band; of single precision if both sounds are."""
    signal, noise = np.asarray(signal_db), np.asarray(noise_db)
    dtype = np.result_type(signal, noise, np.float32)
    per_db = dtype.type(np.log(10) / 10)
    hidden = np.exp(noise * per_db)
    hidden = (hidden + energy(ear_noise_db).astype(dtype)) * energy(LIMIT_DB).astype(dtype)
    return np.asarray(np.exp(signal * per_db) / hidden)


def emergence_db(lafmax: ArrayLike, background_dba: ArrayLike, masker_dba: ArrayLike = -np.inf) -> FloatArray:
    """Return how far events rise above background and masker together, dB; broadcast.

    Examples
    --------
    >>> round(float(emergence_db(55.0, 30.0, 37.0)), 1)
    17.2
    """
    noise_dba = level(energy(background_dba) + energy(masker_dba))
    return np.asarray(np.asarray(lafmax, dtype=np.float64) - noise_dba)


def event_signal(maxima_db: ArrayLike, background_db: ArrayLike, averaging_s: ArrayLike) -> FloatArray:
    r"""Return the band levels of an event alone, without the background it was heard in.

    Parameters
    ----------
    maxima_db : array_like, shape (..., bands), dB
        Highest level of each band within the event.
    background_db : array_like, shape (..., bands), dB
        Equivalent level of the background.
    averaging_s : array_like, shape (bands,) or scalar, s
        Time over which each maximum was averaged.

    Returns
    -------
    ndarray, shape (..., bands), dB
        ``-inf`` where the band never rose above what the background alone reaches.

    Raises
    ------
    ValueError
        If a band below ``LONG_STEPS_BELOW_HZ`` was averaged for less than ``LONG_STEP_S``.

    Notes
    -----
    Energies are subtracted. The level of a *steady* noise scatters by
    :math:`4.34 / \sqrt{B T}` dB, and the highest of many readings lies some deviations up:
    with its mean alone taken off, a background would be called audible in itself. So its
    level is raised by ``STEADY_SCATTER_DEVIATIONS`` first. At 10 dB over the background and
    1 kHz this takes 0.4 dB off an event.

    References
    ----------
    ``BAND_NOISE_SCATTER``; in dB, 10 / ln 10 = 4.34 times that.
    """
    lower_hz, upper_hz = band_edges_hz(MODEL_BANDS_HZ)
    seconds = np.broadcast_to(np.asarray(averaging_s, dtype=np.float64), lower_hz.shape)
    low = np.array(MODEL_BANDS_HZ) < LONG_STEPS_BELOW_HZ
    if (seconds[low] < LONG_STEP_S).any():
        raise ValueError(
            f"bands below {LONG_STEPS_BELOW_HZ:g} Hz must be averaged over {LONG_STEP_S:g} s or more, "
            f"got {seconds[low].min():g} s."
        )
    scatter_db = 10 / np.log(10) / np.sqrt((upper_hz - lower_hz) * seconds)
    ceiling_db = np.asarray(background_db, dtype=np.float64) + STEADY_SCATTER_DEVIATIONS * scatter_db
    return level(np.maximum(energy(maxima_db) - energy(ceiling_db), 0.0))
