"""A second opinion on the worst events: two models of hearing, side by side.

The band model decides, because it is linear and errs towards "audible". Where excitation along the
inner ear says otherwise, it cannot be told whether a sound is heard.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, margin_db
from sleepnoise.hearing.excitation import band_excitations
from sleepnoise.hearing.loudness import AUDIBLE_SONE, excess_db, specific_loudness, total_sone

Verdict = Literal["heard", "not heard", "cannot tell"]

WORST = 100
"""Events that get a second opinion. Chosen: they take 0.2 s, and quieter ones are covered with them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """What two models say to one event.

    Attributes
    ----------
    place : int
        Of the event among those that were given.
    margin_db : float, dB
        Of the band model.
    excess_db : float, dB
        Of excitation over its masked threshold.
    partial_sone, alone_sone : float, sone
        Loudness in the noise, and in silence.
    """

    place: int
    margin_db: float
    excess_db: float
    partial_sone: float
    alone_sone: float

    @property
    def difference_db(self) -> float:
        """How much stricter the band model is; negative where it is the milder one."""
        return self.margin_db - self.excess_db

    @property
    def verdict(self) -> Verdict:
        """Whether the event is heard, if both models say the same."""
        heard = (self.margin_db > 0, self.excess_db > 0 and self.partial_sone > AUDIBLE_SONE)
        if np.isnan(self.margin_db) or heard[0] != heard[1]:
            return "cannot tell"
        return "heard" if heard[0] else "not heard"


def second_opinions(signal_db: FloatArray, noise_db: FloatArray, count: int = WORST) -> tuple[Opinion, ...]:
    """Return what both models say to the events that stand out most, worst first.

    Parameters
    ----------
    signal_db, noise_db : ndarray, shape (events, bands), dB re 20 µPa
        On ``MODEL_BANDS_HZ``: maxima of each event alone, and everything that is heard with it,
        a masker among it.
    count : int
        How many events to look at.

    Notes
    -----
    Bands that are not known take no part in either model. Events of which no band is known are
    left out.
    """
    margins_db = margin_db(signal_db, noise_db)
    worst_first = np.argsort(-margins_db, kind="stable")
    known = worst_first[~np.isnan(margins_db[worst_first])][:count]
    return tuple(
        _opinion(int(place), float(margins_db[place]), signal_db[place], noise_db[place]) for place in known
    )


def agreement_db(opinions: tuple[Opinion, ...]) -> tuple[float, float] | None:
    """Return the least and the largest difference between the models, dB; ``None`` without a heard sound."""
    differences_db = [each.difference_db for each in opinions if np.isfinite(each.difference_db)]
    return (min(differences_db), max(differences_db)) if differences_db else None


def _opinion(place: int, margin: float, signal_db: FloatArray, noise_db: FloatArray) -> Opinion:
    event, noise, silence = (
        Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=levels_db)
        for levels_db in (signal_db, noise_db, np.where(np.isnan(noise_db), np.nan, -np.inf))
    )
    heard, alone = band_excitations((event, noise)), band_excitations((event, silence))
    return Opinion(
        place=place,
        margin_db=margin,
        excess_db=float(excess_db(*heard)),
        partial_sone=total_sone(specific_loudness(*heard)),
        alone_sone=total_sone(specific_loudness(*alone)),
    )
