"""What a plan promises: levels of every event, of the night and of its background, and how surely.

A promise is all that is kept of a plan in ``plan.json``; whoever holds it needs neither the room's file
nor the nights that it was made from.
"""

import re
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.ageing import Listener
from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.planning.optimum import Plan
from sleepnoise.planning.outcome import as_it_is, left_over
from sleepnoise.planning.problem import A_WEIGHTS, Problem
from sleepnoise.planning.robustness import Doubt, draw, left_in_draw

UNEVEN_DB = 10.0
"""Difference between the losses of two bands from which the moment that is loudest is fully in doubt. Chosen:
what a door takes off treble more than bass."""

LEVELS_KNOWN: frozenset[Doubt] = frozenset({"levels"})
"""Doubts that are left out here: whoever compares levels knows how well each of them was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisedLevel:
    """One level before and as promised, dB(A), and the standard uncertainty of what the plan changes, dB."""

    before: float
    promised: float
    u_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisedEvent:
    """One event before and as promised.

    Attributes
    ----------
    night, number : int
        From 1; the number is that of its assessment.
    source, origin : str
        What it is, if somebody said; and the side that it comes from.
    lafmax : PromisedLevel
        With background and masker.
    margin_before_db, margin_db : float, dB
        Audibility.
    """

    night: int
    number: int
    source: str
    origin: str
    lafmax: PromisedLevel
    margin_before_db: float
    margin_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatedPart:
    """A part of the room, the side that it faces, and the keys of what is done to it."""

    key: str
    side: str
    treatments: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Promise:
    """What a plan promises.

    Attributes
    ----------
    room : str
    nights : tuple of str
        Names of the assessments that it rests on.
    seconds : float, s
        Length of all of them together.
    sides : tuple of str
        Where sounds come from.
    loss_db : ndarray, shape (sides, bands), dB
        What the treatments take off a sound from each side, on ``MODEL_BANDS_HZ``.
    background_loss_db : ndarray, shape (bands,), dB
        What they take off the background, a part of which may be made in the room.
    loss_u_db : ndarray, shape (sides, bands), dB
        Standard uncertainty of the former.
    treated : tuple of TreatedPart
    masker : Spectrum or None
        At the pillow.
    margin_db : float, dB
        Audibility that events were to stay below.
    allowed : int
        Events that stay audible by the plan, of all nights together.
    laeq, background : PromisedLevel
        Of all nights, masker included.
    listener : Listener
        Whose ears audibility was judged by.
    events : tuple of PromisedEvent
    """

    room: str
    nights: tuple[str, ...]
    seconds: float
    sides: tuple[str, ...]
    loss_db: FloatArray
    background_loss_db: FloatArray
    loss_u_db: FloatArray
    treated: tuple[TreatedPart, ...]
    masker: Spectrum | None
    margin_db: float
    allowed: int
    laeq: PromisedLevel
    background: PromisedLevel
    listener: Listener
    events: tuple[PromisedEvent, ...]

    @property
    def masker_dba(self) -> float:
        """A-weighted level of the masker, dB; ``-inf`` without one."""
        return -np.inf if self.masker is None else self.masker.weighted_level()


def promise_of(plan: BedroomPlan) -> Promise | None:
    """Return what a plan promises; ``None`` when there is no plan."""
    best, problem = plan.optimum.plan, plan.problem
    if best is None:
        return None
    sound, background, _ = left_over(problem, best.choice)
    before = as_it_is(problem)
    drawn = _in_draws(problem, best)
    return Promise(
        room=plan.study.bedroom.title,
        nights=plan.nights,
        seconds=problem.seconds,
        sides=problem.origins,
        loss_db=-level(sound),
        background_loss_db=-level(background),
        loss_u_db=drawn.loss_u_db,
        treated=tuple(
            TreatedPart(key=part.key, side=part.behind, treatments=treatments)
            for part, group, number in zip(plan.study.bedroom.parts, problem.groups, best.choice, strict=True)
            if (treatments := group.options[number].treatments)
        ),
        masker=best.spectrum,
        margin_db=problem.wish.margin_db,
        allowed=max(problem.wish.events_allowed, best.outcome.audible_count),
        laeq=PromisedLevel(before=before.laeq_dba, promised=best.outcome.laeq_dba, u_db=drawn.laeq_u_db),
        background=PromisedLevel(
            before=before.background_dba, promised=best.outcome.background_dba, u_db=drawn.background_u_db
        ),
        listener=problem.listener,
        events=tuple(
            _event(problem, best, before.lafmax_dba, before.margins_db, drawn.lafmax_u_db, row)
            for row in range(problem.events.count)
        ),
    )


def _event(
    problem: Problem, best: Plan, before: FloatArray, margins_db: FloatArray, u_db: FloatArray, row: int
) -> PromisedEvent:
    events = problem.events
    night, number = re.match(r"(?:(\d+):)?(\d+)", events.names[row]).groups()  # type: ignore[union-attr]
    return PromisedEvent(
        night=int(night or 1),
        number=int(number),
        source=events.sources[row],
        origin=problem.origins[events.origin[row]],
        lafmax=PromisedLevel(
            before=float(before[row]), promised=float(best.outcome.lafmax_dba[row]), u_db=float(u_db[row])
        ),
        margin_before_db=float(margins_db[row]),
        margin_db=float(best.outcome.margins_db[row]),
    )


def _unevenness(problem: Problem, plan: Plan) -> FloatArray:
    """Return how much of the doubt about its loudest moment each event has: none behind an even loss."""
    apart_db = np.ptp(level(left_over(problem, plan.choice)[0]), axis=-1)
    return np.asarray(np.minimum(apart_db / UNEVEN_DB, 1.0)[problem.events.origin])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Spreads:
    """Standard deviations over everything that is not known of the room."""

    loss_u_db: FloatArray
    laeq_u_db: float
    background_u_db: float
    lafmax_u_db: FloatArray


def _in_draws(problem: Problem, plan: Plan) -> _Spreads:
    """Work the plan's levels out for every draw of what is not known of the room."""
    drawn, events = draw(problem), problem.events
    steady = 0.0 if plan.spectrum is None else float(np.sum(A_WEIGHTS * energy(plan.spectrum.levels_db)))
    beside = A_WEIGHTS * energy(events.background_db)
    night = A_WEIGHTS * energy(problem.night_background_db)
    exposed, highest = energy(events.exposure_dba) / problem.seconds, energy(events.max_dba)
    losses, rows = [], []
    for number in range(len(drawn.levels_db)):
        sound, background = left_in_draw(problem, plan, drawn, number, LEVELS_KNOWN)
        elsewhere = replace(events, origin=drawn.origin[number])
        of_night = float(night @ background) + steady
        maxima = highest * elsewhere.kept_of_maxima(sound) + beside @ background + steady
        rows.append([of_night, of_night + float(exposed @ elsewhere.kept_of_exposures(sound)), *maxima])
        losses.append(level(sound))
    u_db = np.std(level(np.array(rows)), axis=0)
    return _Spreads(
        loss_u_db=np.std(losses, axis=0),
        background_u_db=float(u_db[0]),
        laeq_u_db=float(u_db[1]),
        lafmax_u_db=np.hypot(u_db[2:], events.max_u_db * _unevenness(problem, plan)),
    )
