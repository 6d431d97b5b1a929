"""How sure a plan is: what is not known is drawn many times, and the plan is judged each time.

All plans are judged on the same draws, so that differences between plans are not chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.hearing.audibility import MODEL_UNCERTAINTY_DB, margin_db
from sleepnoise.isolation.paths import rectangular_u_db
from sleepnoise.planning.optimum import Optimum, Plan, find_optimum
from sleepnoise.planning.problem import IntArray, Problem

DRAWS = 500
"""How often what is not known is drawn. Chosen: a probability of 80 % is then known to 1.8 %."""

SEED = 7
"""Start of the random numbers. Chosen: any will do, but the same one each time: same input, same answer."""

LEVEL_U_DB = 1.8
"""Standard uncertainty of measured levels without anything better. Chosen: class 2 meter and one position,
1.5 and 1.0 dB."""

SAFETY_STEPS_DB = tuple(float(each) for each in np.arange(0.0, 15.5, 1.0))
"""By how much the target is tightened in search of a certain plan. Chosen: up to five times the model's
uncertainty."""

Doubt = Literal["paths", "treatments", "origins", "levels", "model", "nights"]
"""What is not known: how paths share the sound; what treatments bring; where sounds come from; levels; what
is heard; and what other nights are like."""

DOUBTS: tuple[Doubt, ...] = ("paths", "treatments", "origins", "levels", "model")
SAME_NIGHTS: frozenset[Doubt] = frozenset({"nights"})
"""Other nights are kept apart: how many events they bring is chance, not a doubt about the plan."""

SETTLED_BY: dict[Doubt, str] = {
    "paths": "a door test, band by band, at the part that is treated first",
    "treatments": "the first step, and the same door test after it",
    "origins": "two microphones, one in the room and one outside it, for one night",
    "levels": "a class 1 meter at the pillow, or a calibration with a checked calibrator",
    "model": "nothing that is measured: the sleeper says what is heard",
    "nights": "another night or more",
}
"""What would settle each doubt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtShare:
    """How much one doubt matters.

    Attributes
    ----------
    doubt : Doubt
    share : float
        Part of the variance of the deciding margin that goes when this doubt goes, 0 to 1.
    settled_by : str
    """

    doubt: Doubt
    share: float
    settled_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Certainty:
    """How sure a plan is.

    Attributes
    ----------
    allowed : int
        Audible events that it was judged by: those allowed, or as many as the plan leaves.
    probability, probability_other_nights : float
        That no more stay audible, 0 to 1: in nights with the very same events, and with as many as chance
        brings when these are typical.
    audible_10, audible_50, audible_90 : float
        Audible events that are not exceeded in 10, 50 and 90 % of such other nights.
    doubts : tuple of DoubtShare
        What matters most first.
    """

    allowed: int
    probability: float
    probability_other_nights: float
    audible_10: float
    audible_50: float
    audible_90: float
    doubts: tuple[DoubtShare, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CertainPlan:
    """A plan that meets the target with a certainty asked for.

    Attributes
    ----------
    certainty : float
        Asked for, 0 to 1.
    plan : Plan or None
        ``None`` when none was found.
    probability : float
        What the plan reaches; of the surest plan found when there is none.
    tightened_db : float, dB
        By how much the target had to be tightened.
    """

    certainty: float
    plan: Plan | None
    probability: float
    tightened_db: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """What was drawn, the same for every plan.

    Attributes
    ----------
    paths : tuple of ndarray, one for each group, shape (draws, paths), dB
        Error of each path.
    parts : ndarray, shape (draws, groups), dB
        Error of a tested part as a whole.
    treatments : ndarray, shape (draws, groups)
        Error of what an option does, in units of its spread.
    origin : ndarray of int, shape (draws, events)
    levels_db, model_db : ndarray, shape (draws,), dB
    occurrences : ndarray of int, shape (draws, events)
        How often each event occurs in a set of other nights.
    """

    paths: tuple[FloatArray, ...]
    parts: FloatArray
    treatments: FloatArray
    origin: IntArray
    levels_db: FloatArray
    model_db: FloatArray
    occurrences: IntArray


def draw(problem: Problem, *, draws: int = DRAWS, level_u_db: float = LEVEL_U_DB) -> Draws:
    """Draw everything that is not known."""
    rng = np.random.default_rng(SEED)
    events = problem.events
    return Draws(
        paths=tuple(
            rng.normal(0.0, 1.0, (draws, len(group.paths))) * group.path_u_db for group in problem.groups
        ),
        parts=rng.normal(0.0, 1.0, (draws, len(problem.groups)))
        * [group.tested_u_db or 0.0 for group in problem.groups],
        treatments=rng.normal(0.0, 1.0, (draws, len(problem.groups))),
        origin=_drawn_origins(problem, rng, draws),
        levels_db=rng.normal(0.0, level_u_db, draws),
        model_db=rng.normal(0.0, rectangular_u_db(2.0 * MODEL_UNCERTAINTY_DB), draws),
        occurrences=rng.poisson(1.0, (draws, events.count)).astype(np.int64),
    )


def certainty(problem: Problem, plan: Plan, drawn: Draws) -> Certainty:
    """Return how sure a plan is, and what makes it unsure."""
    allowed = max(problem.wish.events_allowed, plan.outcome.audible_count)
    judged_by = replace(problem, wish=replace(problem.wish, events_allowed=allowed))
    counts, deciding_db = judged(judged_by, plan, drawn, SAME_NIGHTS)
    elsewhen, _ = judged(judged_by, plan, drawn)
    low, middle, high = np.quantile(elsewhen, [0.1, 0.5, 0.9], method="inverted_cdf")
    return Certainty(
        allowed=allowed,
        probability=float(np.mean(counts <= allowed)),
        probability_other_nights=float(np.mean(elsewhen <= allowed)),
        audible_10=float(low),
        audible_50=float(middle),
        audible_90=float(high),
        doubts=_doubts(judged_by, plan, drawn, deciding_db),
    )


def certain_plan(
    problem: Problem, drawn: Draws, wanted: float, *, steps_db: Sequence[float] = SAFETY_STEPS_DB
) -> CertainPlan:
    """Find the plan that meets the target with some certainty, by tightening the target until it does.

    Notes
    -----
    Among all plans a cheaper one that is just as sure may exist: only the best plans for tighter
    targets are looked at.
    """
    best = CertainPlan(certainty=wanted, plan=None, probability=0.0, tightened_db=np.nan)
    for step_db in steps_db:
        found = _tightened(problem, step_db)
        if not found.reached or found.plan is None:
            break
        counts, _ = judged(problem, found.plan, drawn, SAME_NIGHTS)
        probability = float(np.mean(counts <= problem.wish.events_allowed))
        if probability >= wanted:
            return replace(best, plan=found.plan, probability=probability, tightened_db=step_db)
        best = replace(best, probability=max(best.probability, probability))
    return best


def _tightened(problem: Problem, by_db: float) -> Optimum:
    # The same target over louder events: tighter targets than a user may ask for stay possible.
    events = replace(problem.events, signal_db=problem.events.signal_db + by_db)
    return find_optimum(replace(problem, events=events))


def judged(
    problem: Problem, plan: Plan, drawn: Draws, known: frozenset[Doubt] = frozenset()
) -> tuple[IntArray, FloatArray]:
    """Judge a plan on every draw.

    Parameters
    ----------
    problem : Problem
    plan : Plan
    drawn : Draws
    known : frozenset of Doubt
        Doubts that are taken as settled.

    Returns
    -------
    counts : ndarray of int, shape (draws,)
        Audible events.
    deciding_db : ndarray, shape (draws,), dB
        Margin of the loudest event that may not stay audible, over the target.
    """
    events, wish = problem.events, problem.wish
    masker = 0.0 if plan.spectrum is None else energy(plan.spectrum.levels_db)
    draws = len(drawn.levels_db)
    counts, deciding = np.empty(draws, dtype=np.int64), np.empty(draws)
    for number in range(draws):
        sound, background = left_in_draw(problem, plan, drawn, number, known)
        origin = events.origin if "origins" in known else drawn.origin[number]
        shift_db = 0.0 if "levels" in known else drawn.levels_db[number]
        limit_db = wish.margin_db + (0.0 if "model" in known else drawn.model_db[number])
        noise = energy(events.background_db + shift_db) * background + masker
        alone_db = events.signal_db + shift_db + level(sound[origin])
        over_db = margin_db(alone_db, level(noise), ear_noise_db=problem.ear_noise_db) - limit_db
        often = np.ones(events.count, dtype=np.int64) if "nights" in known else drawn.occurrences[number]
        counts[number] = int(often[over_db > 0.0].sum())
        deciding[number] = _deciding(over_db, often, wish.events_allowed)
    return counts, deciding


def _deciding(over_db: FloatArray, often: IntArray, allowed: int) -> float:
    order = np.argsort(-over_db, kind="stable")
    place = int(np.searchsorted(np.cumsum(often[order]), allowed + 1))
    return float(over_db[order[place]]) if place < order.size else np.nan


def left_in_draw(
    problem: Problem, plan: Plan, drawn: Draws, number: int, known: frozenset[Doubt]
) -> tuple[FloatArray, FloatArray]:
    """Return what one draw leaves of each origin, shape (origins, bands), and of the background, (bands,).

    What was measured in the room stays as it is; paths that let through more than was thought take a
    larger share of it.
    """
    sound, background = problem.fixed.copy(), problem.background_fixed.copy()
    share_now, background_now = sound.copy(), background.copy()
    for place, (group, option) in enumerate(zip(problem.groups, plan.choice, strict=True)):
        weight = _weights(problem, drawn, number, place, "paths" in known)
        share = group.share * weight
        of_background = group.background * weight[:, 0]
        spread_db = group.options[option].spread_db
        error = 1.0 if "treatments" in known else energy(drawn.treatments[number, place] * spread_db)
        factor = group.factor[option]
        factor = np.where(factor < 1.0, np.minimum(factor * error, 1.0), factor)
        sound += np.einsum("poi,pi->oi", share, factor)
        background += np.sum(of_background * factor, axis=0)
        share_now += share.sum(axis=0)
        background_now += of_background.sum(axis=0)
    sound = np.divide(sound, share_now, out=np.zeros_like(sound), where=share_now > 0.0)
    return sound, background / np.maximum(background_now, 1e-30)


def _weights(problem: Problem, drawn: Draws, number: int, place: int, known: bool) -> FloatArray:
    """Return by how much each path of a group lets through more than was thought, shape (paths, 1, 1)."""
    group = problem.groups[place]
    if known:
        return np.ones((len(group.paths), 1, 1))
    weight = energy(drawn.paths[place][number])
    if group.tested_u_db is not None:
        # The test told what all paths bring together, not how they share it.
        total = group.share.sum(axis=(1, 2))
        weight = weight * total.sum() / max(float(weight @ total), 1e-30)
        weight = weight * energy(drawn.parts[number, place])
    return np.asarray(weight)[:, None, None]


def _drawn_origins(problem: Problem, rng: np.random.Generator, draws: int) -> IntArray:
    """Draw where each event comes from; events of one source come the same way."""
    events = problem.events
    keys = [source or f"\n{name}" for source, name in zip(events.sources, events.names, strict=True)]
    _, together = np.unique(np.array(keys, dtype=np.str_), return_inverse=True)
    chance = rng.random((draws, int(together.max(initial=-1)) + 1))[:, together]
    reached = np.cumsum(problem.odds, axis=1)[events.origin]
    return np.asarray((chance[:, :, None] >= reached[None, :, :-1]).sum(axis=-1), dtype=np.int64)


def _doubts(problem: Problem, plan: Plan, drawn: Draws, deciding_db: FloatArray) -> tuple[DoubtShare, ...]:
    """Return by how much the deciding margin would scatter less if each doubt alone were settled."""
    finite = np.isfinite(deciding_db)
    whole = float(np.var(deciding_db[finite])) if finite.any() else 0.0
    shares = []
    for doubt in DOUBTS:
        _, settled_db = judged(problem, plan, drawn, SAME_NIGHTS | {doubt})
        both = finite & np.isfinite(settled_db)
        left = float(np.var(settled_db[both])) if both.any() else 0.0
        share = max(0.0, 1.0 - left / whole) if whole > 0.0 else 0.0
        shares.append(DoubtShare(doubt=doubt, share=share, settled_by=SETTLED_BY[doubt]))
    return tuple(sorted(shares, key=lambda each: -each.share))
