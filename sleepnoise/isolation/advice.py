"""Which treatments are worth it in one room: what each brings there, and which must not be advised."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, combine, level
from sleepnoise.acoustics.uncertainty import combined
from sleepnoise.isolation.bedroom import Part
from sleepnoise.isolation.composite import share_of_energy
from sleepnoise.isolation.paths import (
    RoomLevels,
    RoomPaths,
    levels,
    path_levels_dba,
    rectangular_u_db,
)
from sleepnoise.isolation.safety import alarm_caution, conditions, reasons_against
from sleepnoise.isolation.treatments import Treatment, treated_open_m2
from sleepnoise.profiles.bedroom import Side

SMALLEST_GAIN_DB = 1.0
"""Gains below this are not called one. Chosen: a prediction errs by about 2 dB, and nobody hears less."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Advice:
    """One treatment of one part that may be advised.

    Attributes
    ----------
    treatment : Treatment
    part : Part
    gain_db, u_db : float, dB
        What the room as a whole gains for the sounds that stand behind it, and its standard uncertainty.
    path_gain_db : ndarray, shape (bands,), dB
        What the treated part as a whole gains, band by band.
    room_dba : float, dB(A)
        In the room afterwards.
    price : float or None
        The user's own.
    alarm : str
        What becomes of a smoke alarm in the hall; empty when nothing.
    cautions : tuple of str
        What has to be seen to in this room, then what goes with the treatment anywhere.
    """

    treatment: Treatment
    part: Part
    gain_db: float
    u_db: float
    path_gain_db: FloatArray
    room_dba: float
    price: float | None
    alarm: str
    cautions: tuple[str, ...]

    @property
    def gain_per_money_db(self) -> float | None:
        """Decibels of the room for one unit of money; infinite where it costs nothing."""
        if self.price is None:
            return None
        return self.gain_db / self.price if self.price > 0.0 else np.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refusal:
    """One treatment of one part that must not be advised, and every reason."""

    treatment: Treatment
    part: Part
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomAdvice:
    """What to do in one room.

    Attributes
    ----------
    now : RoomLevels
    allowed : tuple of Advice
        Those that gain at least ``SMALLEST_GAIN_DB``; the greatest gain first, equal ones by gain per money.
    too_little : tuple of Advice
        Allowed, but not worth it: less gain than that, or none.
    refused : tuple of Refusal
    """

    now: RoomLevels
    allowed: tuple[Advice, ...]
    too_little: tuple[Advice, ...]
    refused: tuple[Refusal, ...]

    @property
    def by_money(self) -> tuple[Advice, ...]:
        """Those of the allowed that have a price, by gain per money."""
        priced = [advice for advice in self.allowed if advice.price is not None]
        return tuple(sorted(priced, key=lambda advice: -(advice.gain_per_money_db or 0.0)))


def advise(
    paths: RoomPaths, arriving: Mapping[Side, FloatArray], treatments: Sequence[Treatment]
) -> RoomAdvice:
    """Weigh every treatment on every part that it fits, each by itself.

    Parameters
    ----------
    paths : RoomPaths
    arriving : mapping
        A-weighted band levels by side, shape (bands,), dB.
    treatments : sequence of Treatment

    Notes
    -----
    A treatment that changes nothing on a part, for want of a gap or of data, is left out there.
    """
    now = levels(paths, arriving)
    allowed: list[Advice] = []
    refused: list[Refusal] = []
    for part in paths.bedroom.parts:
        for treatment in treatments:
            if not treatment.fits_part(part):
                continue
            open_m2 = treated_open_m2(paths, [(treatment, part)])
            if np.array_equal(open_m2, paths.open_m2):
                continue
            if reasons := reasons_against(treatment, part, paths.bedroom):
                refused.append(Refusal(treatment=treatment, part=part, reasons=reasons))
            else:
                allowed.append(_advice(now, treatment, part, open_m2))
    allowed.sort(key=lambda advice: (-advice.gain_db, -(advice.gain_per_money_db or 0.0)))
    return RoomAdvice(
        now=now,
        allowed=tuple(advice for advice in allowed if advice.gain_db >= SMALLEST_GAIN_DB),
        too_little=tuple(advice for advice in allowed if advice.gain_db < SMALLEST_GAIN_DB),
        refused=tuple(refused),
    )


def _advice(now: RoomLevels, treatment: Treatment, part: Part, open_m2: FloatArray) -> Advice:
    paths = now.paths
    after_dba = path_levels_dba(paths, open_m2, now.arriving)
    room_dba = float(combine(after_dba))
    treated = np.array([path.part is part for path in paths.paths])
    before_m2, after_m2 = (area[treated].sum(axis=0) for area in (paths.open_m2, open_m2))
    return Advice(
        treatment=treatment,
        part=part,
        gain_db=now.room_dba - room_dba,
        u_db=_gain_u_db(now, share_of_energy(after_dba), treated, treatment.spread_db),
        path_gain_db=level(before_m2) - level(after_m2),
        room_dba=room_dba,
        price=paths.bedroom.prices.get(treatment.key),
        alarm=alarm_caution(paths, open_m2),
        cautions=(*conditions(treatment, part, paths.bedroom), *treatment.cautions),
    )


def _gain_u_db(
    now: RoomLevels, shares_after: FloatArray, treated: NDArray[np.bool_], spread_db: float
) -> float:
    """Return the standard uncertainty of a gain, dB.

    What a path errs by stands in both levels, and cancels as far as its share stays the same. What
    the treatment errs by counts with the share that its part has afterwards. A door test says nothing
    of how leaf and gaps share what it measured, so it does not make a gain more certain.
    """
    of_paths = (now.shares - shares_after) * [path.u_db for path in now.paths.paths]
    of_treatment = float(shares_after[treated].sum()) * rectangular_u_db(spread_db)
    return combined([*of_paths, of_treatment])
