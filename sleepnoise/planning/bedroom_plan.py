"""One bedroom planned: the best plan and everything that is asked beside it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.isolation.treatments import left_of_paths, treated_open_m2
from sleepnoise.masking.alarm import AlarmCheck, Pitch, check_alarm, measured_alarm
from sleepnoise.masking.cautions import MASKER_CAUTIONS
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes, bedroom_problem
from sleepnoise.planning.optimum import Optimum, Plan, find_optimum
from sleepnoise.planning.outcome import left_over
from sleepnoise.planning.planned_events import NO_MOMENTS_U_DB, HeardNight
from sleepnoise.planning.problem import A_WEIGHTS, YOUNG_ADULT, Problem, Wish
from sleepnoise.planning.robustness import CertainPlan, Certainty, certain_plan, certainty, draw
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.planning.tradeoff import (
    FrontPoint,
    Missing,
    Step,
    TradeMap,
    audible_whatever,
    eased,
    front,
    missing,
    sampled_front,
    steps_of,
    trade_map,
    without_masker,
    without_treatments,
)

MOST_AGREED, AGREED_LIMIT_S = 60, 20.0
"""Events up to which the programme is asked as well, and for how long, s. Chosen: sixty take some seconds."""

JOINT_PLAN_CAUTIONS = (
    "Isolation values are generic. Prove each step with a door test, before and after, and plan again with "
    "what was measured.",
    "The side that each sound comes from decides what helps. Where nobody said it, it was guessed from the "
    "sounds that the room file names.",
    "Isolation lowers the background from outside too, so that what still comes in stands out more.",
    "Before anything is sealed, hung or replaced: fire doors, escape windows, ventilation, air for "
    "combustion, and smoke and carbon monoxide alarms come first. Local codes and licensed practice "
    "decide.",
)
"""Said with every plan of isolation and masking for a bedroom."""


def listener_caution(listener: Listener) -> str:
    """Return whose ears a plan is for, and on which side that errs."""
    if listener == YOUNG_ADULT:
        whose = "a young adult with normal hearing, the safe side: few hear more"
    else:
        whose = (
            f"the middle of people of {listener.age_years:g} years (ISO 7029:2017): half of them and "
            "everybody younger hear more, and a plan for a young adult is the safe side"
        )
    return (
        f"What is heard is computed for {whose}. Published models differ from each other by about 3 dB "
        "either way. A plan that just meets its target may miss it in the room: the certainty beside it says "
        "how surely it is met."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedLimit:
    """A published value that a plan is to keep.

    Attributes
    ----------
    guideline, criterion, quantity : str
    level_db : float, dB
    allowed : int
        Events a night that may lie above it.
    document : str
        Where the value stands.
    named : str
        What asks for this value alone, as ``NAME:CRITERION``; empty in documents that do not have it.
    """

    guideline: str
    criterion: str
    quantity: str
    level_db: float
    allowed: int
    document: str
    named: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedLimits:
    """All that was asked for by name.

    Attributes
    ----------
    used : tuple of PublishedLimit
    passed_over : tuple of str
        Values of the same documents that are no limits for this plan, each with the reason.
    """

    used: tuple[PublishedLimit, ...] = ()
    passed_over: tuple[str, ...] = ()

    @property
    def laeq_dba(self) -> float:
        """The lowest LAeq asked for, dB(A); infinite for none."""
        return min((each.level_db for each in self.used if each.quantity == "laeq"), default=float("inf"))

    @property
    def lafmax(self) -> tuple[float, int] | None:
        """LAFmax, dB(A), and the events a night that may exceed it; ``None`` for none.

        Raises
        ------
        SettingsError
            If two rules were asked for of which neither is the stricter one.
        """
        rules = [(each.level_db, each.allowed) for each in self.used if each.quantity == "lafmax"]
        if not rules:
            return None
        strictest = min(level for level, _ in rules), min(allowed for _, allowed in rules)
        if strictest not in rules:
            raise SettingsError(
                f"guideline: {len(rules)} rules for LAFmax were named, and none of them holds the others.",
                remedy="Name one of them, as NAME:CRITERION.",
            )
        return strictest


NO_LIMITS = PublishedLimits()
"""Nothing was asked for by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartShare:
    """How much of the events' A-weighted energy comes in by one part, 0 to 1; ``inside`` by none of them."""

    title: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BedroomPlan:
    """Everything that a plan says.

    Attributes
    ----------
    study : RoomStudy
    nights : tuple of str
    problem : Problem
    optimum : Optimum
    parts : tuple of PartShare
        Greatest share first.
    steps : tuple of Step
    isolation_only, masking_only, eased : Plan or None
        The best plans without masker, without treatments, and for a target 5 dB wider.
    front : tuple of FrontPoint
    map : TradeMap or None
        ``None`` where combinations are too many to be worked out one by one.
    whatever : tuple of str
        Events that stay audible whatever is done.
    missing : tuple of Missing
        What would help beside the plan, the best first; empty when nothing stays audible.
    certainty : Certainty or None
    certain : tuple of CertainPlan
    alarms : tuple of AlarmCheck
        What the plan leaves of the smoke alarm, by published rules, the room as it is first; none where its
        level is not known.
    limits : PublishedLimits
        Published values that were asked for by name.
    cautions : tuple of str
    """

    study: RoomStudy
    nights: tuple[str, ...]
    problem: Problem
    optimum: Optimum
    parts: tuple[PartShare, ...]
    steps: tuple[Step, ...]
    isolation_only: Plan | None
    masking_only: Plan | None
    eased: Plan | None
    front: tuple[FrontPoint, ...]
    map: TradeMap | None
    whatever: tuple[str, ...]
    missing: tuple[Missing, ...]
    certainty: Certainty | None
    certain: tuple[CertainPlan, ...]
    alarms: tuple[AlarmCheck, ...]
    limits: PublishedLimits
    cautions: tuple[str, ...]


