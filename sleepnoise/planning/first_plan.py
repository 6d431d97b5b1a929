"""The first plan: for each isolation step, the quietest masker that keeps events below a margin.

The audibility model is linear in the masker's energy. So each event, behind each step, has
one masker level of each shape from which on it is covered, and every count follows from
comparing those levels.

Isolation lowers the background as well as the events. How much of the background comes from
outside isn't known yet; the plan takes all of it, because a lower background never hides
more: the limit ``kappa (N + M + Q)`` only falls. With both lowered alike, more isolation still
never makes more events audible, since masker ``M`` and ear noise ``Q`` stay what they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import (
    INAUDIBLE_DB,
    MODEL_BANDS_HZ,
    event_signal,
    margin_db,
    on_model_bands,
)
from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.levels.history import TICK_S
from sleepnoise.masking.cautions import MASKER_CAUTIONS
from sleepnoise.masking.limits import DEFAULT_CAP_DBA, LOWEST_LEVEL_DBA, check_masker_level
from sleepnoise.masking.masker import (
    MaskerShape,
    needed_level_dba,
    needed_masker_db,
    shaped_to_events,
)
from sleepnoise.night.event_shape import LONG_MAXIMUM_TICKS, SHORT_MAXIMA_FROM_HZ
from sleepnoise.night.events import Event

MARGIN_RANGE_DB = (-15.0, 15.0)
"""Margins that may be aimed at. Chosen: from five times the model's uncertainty below the limit of hearing to
just above "not noticeable"."""

MASKER_STEP_RANGE_DB = (0.1, 5.0)
"""Spacings of masker levels. Chosen: 0.1 dB is finer than anyone can set, 5 dB is coarse enough to hear."""

PLAN_CAUTIONS = (
    "What is heard is computed for a young adult with normal hearing; published models differ from each "
    "other by about 3 dB either way. A plan that just meets its target may miss it in the room.",
    "Isolation steps are generic values for the treated path alone. The room gains less where sound also "
    "comes by other paths, and every event is taken to come by the treated one: prove each step with a "
    "door test.",
    "The background is taken to fall with every isolation step, as if all of it came from outside, because "
    "then events stand out most. What is made inside the room covers more than is counted here.",
    "Before anything is sealed, hung or replaced: fire doors, escape windows, ventilation, air for "
    "combustion, and smoke and carbon monoxide alarms come first. Local codes and licensed practice "
    "decide.",
)
"""Said with every plan."""

NO_EVENTS = "No event was found, so there is nothing to plan."
"""Said first when the night was quiet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSettings:
    """What a plan is asked to reach.

    Attributes
    ----------
    margin_db : float, dB
        Audibility margin that events must stay below: 0 is the limit of hearing them.
    events_allowed : int
        Events that may stay audible.
    cap_dba : float, dB(A)
        Loudest masker that may be proposed.
    masker_step_db : float, dB
        Spacing of masker levels.

    Raises
    ------
    SettingsError
        If one of them is out of range.
    """

    margin_db: float = INAUDIBLE_DB
    events_allowed: int = 0
    cap_dba: float = DEFAULT_CAP_DBA
    masker_step_db: float = 1.0

    def __post_init__(self) -> None:
        _check_range("margin_db", self.margin_db, MARGIN_RANGE_DB, "dB")
        _check_range("masker_step_db", self.masker_step_db, MASKER_STEP_RANGE_DB, "dB")
        if self.events_allowed < 0:
            raise SettingsError(
                f"events_allowed: must be 0 or more, got {self.events_allowed}.",
                remedy="Give the number of events that may stay audible.",
            )
        check_masker_level(self.cap_dba, "cap_dba")
        if self.cap_dba < LOWEST_LEVEL_DBA:
            raise SettingsError(
                f"cap_dba: must be {LOWEST_LEVEL_DBA:g} dB(A) or more, got {self.cap_dba:g}.",
                remedy="For no masker at all, read the plan's counts without masker.",
            )

    @property
    def masker_levels_dba(self) -> FloatArray:
        """Masker levels to try, rising, shape (levels,), dB(A); the first is ``-inf``, the last the cap."""
        steps = int(np.ceil((self.cap_dba - LOWEST_LEVEL_DBA) / self.masker_step_db - 1e-9))
        below_cap = LOWEST_LEVEL_DBA + self.masker_step_db * np.arange(steps)
        return np.concatenate([[-np.inf], below_cap, [self.cap_dba]])


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerChoice:
    """The quietest masker of one shape behind one isolation step.

    Attributes
    ----------
    step : IsolationStep
    shape : str
        Name of the masker shape.
    reachable : bool
        Whether the target can be met without a masker louder than the cap.
    level_dba : float, dB(A)
        Level of that masker at the pillow, ``-inf`` when none is needed. When the target
        can't be met: the masker level, up to the cap, that leaves the fewest audible events.
    audible_events : int
        Events that stay audible at that level.
    spectrum : Spectrum
        Of the masker.
    masker_dba : tuple of float
        Masker levels tried, rising; the first is ``-inf``, no masker.
    audible_by_level : tuple of int
        Audible events at each of them.
    """

    step: IsolationStep
    shape: str
    reachable: bool
    level_dba: float
    audible_events: int
    spectrum: Spectrum
    masker_dba: tuple[float, ...]
    audible_by_level: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPlan:
    """Isolation x masking, worked out for one night.

    Attributes
    ----------
    settings : PlanSettings
    events : int
        Events that were considered.
    audible_now : int
        Events above the margin as the room is.
    choices : tuple of MaskerChoice
        One for each isolation step and masker shape.
    best : tuple of MaskerChoice
        For each isolation step the shape with the quietest masker that meets the target;
        where none does, the one that leaves the fewest audible events.
    cautions : tuple of str
    """

    settings: PlanSettings
    events: int
    audible_now: int
    choices: tuple[MaskerChoice, ...]
    best: tuple[MaskerChoice, ...]
    cautions: tuple[str, ...]


