"""A plan as its document has it: what was printed or kept, read back for people to see."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.reading import KeptNumber, first_mistake, json_object
from sleepnoise.hearing.ageing import Listener
from sleepnoise.masking.alarm import AlarmCheck
from sleepnoise.planning.bedroom_plan import PublishedLimits
from sleepnoise.planning.problem import YOUNG_ADULT

_REMEDY = "Give the file that 'sleepnoise plan --out' wrote, or plan again."


ALARM_RULES = 4
"""Rules that an alarm is put to. Chosen: as many as tables of alarms have columns for."""

_Count = Annotated[int, Field(ge=0)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Schema(_Part):
    name: Literal["sleepnoise/plan"]
    version: Literal[1]


class PlannedTreatment(_Part):
    """What is done to one part of the room; titles are empty in documents that do not have them."""

    part: str
    treatments: tuple[str, ...]
    money: KeptNumber
    guessed: bool
    part_title: str = ""
    titles: tuple[str, ...] = ()


class SummedPlan(_Part):
    """One plan and what it comes to; levels in dB(A), ``-inf`` for no masker."""

    treatments: tuple[PlannedTreatment, ...]
    money: float
    masker: str | None
    masker_dba: Annotated[KeptNumber, Field(alias="masker_LA_dB")]
    audible: _Count
    laeq: Annotated[KeptNumber, Field(alias="LAeq_dB")]
    background_dba: Annotated[KeptNumber, Field(alias="background_LA_dB")]
    alarm_dba: Annotated[KeptNumber, Field(alias="alarm_LA_dB")]
    not_kept: tuple[str, ...]
    proved: bool


class SummedNow(_Part):
    """How loud the nights are before anything is done, dB(A)."""

    laeq: Annotated[KeptNumber, Field(alias="LAeq_dB")]
    background_dba: Annotated[KeptNumber, Field(alias="background_LA_dB")]


class SummedWish(_Part):
    """What was asked for; what was left open is infinite."""

    margin_db: float
    events_allowed: _Count
    budget: float
    cap_dba: float
    laeq_limit_dba: float
    lafmax_limit_dba: float
    masker_step_db: Annotated[float, Field(gt=0.0)] | None = None


class SummedStep(_Part):
    """One step of a plan, in the order in which it brings most for its money; gains in dB."""

    part: str
    title: str
    money: float
    guessed: bool
    audible: _Count
    gain_db: KeptNumber
    level_gain_db: KeptNumber
    background_gain_db: KeptNumber


class FrontPlan(_Part):
    """A plan that no other one beats in money, masker and audible events at once."""

    money: float
    masker: str | None
    masker_dba: Annotated[KeptNumber, Field(alias="masker_LA_dB")]
    audible: _Count
    treatments: tuple[PlannedTreatment, ...]


class SummedMap(_Part):
    """Fewest audible events by money spent at most (rows) and masker at most (columns)."""

    money: tuple[float, ...]
    levels_dba: tuple[float, ...]
    audible: tuple[tuple[_Count, ...], ...]


class SummedEvent(_Part):
    """One event behind the plan: how far over the limit of hearing, dB."""

    event: str
    side: Annotated[str, Field(alias="from")]
    margin_db: KeptNumber
    audible: bool | None


class SummedShare(_Part):
    """How much of the events' sound comes in by one part, 0 to 1."""

    title: str
    share: float


class SummedDoubt(_Part):
    """How much one doubt matters, 0 to 1, and what would settle it."""

    doubt: str
    share: float
    settled_by: str


class SummedCertainty(_Part):
    """How sure the plan is: probability, and audible events of other nights like these."""

    allowed: _Count
    probability: float
    audible_10: float
    audible_90: float
    doubts: tuple[SummedDoubt, ...]


class SummedMissing(_Part):
    """What a treatment that may not be done, or closing a part off, would change."""

    part: str
    title: str
    reasons: tuple[str, ...]
    audible: _Count
    audible_now: _Count
    gain_db: KeptNumber


class _Mark(_Part):
    role: str
    name: str
    size_bytes: int
    sha256: str


class _MadeFrom(_Part):
    files: tuple[_Mark, ...]


class PlanSummary(_Part):
    """Everything that a plan's document says to people.

    Attributes
    ----------
    plan : SummedPlan or None
        ``None`` when nothing keeps what was asked of alarm or guideline.
    isolation_only, masking_only, eased : SummedPlan or None
        The best plans without masker, without treatments, and for a target 5 dB wider.
    map : SummedMap or None
        ``None`` where not every combination was worked out.
    as_it_is : SummedNow or None
        ``None`` in documents that do not have it.
    listener : Listener
        Whose ears it is for.
    alarms : tuple of AlarmCheck
        What it leaves of the smoke alarm; empty in documents that do not have it.
    limits : PublishedLimits
        Published values that it was to keep.
    """

    kind: Annotated[_Schema, Field(alias="schema")]
    made_from: _MadeFrom
    room: str
    currency: str | None
    wish: SummedWish
    combinations: float
    reached: bool
    plan: SummedPlan | None
    isolation_only: SummedPlan | None
    masking_only: SummedPlan | None
    eased: Annotated[SummedPlan | None, Field(alias="target_5_dB_wider")]
    events: tuple[SummedEvent, ...]
    comes_in_by: tuple[SummedShare, ...]
    steps: tuple[SummedStep, ...]
    front: tuple[FrontPlan, ...]
    map: SummedMap | None
    whatever: Annotated[tuple[str, ...], Field(alias="audible_whatever_is_done")]
    missing: tuple[SummedMissing, ...]
    certainty: SummedCertainty | None
    as_it_is: SummedNow | None = None
    listener: Listener = YOUNG_ADULT
    alarms: tuple[AlarmCheck, ...] = ()
    limits: Annotated[PublishedLimits, Field(alias="published_limits")] = PublishedLimits()
    cautions: tuple[str, ...]


def plan_from(document: Mapping[str, Any], where: str) -> PlanSummary:
    """Return what a plan's document says, as a JSON parser or ``plan_document`` gives it.

    Raises
    ------
    SettingsError
        If it is no plan.
    """
    try:
        found = PlanSummary.model_validate(document)
    except ValidationError as error:
        raise SettingsError(f"{where}: {first_mistake(error)}.", remedy=_REMEDY) from None
    if any(len(each.rules) != ALARM_RULES for each in found.alarms):
        raise SettingsError(f"{where}: an alarm is put to {ALARM_RULES} rules each time.", remedy=_REMEDY)
    if any(each.quantity not in ("laeq", "lafmax") for each in found.limits.used):
        raise SettingsError(f"{where}: published limits are of laeq or lafmax.", remedy=_REMEDY)
    drawn = found.map
    if drawn is not None:
        whole = all(len(row) == len(drawn.levels_dba) for row in drawn.audible)
        if not whole or len(drawn.audible) != len(drawn.money) or not drawn.levels_dba:
            raise SettingsError(f"{where}: its map is not one count for each place.", remedy=_REMEDY)
    return found


def read_plan_summary(path: Path, content: bytes) -> PlanSummary:
    """Return what the plan of a file's content says.

    Raises
    ------
    SettingsError
        If it is no plan.
    """
    return plan_from(json_object(str(path), content, what="plan", remedy=_REMEDY), str(path))
