"""A night after the work, held against what the plan promised.

Sounds come and go, so single events are not compared: of each source the mean of its events' maxima is,
among those that can be told from the background at all.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.assessing.kept_night import KeptEvent, KeptNight
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import MODEL_UNCERTAINTY_DB, ear_noise_of, margin_db
from sleepnoise.isolation.paths import rectangular_u_db
from sleepnoise.night.event_settings import ONSET_DB
from sleepnoise.planning.first_plan import heard_events
from sleepnoise.planning.robustness import LEVEL_U_DB
from sleepnoise.proving.held import Held, Word, altogether, held
from sleepnoise.proving.promise import Promise, PromisedEvent

NIGHT_U_DB = 1.5
"""By how much a level of one night differs from that of another, standard deviation, dB. Chosen: quiet
streets; several nights before and after tell it better."""

EVENT_U_DB = 3.0
"""The same of one event's LAFmax and the next of its source, with too few to tell. Chosen: passages and
doors in a room (common practice, no source)."""

NOT_TOLD = "sounds that nobody named"
"""Name of a source without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightProof:
    """A night held against a plan.

    Attributes
    ----------
    night : str
    rows : tuple of Held
        LAeq, background, each source.
    count : Held
        Events that stay audible.
    word : Word
    """

    night: str
    rows: tuple[Held, ...]
    count: Held
    word: Word


def prove_by_night(promise: Promise, night: KeptNight, *, same_recorder: bool = False) -> NightProof:
    """Hold a night after the work against a plan.

    Parameters
    ----------
    promise : Promise
    night : KeptNight
    same_recorder : bool
        Both nights were recorded with one recorder, calibration and place, so that what is wrong with its
        levels is wrong in both.

    Raises
    ------
    SettingsError
        If it is one of the nights that the plan was made from.
    """
    if night.name in promise.nights and _is_before(promise, night):
        raise SettingsError(
            f"{night.name}: the plan was made from this very night.",
            remedy="Give a night that was recorded after the work.",
        )
    level_u_db = 0.0 if same_recorder else LEVEL_U_DB
    measured_u = [level_u_db, level_u_db, NIGHT_U_DB]
    laeq = held(
        "LAeq",
        promise.laeq.before,
        promise.laeq.promised,
        night.laeq,
        [promise.laeq.u_db, *measured_u, _chance_u_db(promise)],
        both_ways=False,
    )
    background = held(
        "background",
        promise.background.before,
        promise.background.promised,
        night.background_spectrum.weighted_level(),
        [promise.background.u_db, *measured_u],
        both_ways=promise.masker is not None,
    )
    rows = (laeq, background, *_sources(promise, night, level_u_db))
    count = _count(promise, night)
    return NightProof(night=night.name, rows=rows, count=count, word=altogether((*rows, count)))


def _is_before(promise: Promise, night: KeptNight) -> bool:
    place = promise.nights.index(night.name) + 1
    own = {each.number: each.lafmax.before for each in promise.events if each.night == place}
    return bool(own) and all(abs(own.get(each.number, np.inf) - each.lafmax) < 1e-6 for each in night.events)


def _chance_u_db(promise: Promise) -> float:
    """Return by how much chance, with the events that happen in a night, moves an LAeq, dB."""
    exposed = 10.0 ** (np.array([each.lafmax.promised for each in promise.events]) / 10.0)
    if not exposed.size:
        return 0.0
    share = 1.0 - 10.0 ** ((promise.background.promised - promise.laeq.promised) / 10.0)
    # A sum of Poisson events: its variance is that of their squares.
    spread = float(np.sqrt(np.sum(exposed**2)) / np.sum(exposed)) * max(share, 0.0)
    return 10.0 * float(np.log10(1.0 + spread))


