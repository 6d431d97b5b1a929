"""What a plan's model computes beside what is measured in the filtered sound, and why they differ.

The model keeps those moments of each event that may be its loudest, with the bands' means over 125 ms. Where
computed and measured levels still differ, the losses are put on the spectra of all moments: if this gives
what was measured, the difference is explained.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.record import NightRecord
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, ear_noise_of, margin_db
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.event_moments import fast_energies
from sleepnoise.night.event_shape import max_spectrum
from sleepnoise.night.events import Event
from sleepnoise.planning.first_plan import heard_events
from sleepnoise.proving.after_sound import PlayedMasker, kept_in_bands, losses_within
from sleepnoise.proving.promise import Promise, PromisedEvent

AGREEING_DB = 0.5
"""Difference up to which computed and measured levels agree. Chosen: less than anyone hears."""

OF_SEVERAL = "The plan's number is that of all its nights together."
OF_MOMENTS = (
    "The plan keeps a few moments of each event. On all the spectra as they were, moment by moment, its "
    "losses give {level:.1f}, as measured."
)
IN_SCATTER = (
    "What is left of it lies within the scatter of background and masker, so that their own highest "
    "moment is measured."
)
NOT_EXPLAINED = "Not explained."
NEAR_STEADY_DB = 6.0
"""Level over background and masker up to which their scatter decides a maximum. Chosen: where an event begins
to be told from them at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredAnew:
    """One level, dB(A): before, by the plan's model, and measured in the filtered sound.

    ``explanation`` is empty when both agree.
    """

    name: str
    before: float
    computed: float
    measured: float
    explanation: str = ""

    @property
    def difference_db(self) -> float:
        """Measured less computed."""
        return self.measured - self.computed

    @property
    def agrees(self) -> bool:
        """Whether both are the same within ``AGREEING_DB``; two silences are."""
        return self.measured == self.computed or abs(self.difference_db) <= AGREEING_DB


@dataclass(frozen=True, slots=True, kw_only=True)
class EventAnew:
    """One event of the night as it was, behind the plan.

    Attributes
    ----------
    number : int
        In the night as it was.
    source, side : str
    lafmax : MeasuredAnew
    margin_before_db, computed_margin_db, margin_db : float, dB
        Audibility as it was, by the plan's model, and measured.
    """

    number: int
    source: str
    side: str
    lafmax: MeasuredAnew
    margin_before_db: float
    computed_margin_db: float
    margin_db: float


def levels_anew(
    record: NightRecord,
    promise: Promise,
    after: NightAssessment,
    pairs: Sequence[tuple[Event, PromisedEvent]],
) -> tuple[MeasuredAnew, ...]:
    """Return LAeq, background and masker."""
    before = record.assessment
    laeq = MeasuredAnew(
        name="LAeq",
        before=before.statistics.laeq,
        computed=promise.laeq.promised,
        measured=after.statistics.laeq,
    )
    background = MeasuredAnew(
        name="background",
        before=before.background_spectrum.weighted_level(),
        computed=promise.background.promised,
        measured=after.background_spectrum.weighted_level(),
    )
    several = len(promise.nights) > 1
    found = [
        laeq if laeq.agrees else _explained(laeq, several, _laeq_by_moments(record, promise, pairs)),
        background if background.agrees else _explained(background, several, np.nan),
    ]
    if promise.masker is not None:
        masker = PlayedMasker(promise.masker, record.sound.sample_rate_hz)
        alone = level_history([masker.block(record.start.utc)])
        measured = float(level(np.mean(energy(alone.laeq))))
        found.append(
            MeasuredAnew(name="masker", before=-np.inf, computed=promise.masker_dba, measured=measured)
        )
    return tuple(found)


def _explained(found: MeasuredAnew, several: bool, by_moments: float) -> MeasuredAnew:
    if abs(by_moments - found.measured) <= AGREEING_DB:
        return replace(found, explanation=OF_MOMENTS.format(level=by_moments))
    return replace(found, explanation=OF_SEVERAL if several else NOT_EXPLAINED)


def _laeq_by_moments(
    record: NightRecord, promise: Promise, pairs: Sequence[tuple[Event, PromisedEvent]]
) -> float:
    """Return the LAeq of the night that its losses give tick by tick, masker included, dB."""
    history, night = record.history, record.assessment
    ticks = slice(history.tick_of(night.start), history.tick_of(night.end))
    of_background = kept_in_bands(
        energy(night.background_spectrum.on_bands(MODEL_BANDS_HZ).levels_db), -promise.background_loss_db
    )
    heard = energy(history.laeq.astype(np.float64)) * of_background
    for event, each in pairs:
        own = slice(event.first_tick, event.last_tick)
        before, loss_db = losses_within(history, event, promise, each.origin)
        heard[own] = energy(history.laeq[own].astype(np.float64)) * kept_in_bands(before, -loss_db)
    used = ~history.left_out[ticks]
    return float(level(np.mean(heard[ticks][used]) + energy(promise.masker_dba)))


def events_anew(
    pairs: Sequence[tuple[Event, PromisedEvent]],
    before: LevelHistory,
    after: LevelHistory,
    promise: Promise,
) -> tuple[EventAnew, ...]:
    """Return every event as it is behind the plan."""
    return tuple(_event_anew(event, each, before, after, promise) for event, each in pairs)


def _event_anew(
    event: Event, each: PromisedEvent, before: LevelHistory, after: LevelHistory, promise: Promise
) -> EventAnew:
    own = slice(event.first_tick, event.last_tick)
    steady = event.background_spectrum.on_bands(MODEL_BANDS_HZ).attenuated(promise.background_loss_db)
    if promise.masker is not None:
        steady = steady.combined(promise.masker)
    lafmax = MeasuredAnew(
        name="LAFmax",
        before=event.lafmax,
        computed=each.lafmax.promised,
        measured=float(after.lafmax[own].max()),
    )
    if not lafmax.agrees:
        lafmax = _explained(lafmax, False, _by_moments(event, each, before, promise))
        if lafmax.explanation == NOT_EXPLAINED and lafmax.computed < steady.weighted_level() + NEAR_STEADY_DB:
            lafmax = replace(lafmax, explanation=IN_SCATTER)
    return EventAnew(
        number=event.number,
        source=each.source,
        side=each.origin,
        lafmax=lafmax,
        margin_before_db=each.margin_before_db,
        computed_margin_db=each.margin_db,
        margin_db=_margin(event, after, steady, promise),
    )


def _by_moments(event: Event, each: PromisedEvent, before: LevelHistory, promise: Promise) -> float:
    """Return the LAFmax that its losses give tick by tick, with the masker, dB(A)."""
    own = slice(event.first_tick, event.last_tick)
    weighted = energy(before.laeq[own].astype(np.float64))
    heard, loss_db = losses_within(before, event, promise, each.origin)
    share = fast_energies(weighted * kept_in_bands(heard, -loss_db)) / fast_energies(weighted)
    left = energy(before.lafmax[own].astype(np.float64)) * share + energy(promise.masker_dba)
    return float(level(left.max()))


def _margin(event: Event, after: LevelHistory, steady: Spectrum, promise: Promise) -> float:
    highest = max_spectrum(after, event.first_tick, event.last_tick)
    signal_db, noise_db = heard_events([replace(event, max_spectrum=highest, background_spectrum=steady)])
    return float(margin_db(signal_db, noise_db, ear_noise_db=ear_noise_of(promise.listener))[0])
