"""Steady masking sounds: their spectra, how loud they may be, and the one that fits the events.

A shape is a spectrum normalised to 0 dB(A), so that its level is one number. Every masker
that this package proposes comes out of ``MaskerShape.at``, which refuses what is too loud.

Arrays have bands last, shape ``(..., bands)``, on ``MODEL_BANDS_HZ``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import ProfileError
from sleepnoise.hearing.audibility import EAR_NOISE_DB, LIMIT_DB, MODEL_BANDS_HZ
from sleepnoise.masking.limits import check_masker_level
from sleepnoise.profiles.files import read_masker, shipped_profiles
from sleepnoise.profiles.schema import MaskerProfile

NEIGHBOUR_STEP_DB = 3.0
"""Largest step between neighbouring bands of a fitted masker. Chosen: evenness matters to comfort as much as
the contour, and 3 dB stays clear of anything that sounds like a tone."""

SHAPED = "shaped to the events"
"""Name of the fitted shape among the standard ones."""

_A_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerShape:
    """The shape of a masking sound.

    Attributes
    ----------
    name : str
    spectrum : Spectrum
        On ``MODEL_BANDS_HZ`` and normalised to 0 dB(A), or all ``-inf``: no sound.
    """

    name: str
    spectrum: Spectrum

    def at(self, level_dba: float) -> Spectrum:
        """Return the masker at an A-weighted level; ``-inf`` is no masker.

        Raises
        ------
        SettingsError
            Above ``HARD_CAP_DBA``.
        """
        check_masker_level(level_dba, f"masker {self.name!r}")
        return self.spectrum.attenuated(-level_dba)


def masker_shapes() -> tuple[MaskerShape, ...]:
    """Return the shapes of every shipped masker profile, by name."""
    return tuple(
        shape_from_profile(profile.name, read_masker(profile.path)) for profile in shipped_profiles("masker")
    )


def shape_from_profile(name: str, profile: MaskerProfile) -> MaskerShape:
    """Return the shape that a profile describes.

    Raises
    ------
    ProfileError
        If no band of the audibility model lies between its frequencies.
    """
    nominal_hz = np.array(MODEL_BANDS_HZ)
    sounding = (nominal_hz >= profile.lowest_hz) & (nominal_hz <= profile.highest_hz)
    if not sounding.any():
        raise ProfileError(
            f"{name}: lowest_hz to highest_hz must hold a third octave between 20 Hz and 12.5 kHz, "
            f"got {profile.lowest_hz:g} to {profile.highest_hz:g} Hz.",
            remedy="Widen the range of frequencies.",
        )
    sloping_db = profile.band_slope_db_per_octave * np.log2(mid_band_hz(MODEL_BANDS_HZ) / 1000.0)
    return _shape(name, np.where(sounding, sloping_db, -np.inf))


def masker_spectrum(profile: MaskerProfile, level_dba: float) -> Spectrum:
    """Return the masker that a profile describes, at an A-weighted level.

    Raises
    ------
    SettingsError
        Above ``HARD_CAP_DBA``.
    """
    return shape_from_profile(profile.title, profile).at(level_dba)


def needed_masker_db(signal_db: ArrayLike, noise_db: ArrayLike, margin_db: ArrayLike) -> FloatArray:
    r"""Return the masker that holds sounds at a margin, band by band.

    Parameters
    ----------
    signal_db, noise_db : array_like, shape (..., bands), dB
        The sounds alone, and the noise without masker.
    margin_db : array_like, broadcast against them, dB
        Margin that may not be exceeded.

    Returns
    -------
    ndarray, shape (..., bands), dB
        :math:`M_i = S_i / (\kappa_i 10^{m/10}) - N_i - Q_i`; ``-inf`` where none is needed,
        ``nan`` where the sound or the noise is not known.
    """
    limit_db = LIMIT_DB + np.asarray(margin_db, dtype=np.float64)
    lacking = (
        energy(np.asarray(signal_db, dtype=np.float64) - limit_db) - energy(noise_db) - energy(EAR_NOISE_DB)
    )
    return level(np.maximum(lacking, 0.0))


def needed_level_dba(needed_db: FloatArray, shape: MaskerShape) -> FloatArray:
    """Return the quietest level at which a shape covers what is needed.

    Parameters
    ----------
    needed_db : ndarray, shape (..., bands), dB
        From :func:`needed_masker_db`; unknown bands take no part.
    shape : MaskerShape

    Returns
    -------
    ndarray, shape (...), dB(A)
        ``-inf`` when no masker is needed, ``inf`` when the shape is silent in a band that
        needs one.
    """
    in_need = needed_db > -np.inf
    lift_db = np.subtract(
        needed_db, shape.spectrum.levels_db, where=in_need, out=np.full(needed_db.shape, -np.inf)
    )
    return np.asarray(lift_db.max(axis=-1))


def shaped_to_events(needed_db: FloatArray, *, cap_dba: float, uncovered_allowed: int = 0) -> MaskerShape:
    """Return the shape that covers events with the least A-weighted level.

    Parameters
    ----------
    needed_db : ndarray, shape (events, bands), dB
        From :func:`needed_masker_db`.
    cap_dba : float, dB(A)
        Loudest masker that will do.
    uncovered_allowed : int
        Events that may stay audible.

    Returns
    -------
    MaskerShape
        The highest need of each band over the events, then raised, never lowered, to the
        least spectrum whose neighbours differ by no more than ``NEIGHBOUR_STEP_DB``. All
        ``-inf`` when nothing is needed, or the cap is too low for any single event.

    Notes
    -----
    Events that may stay audible are given up first, the most demanding ones before others;
    then as many more as it takes to cover the rest within the cap.
    """
    known_db = np.where(np.isnan(needed_db), -np.inf, needed_db)
    demand_dba = combine(known_db + _A_WEIGHTING_DB, axis=-1)
    easiest_first_db = known_db[np.argsort(demand_dba, kind="stable")]
    # Row n covers the n easiest events, so A-weighted levels rise from row to row.
    together_db = np.maximum.accumulate(np.pad(easiest_first_db, ((1, 0), (0, 0)), constant_values=-np.inf))
    covers_db = smooth_cover_db(together_db)
    within_cap = int(np.sum(combine(covers_db + _A_WEIGHTING_DB, axis=-1) <= cap_dba)) - 1
    wanted = max(len(known_db) - uncovered_allowed, 0)
    return _shape(SHAPED, covers_db[min(wanted, within_cap)])


def smooth_cover_db(levels_db: FloatArray, step_db: float = NEIGHBOUR_STEP_DB) -> FloatArray:
    """Return the least spectra over given ones without steps above *step_db* between neighbours.

    Each band of a spectrum, shape (..., bands), lifts every other one to its own level less
    the permitted step for each band of distance.
    """
    band = np.arange(levels_db.shape[-1])
    slopes_db = step_db * np.abs(band[:, None] - band)
    return np.asarray((levels_db[..., None, :] - slopes_db).max(axis=-1))


def _shape(name: str, levels_db: FloatArray) -> MaskerShape:
    """Normalise to 0 dB(A); silence stays silence."""
    total_dba = float(combine(levels_db + _A_WEIGHTING_DB))
    normalised_db = levels_db - total_dba if total_dba > -np.inf else levels_db
    return MaskerShape(name=name, spectrum=Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=normalised_db))