def _sources(promise: Promise, night: KeptNight, level_u_db: float) -> Iterator[Held]:
    """Yield the mean LAFmax of each source that is in both nights."""
    told_from_dba = promise.background.promised + ONSET_DB
    for source in dict.fromkeys(each.source for each in promise.events):
        own = [each for each in promise.events if each.source == source]
        clear = [each for each in own if each.lafmax.promised >= told_from_dba]
        after = [each for each in night.events if each.label == source]
        if clear and after:
            yield _source(source or NOT_TOLD, clear, after, level_u_db)
        elif after:
            yield _should_be_gone(source or NOT_TOLD, own, after, told_from_dba, level_u_db)


def _source(
    name: str, promised: Sequence[PromisedEvent], after: Sequence[KeptEvent], level_u_db: float
) -> Held:
    promised_dba = [each.lafmax.promised for each in promised]
    measured_dba = [each.lafmax for each in after]
    of_plan = float(np.mean([each.lafmax.u_db for each in promised]))
    return held(
        f"mean LAFmax, {name}",
        float(np.mean([each.lafmax.before for each in promised])),
        float(np.mean(promised_dba)),
        float(np.mean(measured_dba)),
        [of_plan, level_u_db, level_u_db, _mean_u_db(promised_dba), _mean_u_db(measured_dba)],
        both_ways=False,
    )


def _should_be_gone(
    name: str,
    own: Sequence[PromisedEvent],
    after: Sequence[KeptEvent],
    told_from_dba: float,
    level_u_db: float,
) -> Held:
    """Hold a source that was promised not to stand out any more against where it does."""
    measured_dba = [each.lafmax for each in after]
    of_plan = float(np.mean([each.lafmax.u_db for each in own]))
    return held(
        f"mean LAFmax, {name}",
        float(np.mean([each.lafmax.before for each in own])),
        told_from_dba,
        float(np.mean(measured_dba)),
        [of_plan, level_u_db, level_u_db, _mean_u_db(measured_dba)],
        both_ways=False,
    )


def _mean_u_db(levels_dba: Sequence[float]) -> float:
    """Return how well the mean of a source is known from so many of its events, dB."""
    few = len(levels_dba) < 3
    spread = EVENT_U_DB if few else float(np.std(levels_dba, ddof=1))
    return spread / float(np.sqrt(len(levels_dba)))


def _count(promise: Promise, night: KeptNight) -> Held:
    """Hold the number of audible events against what is promised for a night of that length."""
    share = night.recorded_s / promise.seconds
    before = share * sum(each.margin_before_db > promise.margin_db for each in promise.events)
    allowed = share * promise.allowed
    margins_db = margin_db(*heard_events(night.events), ear_noise_db=ear_noise_of(promise.listener))
    model_u_db = rectangular_u_db(2.0 * MODEL_UNCERTAINTY_DB)
    unsure_db = COVERAGE_95 * model_u_db
    sure = int(np.sum(margins_db > promise.margin_db + unsure_db))
    possible = int(np.sum(margins_db > promise.margin_db - unsure_db))
    measured = int(np.sum(margins_db > promise.margin_db))
    chance = COVERAGE_95 * float(np.sqrt(max(allowed, 1.0)))
    word, reason = _counted(sure, possible, allowed, before, chance)
    return Held(
        name="audible events",
        before=before,
        promised=allowed,
        measured=float(measured),
        expanded=max((possible - sure) / 2.0, chance),
        word=word,
        reason=reason,
    )


def _counted(sure: int, possible: int, allowed: float, before: float, chance: float) -> tuple[Word, str]:
    between = f"{sure} surely, {possible} possibly, within what is known of hearing"
    if sure > allowed + chance:
        return "not kept", f"Audible are {between}: more than chance would add to {allowed:.0f}."
    if before <= allowed:
        return "cannot tell", f"Audible are {between}; the plan promised no fewer than before."
    if possible <= allowed:
        return "kept", f"Audible are {between}."
    return "cannot tell", f"Audible are {between}; {allowed:.0f} were promised, and chance plays a part."
