"""The character of a chosen stretch of sound, from its calibrated pressure."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.character.impulses import Impulsiveness, impulses_in
from sleepnoise.character.narrow_band import Tonality, Tone, averaged, tones_of


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


def character_of_stretch(blocks: Iterable[PressureBlock]) -> StretchCharacter:
    """Say what a stretch of sound is like.

    Parameters
    ----------
    blocks : iterable of PressureBlock
        That follow each other without a gap, at least one; in all at least 36 s for tones, at most
        30 min. Each but the last is a multiple of 3 s long: tones are sought in so long pieces. What
        is said does not depend on the calibration, since both methods only compare levels of the
        same sound.

    Returns
    -------
    StretchCharacter
    """
    stream = iter(blocks)
    first = next(stream)
    tones: list[Tone | None] = []

    def heard() -> Iterator[PressureBlock]:
        for block in chain([first], stream):
            tones.extend(tones_of(block))
            yield block

    impulses = impulses_in(heard())
    return StretchCharacter(
        start=first.start, seconds=impulses.seconds, tonality=averaged(tones), impulses=impulses
    )
