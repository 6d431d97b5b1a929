"""The character of a chosen stretch of sound, from its calibrated pressure."""

from dataclasses import dataclass
from datetime import datetime

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.character.impulses import Impulsiveness, impulsiveness
from sleepnoise.character.narrow_band import Tonality, tonality


@dataclass(frozen=True, slots=True, kw_only=True)
class StretchCharacter:
    """What a stretch of sound is like.

    Attributes
    ----------
    start : datetime
        UTC.
    seconds : float, s
    tonality : Tonality
    impulses : Impulsiveness
    """

    start: datetime
    seconds: float
    tonality: Tonality
    impulses: Impulsiveness


def character_of_stretch(pressure: PressureBlock) -> StretchCharacter:
    """Say what a stretch of sound is like.

    Parameters
    ----------
    pressure : PressureBlock
        At least 36 s for tones, at most 30 min. What is said does not depend on the calibration,
        since both methods only compare levels of the same sound.

    Returns
    -------
    StretchCharacter
    """
    return StretchCharacter(
        start=pressure.start,
        seconds=pressure.seconds,
        tonality=tonality(pressure),
        impulses=impulsiveness(pressure),
    )