def plan_bedroom(
    nights: Sequence[HeardNight],
    study: RoomStudy,
    room: RoomWishes,
    maskers: MaskerChoices,
    wish: Wish,
    *,
    certainties: Sequence[float] = (),
    listener: Listener = YOUNG_ADULT,
    limits: PublishedLimits = NO_LIMITS,
) -> BedroomPlan:
    """Plan one bedroom from its assessed nights and its room file.

    Parameters
    ----------
    nights : sequence of HeardNight
        At least one.
    study : RoomStudy
    room : RoomWishes
    maskers : MaskerChoices
    wish : Wish
    certainties : sequence of float
        Certainties, 0 to 1, for each of which a plan is sought as well.
    listener : Listener
        Whose ears audibility is judged by.
    limits : PublishedLimits
        Which published values the wish was made from.
    """
    problem = bedroom_problem(nights, study, room, maskers, wish, listener)
    plan = planned_bedroom(problem, study, [night.name for night in nights], certainties=certainties)
    return replace(plan, limits=limits)


def planned_bedroom(
    problem: Problem, study: RoomStudy, nights: Sequence[str], *, certainties: Sequence[float] = ()
) -> BedroomPlan:
    """Plan one bedroom whose problem is known; arguments as for :func:`plan_bedroom`."""
    few = problem.events.count <= MOST_AGREED
    optimum = find_optimum(problem, agreed=few, time_limit_s=AGREED_LIMIT_S)
    plan, field = optimum.plan, optimum.field
    drawn = draw(problem)
    return BedroomPlan(
        study=study,
        nights=tuple(nights),
        problem=problem,
        optimum=optimum,
        parts=part_shares(problem),
        steps=() if plan is None else steps_of(problem, plan),
        isolation_only=without_masker(problem).plan,
        masking_only=without_treatments(problem).plan,
        eased=eased(problem).plan,
        front=sampled_front(problem) if field is None else front(field),
        map=None if field is None else trade_map(field),
        whatever=tuple(problem.events.names[row] for row in audible_whatever(optimum)),
        missing=()
        if plan is None or not plan.outcome.audible_count
        else missing(problem, plan, _refused(study)),
        certainty=None if plan is None else certainty(problem, plan, drawn),
        certain=tuple(certain_plan(problem, drawn, each) for each in certainties),
        alarms=() if plan is None else tuple(alarm_checks(problem, plan)),
        limits=NO_LIMITS,
        cautions=(*_own_cautions(problem), *JOINT_PLAN_CAUTIONS, *MASKER_CAUTIONS),
    )


