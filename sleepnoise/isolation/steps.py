"""Isolation steps: what one generic measure takes off the sound from outside, band by band."""

from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.elements import thirds_from_octaves
from sleepnoise.profiles.schema import TreatmentProfile

LARGEST_EVEN_LOSS_DB = 60.0
"""Chosen: more than any single measure brings in a dwelling, where other paths take over long before."""

_ASSUMED = Source(document="Planning assumption", place="the same loss in every band", how_known="assumption")
_NO_CHANGE = Source(document="Measured night", place="no change", how_known="computed")


@dataclass(frozen=True, slots=True, kw_only=True)
class IsolationStep:
    """One measure and its insertion loss.

    Attributes
    ----------
    key, title : str
    loss : Spectrum
        Insertion loss in dB, on every third octave.
    spread_db : float, dB
        How far published values differ from each other.
    source : Source
    cautions : tuple of str
    """

    key: str
    title: str
    loss: Spectrum
    spread_db: float
    source: Source
    cautions: tuple[str, ...] = ()


def even_step(loss_db: float) -> IsolationStep:
    """Return a step that takes the same off every band; 0 dB is the room as it is.

    Raises
    ------
    SettingsError
        Unless the loss lies between 0 and ``LARGEST_EVEN_LOSS_DB``.
    """
    if not 0.0 <= loss_db <= LARGEST_EVEN_LOSS_DB:
        raise SettingsError(
            f"even isolation step: must lie between 0 and {LARGEST_EVEN_LOSS_DB:g} dB, got {loss_db:g}.",
            remedy="Give the insertion loss as a positive number of decibels.",
        )
    loss = Spectrum(nominal_hz=NOMINAL_HZ, levels_db=np.full(len(NOMINAL_HZ), loss_db))
    if loss_db == 0.0:
        return IsolationStep(key="as-it-is", title="as it is", loss=loss, spread_db=0.0, source=_NO_CHANGE)
    return IsolationStep(
        key=f"even-{loss_db:g}-db",
        title=f"{loss_db:g} dB in every band",
        loss=loss,
        spread_db=0.0,
        source=_ASSUMED,
        cautions=("No measure takes the same off every band: bass always gets through more easily.",),
    )


def step_from_profile(key: str, profile: TreatmentProfile) -> IsolationStep:
    """Return the step that a treatment profile describes.

    Spread over the thirds as elements are; see ``thirds_from_octaves``.
    """
    return IsolationStep(
        key=key,
        title=profile.title,
        loss=thirds_from_octaves(profile.loss_by_hz),
        spread_db=profile.spread_db,
        source=profile.sources[profile.source].source(),
        cautions=tuple(profile.cautions),
    )
