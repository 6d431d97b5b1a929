"""What traffic noise does to sleep on average: awakenings to be expected, and by how much odds change.

The curves are averages over groups of mostly healthy adults, for single events of road, rail and
air traffic and levels beside the sleeper. Somebody has to say which events are traffic: no curve
was made for music, voices, bangs or dogs. Those are counted above thresholds, and so is all else.
Of the three outcomes - an awakening seen in the electroencephalogram, a button pressed, a memory in
the morning - only the first is meant here; it is the most frequent by far.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.night.events import Event
from sleepnoise.profiles.guideline import SourceKind

Traffic = Literal["road", "rail", "aircraft"]
"""Kinds of source for which there are curves."""

TRAFFIC: tuple[Traffic, ...] = get_args(Traffic)

BASNER_2006 = Source(
    document="Basner, Samel and Isermann, J. Acoust. Soc. Am. 119(5), 2772-2784, 2006",
    place="awakenings added by an aircraft, LASmax at the ear",
    how_known="memory",
)
BASNER_MCGUIRE_2018 = Source(
    document="Basner and McGuire, Int. J. Environ. Res. Public Health 15(3), 519, 2018",
    place="pooled field studies, awakening or stage 1, odds ratio per 10 dB of indoor maximum level",
    how_known="looked-up",
    url="https://doi.org/10.3390/ijerph15030519",
)
BASNER_MCGUIRE_CURVES = Source(
    document="Basner and McGuire, Int. J. Environ. Res. Public Health 15(3), 519, 2018",
    place="equations of the probability of an additional awakening by road, rail and aircraft",
    how_known="memory",
)

ODDS_RATIOS: dict[Traffic, tuple[float, float, float]] = {
    "road": (1.19, 1.36, 1.55),
    "rail": (1.21, 1.35, 1.52),
    "aircraft": (1.22, 1.35, 1.50),
}
"""Odds ratio per 10 dB: lower end of the 95 % interval, estimate, upper end. Source: BASNER_MCGUIRE_2018."""

COUNTED_FROM_DB = (35.0, 40.0, 45.0, 50.0, 55.0, 60.0)
"""LAFmax above which events are counted, dB. Chosen: steps of 5 dB about 45 dB, which most documents name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A quadratic curve of the probability that one event adds an awakening.

    Attributes
    ----------
    name : str
    kind : Traffic
    coefficients : tuple of three float
        Constant, linear and quadratic term, percent by dB of LASmax.
    lowest_db, highest_db : float, dB
        Levels that the curve was fitted to.
    source : Source
    """

    name: str
    kind: Traffic
    coefficients: tuple[float, float, float]
    lowest_db: float
    highest_db: float
    source: Source

    def probability(self, lasmax_db: ArrayLike) -> FloatArray:
        """Return the probability that each event adds an awakening, same shape, 0 to 1.

        Below the curve's own zero it is nothing; above its range it stays as at the end of it.
        """
        levels = np.minimum(np.asarray(lasmax_db, dtype=np.float64), self.highest_db)
        constant, linear, quadratic = self.coefficients
        percent = constant + levels * (linear + levels * quadratic)
        # A parabola rises again towards silence.
        return np.where(levels >= self.lowest_db, np.clip(percent, 0.0, 100.0) / 100.0, 0.0)


def _pooled(kind: Traffic, *coefficients: float) -> Curve:
    constant, linear, quadratic = coefficients
    return Curve(
        name="Basner and McGuire 2018",
        kind=kind,
        coefficients=(constant, linear, quadratic),
        lowest_db=35.0,
        highest_db=80.0,
        source=BASNER_MCGUIRE_CURVES,
    )


CURVES = (
    Curve(
        name="Basner 2006",
        kind="aircraft",
        coefficients=(-3.3243, 4.008e-2, 1.894e-3),
        lowest_db=32.6,
        highest_db=73.0,
        source=BASNER_2006,
    ),
    _pooled("aircraft", -3.0918, -0.0449, 0.0034),
    _pooled("rail", -1.7768, -0.0529, 0.0033),
    _pooled("road", -3.3188, -0.0478, 0.0037),
)
"""Curves by kind of traffic, best supported first. Source: BASNER_2006 and BASNER_MCGUIRE_CURVES."""


# Whose events they are.


def event_kinds(
    events: Iterable[Event],
    *,
    all_events: SourceKind | None = None,
    by_number: Mapping[int, SourceKind] | None = None,
    by_label: Mapping[str, SourceKind] | None = None,
) -> dict[int, SourceKind]:
    """Return the kind of source of each event of which somebody said it, by the event's number.

    Parameters
    ----------
    events : iterable of Event
    all_events : SourceKind, optional
        What made every event.
    by_number, by_label : mapping, optional
        What made single events, and those with one label; these go before the kind of all, a
        number before a label.

    Raises
    ------
    SettingsError
        If there is no event with such a number or label.
    """
    numbers, labels = dict(by_number or {}), dict(by_label or {})
    found = tuple(events)
    unknown = [
        *(f"number {number}" for number in sorted(set(numbers) - {event.number for event in found})),
        *(f"label {label!r}" for label in sorted(set(labels) - {event.label for event in found})),
    ]
    if unknown:
        raise SettingsError(
            f"kinds of events: no event of this night has {', '.join(unknown)}.",
            remedy="Look the events up in events.csv, which lists their numbers and labels.",
        )
    kinds = {event.number: numbers.get(event.number, labels.get(event.label, all_events)) for event in found}
    return {number: kind for number, kind in kinds.items() if kind is not None}


# What follows for one night.


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What one curve says to the events of one kind of traffic.

    Attributes
    ----------
    curve : Curve
    expected : tuple of three float
        Additional awakenings a night: with all levels lower by U, as measured, higher by U.
    at_least_one : tuple of three float
        Probability of one or more, the events taken as independent, likewise.
    beyond : int
        Events louder than the curve's range; they count as at its end.
    """

    curve: Curve
    expected: tuple[float, float, float]
    at_least_one: tuple[float, float, float]
    beyond: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """How many events lie above one level.

    Attributes
    ----------
    above_db : float, dB
        LAFmax.
    traffic, other, unsaid : int
        Of events said to be traffic, said to be something else, and of which nothing was said.
    """

    above_db: float
    traffic: int
    other: int
    unsaid: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """What the events of one night do to sleep on average, and how many there are.

    Attributes
    ----------
    events : mapping of Traffic to int
        Events of each kind of traffic.
    estimates : tuple of Estimate
        Empty without traffic, or if levels are not calibrated.
    counted : tuple of Counted
        By rising level; empty if levels are not calibrated.
    expanded_uncertainty_db : float, dB
        U (k = 2) of a level that the estimates were widened by.
    """

    events: Mapping[Traffic, int]
    estimates: tuple[Estimate, ...]
    counted: tuple[Counted, ...]
    expanded_uncertainty_db: float


