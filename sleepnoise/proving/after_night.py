"""A plan measured anew: the night's own sound behind its losses, through the very same assessment."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sleepnoise.assessing.calibrating import night_calibration
from sleepnoise.assessing.chosen_guidelines import criteria_of_guidelines, guideline_names
from sleepnoise.assessing.record import NightRecord
from sleepnoise.assessing.said import read_said
from sleepnoise.errors import SettingsError
from sleepnoise.judgement.assessment import NightAssessment, assess_history
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event
from sleepnoise.proving.after_sound import NightLosses, PlayedMasker
from sleepnoise.proving.agreement import EventAnew, MeasuredAnew, events_anew, levels_anew
from sleepnoise.proving.filtering import filtered
from sleepnoise.proving.promise import Promise, PromisedEvent

SAME_EVENT_DB = 0.5
"""Difference up to which an event is that of the plan. Chosen: the same assessment gives the same level."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AfterNight:
    """A night behind a plan.

    Attributes
    ----------
    promise : Promise
    before : NightRecord
    assessment : NightAssessment
        By the same window, events and documents.
    levels : tuple of MeasuredAnew
        LAeq, background and masker.
    events : tuple of EventAnew
    """

    promise: Promise
    before: NightRecord
    assessment: NightAssessment
    levels: tuple[MeasuredAnew, ...]
    events: tuple[EventAnew, ...]

    @property
    def audible(self) -> tuple[EventAnew, ...]:
        """Events that stay above the margin asked for."""
        return tuple(each for each in self.events if each.margin_db > self.promise.margin_db)


def promised_events(
    record: NightRecord, promise: Promise, night: int
) -> tuple[tuple[Event, PromisedEvent], ...]:
    """Return the events of a night, each with what is promised of it.

    Raises
    ------
    SettingsError
        If the levels are relative, or these are not the events that the plan was made from.
    """
    if not record.calibration.absolute:
        raise SettingsError(
            "plan: without calibration nobody can tell what is heard of a night.",
            remedy="Give the calibration that the night was assessed with.",
        )
    promised = {each.number: each for each in promise.events if each.night == night}
    found = [(event, promised.pop(event.number, None)) for event in record.assessment.events]
    pairs = tuple((event, each) for event, each in found if each is not None)
    apart = any(not abs(each.lafmax.before - event.lafmax) <= SAME_EVENT_DB for event, each in pairs)
    if promised or apart or len(pairs) < len(found):
        raise SettingsError(
            f"plan: was not made from this night as it is assessed here ({len(found)} events; the plan has "
            f"{sum(each.night == night for each in promise.events)}).",
            remedy="Give the recording and the options of 'assess' that the plan's night was assessed with.",
        )
    return pairs


def after_night(
    record: NightRecord,
    promise: Promise,
    *,
    night: int = 1,
    on_progress: Callable[[float], None] = lambda _share: None,
) -> AfterNight:
    """Listen to a night behind a plan and assess it as the night itself was assessed.

    Parameters
    ----------
    record : NightRecord
        The night as it was.
    promise : Promise
    night : int
        Which of the plan's nights it is, from 1.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SettingsError
        See :func:`promised_events`.
    """
    pairs = promised_events(record, promise, night)
    history = _heard_after(record, promise, pairs, on_progress)
    assessment = assessed_alike(record, history)
    return AfterNight(
        promise=promise,
        before=record,
        assessment=assessment,
        levels=levels_anew(record, promise, assessment, pairs),
        events=events_anew(pairs, record.history, history, promise),
    )


def _heard_after(
    record: NightRecord,
    promise: Promise,
    pairs: Sequence[tuple[Event, PromisedEvent]],
    on_progress: Callable[[float], None],
) -> LevelHistory:
    sound, settings = record.sound, record.settings
    losses = NightLosses(record.history, [(event, each.origin) for event, each in pairs], promise)
    response = night_calibration(settings, None).response
    blocks = filtered(
        sound.blocks(
            record.calibration,
            channel=settings.channel,
            on_progress=lambda done_s: on_progress(done_s / sound.seconds),
        ),
        losses.from_instant(record.history.start),
        correction_db=response.correction_db if response else np.zeros_like,
    )
    if promise.masker is not None:
        blocks = PlayedMasker(promise.masker, sound.sample_rate_hz).over(blocks)
    history = level_history(blocks, threads=settings.threads, expected_s=sound.seconds)
    return history.without(record.history.left_out[: history.ticks])


def assessed_alike(record: NightRecord, history: LevelHistory) -> NightAssessment:
    """Return the assessment of another history of the same night, with everything as it was."""
    of_levels, of_bands = (budget.expanded_db for budget in record.budgets)
    return assess_history(
        history,
        window=record.assessment.window,
        criteria=criteria_of_guidelines(guideline_names(record.settings.guidelines)),
        event_settings=record.settings.events,
        absolute=record.calibration.absolute,
        circumstances=read_said(
            record.settings.statements, record.sound, record.assessment.window.zone
        ).circumstances,
        expanded_uncertainty_db=of_levels,
        band_uncertainty_db=of_bands,
    )