def alarm_checks(problem: Problem, plan: Plan) -> Iterator[AlarmCheck]:
    """Yield what becomes of the smoke alarm, each kind that it may be: as the room is, then behind the plan.

    Notes
    -----
    The plan itself holds a masker 15 dB below the alarm, both A-weighted. Here the alarm's own bands are
    held against those of masker and background, which is not taken to get quieter.
    """
    if np.isnan(problem.alarm_dba):
        return
    heard = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=problem.night_background_db)
    silence = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.full(len(MODEL_BANDS_HZ), -np.inf))
    left = left_over(problem, plan.choice)[0]
    in_room = problem.alarm_fixed >= 1.0 or "hall" not in problem.origins
    kept = np.ones(len(MODEL_BANDS_HZ)) if in_room else left[problem.origins.index("hall")]
    pitches: tuple[Pitch, ...] = ("high", "low") if problem.alarm_pitch is None else (problem.alarm_pitch,)
    for pitch in pitches:
        alarm = measured_alarm(pitch, problem.alarm_dba)
        for title, masker, share in (
            ("the room as it is", silence, np.ones(len(MODEL_BANDS_HZ))),
            ("the plan", plan.spectrum or silence, kept),
        ):
            loss = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=-level(share))
            yield check_alarm(alarm, masker, heard, title, loss)


def _own_cautions(problem: Problem) -> tuple[str, ...]:
    """Return what has to be said of this very plan."""
    whose = listener_caution(problem.listener)
    if (problem.events.max_u_db < NO_MOMENTS_U_DB).all():
        return (whose,)
    return (
        whose,
        "A night was assessed by an older version, which kept only the highest level of each band: short "
        "sounds such as slams may come out 1 to 3 dB louder than planned. Assess it again.",
    )


def part_shares(problem: Problem) -> tuple[PartShare, ...]:
    """Return by which parts the events' A-weighted energy comes in now, greatest share first."""
    weighted = energy(problem.events.signal_db) * A_WEIGHTS
    by_origin = np.zeros((len(problem.origins), len(MODEL_BANDS_HZ)))
    np.add.at(by_origin, problem.events.origin, weighted)
    total = float(by_origin.sum())
    found = [(group.title, float(np.sum(group.share * by_origin))) for group in problem.groups]
    found.append(("made inside, or through the structure", float(np.sum(problem.fixed * by_origin))))
    shares = [PartShare(title=title, share=part / total if total > 0.0 else 0.0) for title, part in found]
    return tuple(sorted((each for each in shares if each.share > 0.0), key=lambda each: -each.share))


def _refused(study: RoomStudy) -> list[tuple[str, str, tuple[str, ...], FloatArray]]:
    """Return what may not be done: part, title, reasons, and what it would leave of each path."""
    paths, bands = study.advice.now.paths, len(MODEL_BANDS_HZ)
    found = []
    for each in study.advice.refused:
        own = [number for number, path in enumerate(paths.paths) if path.part is each.part]
        after_m2 = treated_open_m2(paths, [(each.treatment, each.part)])
        factor = left_of_paths(paths.open_m2[own, :bands], after_m2[own, :bands])
        found.append((each.part.key, each.treatment.title, each.reasons, factor))
    return found
