"""The first plan: for each isolation step, the quietest masker that keeps events below a margin."""

from dataclasses import dataclass

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.isolation.steps import IsolationStep


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
    """

    margin_db: float
    events_allowed: int
    cap_dba: float
    masker_step_db: float


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
