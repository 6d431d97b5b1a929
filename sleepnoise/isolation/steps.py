"""Isolation steps: what one generic measure takes off the sound from outside, band by band."""

from dataclasses import dataclass

from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum


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
