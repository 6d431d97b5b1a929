"""The raw model: what is heard in the room once a plan is carried out. Every plan is judged by this alone."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, margin_db
from sleepnoise.planning.problem import A_WEIGHTS, Problem

GUARD_DB = 1e-9
"""An event is audible this far above the target. Chosen: below any rounding of levels, above that of sums."""

ALARM_OVER_MASKER_DB = 15.0
"""By how much an alarm must stand above a masker. Source: NFPA 72, 15 dB over the average ambient level, as
quoted on public pages."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What a plan comes to.

    Attributes
    ----------
    money : float
    margins_db : ndarray, shape (events,), dB
        ``-inf`` for silence.
    audible : ndarray of bool, shape (events,)
    lafmax_dba : ndarray, shape (events,), dB(A)
        With background and masker.
    laeq_dba, background_dba, masker_dba, alarm_dba : float, dB(A)
        Of all nights, masker included; of background and masker alone; of the alarm at the pillow.
    unmet : tuple of str
        What was asked for and is not kept.
    """

    money: float
    margins_db: FloatArray
    audible: NDArray[np.bool_]
    lafmax_dba: FloatArray
    laeq_dba: float
    background_dba: float
    masker_dba: float
    alarm_dba: float
    unmet: tuple[str, ...]

    @property
    def audible_count(self) -> int:
        """Number of events above the margin."""
        return int(self.audible.sum())


def as_it_is(problem: Problem) -> Outcome:
    """Return what the room is like before anything is done, also where treatments are required."""
    bare = problem.with_nothing()
    return outcome(bare, bare.nothing)


def left_over(problem: Problem, choice: Sequence[int]) -> tuple[FloatArray, FloatArray, float]:
    """Return what a choice leaves of each origin, (origins, bands), background, (bands,), and alarm."""
    sound, background, alarm = problem.fixed.copy(), problem.background_fixed.copy(), problem.alarm_fixed
    for group, number in zip(problem.groups, choice, strict=True):
        sound += group.carried[number]
        background += group.background_carried[number]
        alarm += float(group.alarm_carried[number])
    return sound, background, alarm


def outcome(problem: Problem, choice: Sequence[int], masker: Spectrum | None = None) -> Outcome:
    """Work out what a plan comes to.

    Parameters
    ----------
    problem : Problem
    choice : sequence of int
        Number of the option of each group.
    masker : Spectrum, optional
        At the pillow, on the bands of the audibility model; none when left out.

    Notes
    -----
    The background that comes in from outside falls with the isolation, so that what remains of an
    event may stand out more than before.
    """
    sound, background, alarm = left_over(problem, choice)
    events, silence_db = problem.events, np.full(len(MODEL_BANDS_HZ), -np.inf)
    masker_db = silence_db if masker is None else masker.levels_db
    remaining_db = events.signal_db + level(sound)[events.origin]
    noise_db = level(energy(events.background_db + level(background)) + energy(masker_db))
    margins_db = margin_db(remaining_db, noise_db, ear_noise_db=problem.ear_noise_db)
    audible = margins_db > problem.wish.margin_db + GUARD_DB
    steady = float(np.sum(A_WEIGHTS * energy(masker_db)))
    of_night = float(np.sum(A_WEIGHTS * energy(problem.night_background_db) * background))
    of_events = float(np.sum(energy(events.exposure_dba) * events.kept_of_exposures(sound))) / problem.seconds
    beside = np.sum(A_WEIGHTS * energy(events.background_db) * background, axis=-1)
    result = Outcome(
        money=float(sum(group.options[n].money for group, n in zip(problem.groups, choice, strict=True))),
        margins_db=margins_db,
        audible=audible,
        lafmax_dba=level(energy(events.max_dba) * events.kept_of_maxima(sound) + beside + steady),
        laeq_dba=float(level(of_events + of_night + steady)),
        background_dba=float(level(of_night + steady)),
        masker_dba=float(level(steady)),
        alarm_dba=float(problem.alarm_dba + level(alarm)),
        unmet=(),
    )
    return _judged(problem, result)


def _judged(problem: Problem, found: Outcome) -> Outcome:
    """Return the outcome with what it misses."""
    wish = problem.wish
    over = int(np.sum(found.lafmax_dba > wish.lafmax_limit_dba + GUARD_DB))
    unmet = {
        "audible events": found.audible_count > wish.events_allowed,
        "budget": found.money > wish.budget + 1e-9,
        "masker cap": found.masker_dba > wish.cap_dba + 1e-6,
        "LAeq": found.laeq_dba > wish.laeq_limit_dba + GUARD_DB,
        "LAFmax": over > wish.lafmax_allowed,
        "alarm over masker": found.masker_dba > found.alarm_dba - ALARM_OVER_MASKER_DB + 1e-6,
        "alarm at the pillow": found.alarm_dba < wish.alarm_floor_dba - GUARD_DB,
    }
    return replace(found, unmet=tuple(name for name, missed in unmet.items() if missed))
