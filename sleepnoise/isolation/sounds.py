"""Sounds that stand behind the parts of a room: A-weighted bands and a level."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine
from sleepnoise.acoustics.source import Source
from sleepnoise.profiles.files import read_sound
from sleepnoise.profiles.schema import SoundProfile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sound:
    """The shape of one sound.

    Attributes
    ----------
    key, title : str
    a_weighted_db : ndarray, shape (31,), dB
        A-weighted levels of all third octaves; their sum is 0 dB(A). ``-inf`` where there is nothing.
    source : Source
    """

    key: str
    title: str
    a_weighted_db: FloatArray
    source: Source


@lru_cache(maxsize=64)
def sound(name_or_path: str) -> Sound:
    """Return a sound by the name of its profile, or from a ``.toml`` file; read once.

    Raises
    ------
    ProfileError
        If there is no such profile, or it is not valid.
    """
    return sound_from_profile(name_or_path, read_sound(name_or_path))


def sound_from_profile(key: str, profile: SoundProfile) -> Sound:
    """Return the sound that a profile describes, brought to 0 dB(A).

    Octaves say nothing of what is within: their thirds share the energy equally.
    """
    levels_db = np.full(len(NOMINAL_HZ), -np.inf)
    for hz, a_weighted_db in profile.a_weighted_by_hz.items():
        middle = NOMINAL_HZ.index(hz)
        beside = 1 if profile.bands == "octaves" else 0
        levels_db[middle - beside : middle + beside + 1] = a_weighted_db
    return Sound(
        key=key,
        title=profile.title,
        a_weighted_db=levels_db - combine(levels_db),
        source=profile.sources[profile.source].source(),
    )