def first_plan(
    events: Sequence[Event],
    *,
    steps: Sequence[IsolationStep],
    shapes: Sequence[MaskerShape],
    settings: PlanSettings | None = None,
) -> FirstPlan:
    """Weigh isolation steps and maskers against each other.

    Parameters
    ----------
    events : sequence of Event
        Their levels must be absolute: the threshold of hearing takes part.
    steps : sequence of IsolationStep
        Each is weighed by itself, behind the room as it is.
    shapes : sequence of MaskerShape
        Standard shapes. One that is shaped to the events is added, anew for each step.
    settings : PlanSettings, optional
        The defaults when left out.

    Returns
    -------
    FirstPlan
    """
    settings = settings or PlanSettings()
    signal_db, background_db = heard_events(events)
    by_step = [_choices(signal_db, background_db, step, shapes, settings) for step in steps]
    audible_now = margin_db(signal_db, background_db) > settings.margin_db
    return FirstPlan(
        settings=settings,
        events=len(events),
        audible_now=int(audible_now.sum()),
        choices=tuple(choice for choices in by_step for choice in choices),
        best=tuple(min(choices, key=_quietest_first) for choices in by_step),
        cautions=_cautions(signal_db),
    )


class HeardEvent(Protocol):
    """What of an event decides whether it is heard: its band maxima, and what was heard before it."""

    @property
    def max_spectrum(self) -> Spectrum:
        """Highest level of each band."""

    @property
    def background_spectrum(self) -> Spectrum:
        """Equivalent band levels without the event."""


def heard_events(events: Sequence[HeardEvent]) -> tuple[FloatArray, FloatArray]:
    """Return what each event alone and its background sound like, shape (events, bands) each, dB."""
    shape = (len(events), len(MODEL_BANDS_HZ))
    maxima_db = np.array([on_model_bands(event.max_spectrum) for event in events]).reshape(shape)
    background_db = np.array([on_model_bands(event.background_spectrum) for event in events]).reshape(shape)
    short = np.array(MODEL_BANDS_HZ) >= SHORT_MAXIMA_FROM_HZ
    averaging_s = np.where(short, TICK_S, LONG_MAXIMUM_TICKS * TICK_S)
    return event_signal(maxima_db, background_db, averaging_s), background_db


def _choices(
    signal_db: FloatArray,
    background_db: FloatArray,
    step: IsolationStep,
    shapes: Sequence[MaskerShape],
    settings: PlanSettings,
) -> list[MaskerChoice]:
    """Return the quietest masker of each shape, the fitted one last."""
    loss_db = on_model_bands(step.loss)
    needed_db = needed_masker_db(signal_db - loss_db, background_db - loss_db, settings.margin_db)
    fitted = shaped_to_events(needed_db, cap_dba=settings.cap_dba, uncovered_allowed=settings.events_allowed)
    return [_choice(step, shape, needed_level_dba(needed_db, shape), settings) for shape in (*shapes, fitted)]


def _choice(
    step: IsolationStep, shape: MaskerShape, covered_from_dba: FloatArray, settings: PlanSettings
) -> MaskerChoice:
    """Return the quietest level of one shape, given the level from which on each event is covered."""
    levels_dba = settings.masker_levels_dba
    audible = np.sum(covered_from_dba[:, None] > levels_dba, axis=0)
    # A louder masker never uncovers an event, so counts only fall: take the first of the best.
    wanted = max(settings.events_allowed, int(audible[-1]))
    chosen = int(np.argmax(audible <= wanted))
    level_dba = float(levels_dba[chosen])
    return MaskerChoice(
        step=step,
        shape=shape.name,
        reachable=int(audible[-1]) <= settings.events_allowed,
        level_dba=level_dba,
        audible_events=int(audible[chosen]),
        spectrum=shape.at(level_dba),
        masker_dba=tuple(levels_dba.tolist()),
        audible_by_level=tuple(audible.tolist()),
    )


def _quietest_first(choice: MaskerChoice) -> tuple[bool, float, float]:
    """Return a sort key: reachable before not; then the quieter, or the fewer audible events."""
    if choice.reachable:
        return False, choice.level_dba, choice.audible_events
    return True, choice.audible_events, choice.level_dba


def _cautions(signal_db: FloatArray) -> tuple[str, ...]:
    if signal_db.shape[0] == 0:
        return (NO_EVENTS, *PLAN_CAUTIONS, *MASKER_CAUTIONS)
    known = ~np.isnan(signal_db).any(axis=0)
    if known.all():
        return (*PLAN_CAUTIONS, *MASKER_CAUTIONS)
    unknown_from = int(np.argmin(known))
    return (
        _unknown_bands_caution(MODEL_BANDS_HZ[max(unknown_from - 1, 0)]),
        *PLAN_CAUTIONS,
        *MASKER_CAUTIONS,
    )


def _unknown_bands_caution(highest_known_hz: float) -> str:
    """Return the caution for recordings that end below the model's bands."""
    return (
        f"Nothing is known above the {highest_known_hz:g} Hz band in part of the events: what they have "
        "there was not planned for."
    )


def _check_range(name: str, value: float, allowed: tuple[float, float], unit: str) -> None:
    lowest, highest = allowed
    if not lowest <= value <= highest:
        raise SettingsError(
            f"{name}: must lie between {lowest:g} and {highest:g} {unit}, got {value:g}.",
            remedy=f"Give a value between {lowest:g} and {highest:g} {unit}.",
        )
