"""How loud a masking sound may be: for adults, for infants, and what it adds to a night.

Sleep is the limit here, not hearing: 50 dB(A) through 8 h are 45.2 dB over the day, far below the
70 dB that are taken as safe for ears.
"""

import math
from dataclasses import dataclass

from sleepnoise.acoustics.decibels import combine
from sleepnoise.errors import SettingsError

ADULT_TARGET_DBA = 35.0
"""Level at the pillow to aim at, dB(A). Chosen: 5 dB below the lowest level of the 2026 sleep study
(Basner et al.); still 5 dB above the WHO 1999 bedroom value."""

DEFAULT_CAP_DBA = 40.0
"""Loudest masker unless the user says otherwise, dB(A). Chosen: the lower of the two levels that the same
study tested; 10 dB above the WHO 1999 bedroom value all the same."""

HARD_CAP_DBA = 50.0
"""Loudest masker that is ever proposed, dB(A). Chosen: about 19 min of REM sleep were lost at this level in
a laboratory (Basner et al. 2026), and it is the hospital-nursery limit (Hugh et al. 2014)."""

LOWEST_LEVEL_DBA = 15.0
"""Quietest masker that is considered, dB(A). Chosen: below the background of the quietest bedrooms, where
nobody could set or measure it."""

INFANT_DISTANCE_M = 2.0
"""Least distance between a loudspeaker and an infant, m. Chosen: what Hugh et al. 2014 (Pediatrics 133(4), as
summarised elsewhere) conclude from fourteen devices; AAP 2023: as far away as possible."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sleeper:
    """Who sleeps in the room.

    Attributes
    ----------
    infant : bool
        An infant or a toddler.
    carer_confirms : bool
        Whether a carer wants a masker for the infant all the same.
    distance_m : float, m
        From the loudspeaker to the sleeper; ``nan`` if it was not said.
    """

    infant: bool = False
    carer_confirms: bool = False
    distance_m: float = math.nan


def check_masker_level(level_dba: float, where: str) -> None:
    """Refuse a masker level that is not known or too loud to sleep by.

    Raises
    ------
    SettingsError
    """
    if not level_dba <= HARD_CAP_DBA:
        raise SettingsError(
            f"{where}: a masker for sleep may reach {HARD_CAP_DBA:g} dB(A) at the pillow and no more, "
            f"got {level_dba:g}; at that level a laboratory study lost about 19 minutes of REM sleep.",
            remedy=f"Stay at or below {DEFAULT_CAP_DBA:g} dB(A) and keep more of the noise out instead.",
        )


def check_cap(cap_dba: float) -> None:
    """Refuse a cap that is too loud, or so quiet that nobody could set it.

    Raises
    ------
    SettingsError
    """
    check_masker_level(cap_dba, "cap")
    if cap_dba < LOWEST_LEVEL_DBA:
        raise SettingsError(
            f"cap: must be {LOWEST_LEVEL_DBA:g} dB(A) or more, got {cap_dba:g}; nobody could set or measure "
            "a quieter masker.",
            remedy="Use no masker, and keep the noise out instead.",
        )


def check_sleeper(sleeper: Sleeper) -> None:
    """Refuse a masker for an infant that no carer confirmed, or from too near.

    Raises
    ------
    SettingsError
    """
    if not sleeper.infant:
        return
    if not sleeper.carer_confirms:
        raise SettingsError(
            "masker: none is designed for an infant or a toddler.",
            remedy="Keep the noise out. If a carer has asked a paediatrician and decides otherwise, "
            "confirm it.",
        )
    if not sleeper.distance_m >= INFANT_DISTANCE_M:
        told = "not said" if math.isnan(sleeper.distance_m) else f"{sleeper.distance_m:g} m"
        raise SettingsError(
            f"masker: the loudspeaker must stand at least {INFANT_DISTANCE_M:g} m from an infant, "
            f"got {told}.",
            remedy="Move it as far away as the room allows, and say the distance.",
        )


def with_masker(laeq: float, masker_dba: float) -> float:
    """Return the LAeq of a night through which a masker plays, dB; ``-inf`` is no masker.

    Examples
    --------
    >>> round(with_masker(30.0, 30.0), 1)
    33.0
    """
    return float(combine([laeq, masker_dba]))
