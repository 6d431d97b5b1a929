"""Nights that may be put together: same hours, same windows, same kind of level, each night once."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from sleepnoise.comparison.alike import check_alike
from sleepnoise.comparison.exceedance import ExceedanceDays, exceedance_days
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.spread import MeanOfNights, mean_of_nights
from sleepnoise.comparison.weekdays import WeekPattern, week_pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class NightGroup:
    """Nights of one kind, together.

    Attributes
    ----------
    window, window_state : str
        As of each night.
    absolute : bool
    nights : tuple of NightFigures
        In order of time; those that were measured from beginning to end.
    partial : tuple of NightFigures
        Left out of every figure, because part of the night window was not measured.
    laeq, lafmax, la90, events : MeanOfNights
        LAeq as energies, the others as they are.
    calibration_db : float, dB
        Largest expanded uncertainty (k = 2) of a single level; all nights may share it, so it does not
        shrink with their number. ``nan`` if that of some night is not known.
    exceedances : tuple of ExceedanceDays
    week : WeekPattern
    """

    window: str
    window_state: str
    absolute: bool
    nights: tuple[NightFigures, ...]
    partial: tuple[NightFigures, ...]
    laeq: MeanOfNights
    lafmax: MeanOfNights
    la90: MeanOfNights
    events: MeanOfNights
    calibration_db: float
    exceedances: tuple[ExceedanceDays, ...]
    week: WeekPattern


def groups_of(nights: Iterable[NightFigures]) -> tuple[NightGroup, ...]:
    """Return nights in groups that may be pooled, the largest first.

    Parameters
    ----------
    nights : iterable of NightFigures
        In any order. Nights of which nobody noted the windows are a group of their own.

    Raises
    ------
    SettingsError
        If a group has a night twice.
    """
    ordered = sorted(nights, key=lambda night: (_kind(night), night.evening, night.name))
    groups = [pooled(tuple(alike)) for _, alike in groupby(ordered, _kind)]
    return tuple(sorted(groups, key=lambda group: -len(group.nights)))


def pooled(nights: Sequence[NightFigures]) -> NightGroup:
    """Return nights put together.

    Parameters
    ----------
    nights : sequence of NightFigures
        At least one, in any order.

    Raises
    ------
    SettingsError
        If there is none, they differ in window hours, window state or kind of level, or one comes twice.
    """
    check_alike(nights)
    ordered = sorted(nights, key=lambda night: (night.evening, night.name))
    whole = tuple(night for night in ordered if night.whole)
    first = ordered[0]
    return NightGroup(
        window=first.window,
        window_state=first.window_state,
        absolute=first.absolute,
        nights=whole,
        partial=tuple(night for night in ordered if not night.whole),
        laeq=mean_of_nights([night.laeq for night in whole], as_energy=True),
        lafmax=mean_of_nights([night.lafmax for night in whole], as_energy=False),
        la90=mean_of_nights([night.la90 for night in whole], as_energy=False),
        events=mean_of_nights([float(night.events) for night in whole], as_energy=False),
        calibration_db=float(np.max([night.expanded_uncertainty_db for night in ordered])),
        exceedances=exceedance_days(whole),
        week=week_pattern(whole),
    )


def _kind(night: NightFigures) -> tuple[str, str, bool]:
    return night.window_state, night.window, night.absolute