def disturbance_of(night: NightAssessment, kinds: Mapping[int, SourceKind]) -> Disturbance:
    """Return what the events of one night do to sleep on average.

    Parameters
    ----------
    night : NightAssessment
    kinds : mapping of int to SourceKind
        By event number, from :func:`event_kinds`. Events that are missing are only counted.
    """
    told = night.absolute and not np.isnan(night.expanded_uncertainty_db)
    by_kind: dict[Traffic, list[float]] = {
        kind: [event.lasmax for event in night.events if kinds.get(event.number) == kind] for kind in TRAFFIC
    }
    return Disturbance(
        events={kind: len(levels) for kind, levels in by_kind.items() if levels},
        estimates=tuple(
            _estimate(curve, np.array(by_kind[curve.kind]), night.expanded_uncertainty_db)
            for curve in CURVES
            if told and by_kind[curve.kind]
        ),
        counted=_counted(night.events, kinds) if told else (),
        expanded_uncertainty_db=night.expanded_uncertainty_db,
    )


def _estimate(curve: Curve, lasmax_db: FloatArray, uncertainty_db: float) -> Estimate:
    low, middle, high = (
        curve.probability(lasmax_db + by_db) for by_db in (-uncertainty_db, 0, uncertainty_db)
    )
    return Estimate(
        curve=curve,
        expected=(float(low.sum()), float(middle.sum()), float(high.sum())),
        at_least_one=(at_least_one(low), at_least_one(middle), at_least_one(high)),
        beyond=int(np.count_nonzero(lasmax_db > curve.highest_db)),
    )


def _counted(events: Iterable[Event], kinds: Mapping[int, SourceKind]) -> tuple[Counted, ...]:
    loudness = [(event.lafmax, kinds.get(event.number)) for event in events]
    counted = []
    for above_db in COUNTED_FROM_DB:
        above = [kind for lafmax, kind in loudness if lafmax > above_db]
        traffic, unsaid = sum(kind in TRAFFIC for kind in above), above.count(None)
        others = len(above) - traffic - unsaid
        counted.append(Counted(above_db=above_db, traffic=traffic, other=others, unsaid=unsaid))
    return tuple(counted)


def at_least_one(probabilities: ArrayLike) -> float:
    """Return the probability that one or more of independent things happen: ``1 - prod(1 - p)``.

    References
    ----------
    Anderson and Miller 2007; ANSI/ASA S12.9-2008/Part 6 (withdrawn), for awakenings in a night.

    Examples
    --------
    >>> round(at_least_one([0.5, 0.5]), 2)
    0.75
    """
    return float(1.0 - np.prod(1.0 - np.asarray(probabilities, dtype=np.float64)))


def odds_factors(kind: Traffic, change_db: float) -> tuple[float, float, float]:
    """Return by how much the odds of an awakening change if every event changes by so many dB.

    Parameters
    ----------
    kind : Traffic
    change_db : float, dB
        Of the maximum level beside the sleeper; negative is quieter.

    Returns
    -------
    tuple of three float
        Lower end of the 95 % interval, estimate, upper end; 1 for no change.

    References
    ----------
    Basner and McGuire 2018.

    Examples
    --------
    >>> [round(each, 2) for each in odds_factors("road", -10.0)]
    [0.65, 0.74, 0.84]
    """
    low, middle, high = sorted(ratio ** (change_db / 10.0) for ratio in ODDS_RATIOS[kind])
    return low, middle, high
