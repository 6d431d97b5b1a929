"""Which bedrooms are worst, how surely, and where money quiets most.

A bedroom's margin is the mean of its nights' margins over the value: LAeq as energies, all else as
it is. Its uncertainty joins what all nights share (calibration, place of the microphone), which more
nights do not lessen, and how well the mean of differing nights is known. Whether a value binds at all
is judged night by night; a bedroom is never said to exceed what no night of it does. Nights of which
too much is missing do not count, and one night alone says nothing of the others.

A plan's gain is the events no longer heard, for what the plan costs.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.comparison.exceedance import share_interval
from sleepnoise.comparison.spread import mean_of_nights
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.reading import few_bytes, first_mistake

LEAST_RECORDED = 0.75
"""Share of the window that must be recorded for a night to count. Chosen: were the missing quarter
silent, LAeq would be 1.2 dB lower."""

ENERGIES = ("laeq", "lceq", "lae")
"""Quantities whose levels are averaged as energies."""

Standing = Literal["exceeded", "kept", "cannot tell", "shown only"]
"""What the nights together say of the value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedBedroom:
    """One bedroom in the ranking.

    Attributes
    ----------
    bedroom : str
    standing : Standing
        ``"shown only"`` if the value is not verified.
    margin_db : float, dB
        Mean margin over the value, positive is too loud; ``nan`` if not known.
    uncertainty_db : float, dB
        Expanded (95 %); ``nan`` for fewer than two nights that count.
    counted, nights : int
        Nights that count, and all.
    exceeded, kept : int
        Nights by their own verdicts.
    share_low, share_high : float
        Interval (95 %) of the share of all nights on which it is exceeded; ``nan`` if none could be told.
    as_next : bool
        Whether the next bedroom may as well be worse than this one.
    """

    bedroom: str
    standing: Standing
    margin_db: float
    uncertainty_db: float
    counted: int
    nights: int
    exceeded: int
    kept: int
    share_low: float
    share_high: float
    as_next: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranking:
    """Bedrooms by their margin over one value, the worst first; those of which nothing is known last.

    Attributes
    ----------
    criterion, guideline, title : str
    verified : bool
    bedrooms : tuple of RankedBedroom
    """

    criterion: str
    guideline: str
    title: str
    verified: bool
    bedrooms: tuple[RankedBedroom, ...]


def rank(
    nights: Iterable[Mapping[str, Any]], verdicts: Iterable[Mapping[str, Any]], criterion: str
) -> Ranking:
    """Rank bedrooms by how far they exceed a value.

    Parameters
    ----------
    nights, verdicts : iterable of mapping
        Lines of the tables; see :mod:`sleepnoise.portfolio.tables`.
    criterion : str
        Its id, such as ``"who1999_bedroom_laeq"``.

    Raises
    ------
    SettingsError
        If no night was held to it.
    """
    lines = list(verdicts)
    held = [line for line in lines if line["criterion"] == criterion]
    if not held:
        known = ", ".join(sorted({line["criterion"] for line in lines})) or "none"
        raise SettingsError(
            f"criterion: no night was judged by {criterion!r:.60}.", remedy=f"Choose one of: {known}."
        )
    whole = {(line["bedroom"], line["night"]): _recorded(line) for line in nights}
    rooms: defaultdict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for line in held:
        rooms[line["bedroom"]].append(line)
    first = held[0]
    ranked = [
        _ranked(
            room,
            [line for line in rooms[room] if whole[room, line["night"]] >= LEAST_RECORDED],
            nights=len(rooms[room]),
            verified=first["verified"],
        )
        for room in sorted(rooms)
    ]
    ranked.sort(key=lambda each: math.inf if math.isnan(each.margin_db) else -each.margin_db)
    return Ranking(
        criterion=criterion,
        guideline=first["guideline"],
        title=first["title"],
        verified=first["verified"],
        bedrooms=tuple(_beside(each, after) for each, after in zip(ranked, [*ranked[1:], None], strict=True)),
    )


def _recorded(line: Mapping[str, Any]) -> float:
    return float((line["recorded_s"] - line["left_out_s"]) / line["window_s"])


def _ranked(room: str, lines: list[Mapping[str, Any]], *, nights: int, verified: bool) -> RankedBedroom:
    margins = [line["margin_dB"] for line in lines if line["margin_dB"] is not None]
    as_energy = bool(lines) and lines[0]["quantity"] in ENERGIES
    mean = mean_of_nights(margins, as_energy=as_energy)
    shared = [line["uncertainty_dB"] for line in lines if line["uncertainty_dB"] is not None]
    # The log-normal interval is not centred on the energy mean; its farther end counts.
    half = max(mean.high - mean.mean, mean.mean - mean.low)
    uncertainty_db = math.hypot(half, max(shared)) if shared else math.nan
    words = [line["word"] for line in lines]
    exceeded, kept = words.count("exceeded"), words.count("kept")
    low, high = share_interval(exceeded, exceeded + kept)
    return RankedBedroom(
        bedroom=room,
        standing=_standing(mean.mean, uncertainty_db, set(words)) if verified else "shown only",
        margin_db=mean.mean,
        uncertainty_db=uncertainty_db,
        counted=mean.nights,
        nights=nights,
        exceeded=exceeded,
        kept=kept,
        share_low=low,
        share_high=high,
    )


def _standing(margin_db: float, uncertainty_db: float, words: set[str]) -> Standing:
    """Return what the nights say together: never more than what one of them says by itself."""
    if words == {"shown only"}:
        return "shown only"
    # Comparisons with nan are false, so what is not known cannot be told.
    if margin_db > uncertainty_db and "exceeded" in words:
        return "exceeded"
    return "kept" if margin_db < -uncertainty_db and "kept" in words else "cannot tell"


def _beside(room: RankedBedroom, after: RankedBedroom | None) -> RankedBedroom:
    """Say whether a bedroom can be told from the one behind it."""
    if after is None or math.isnan(after.margin_db):
        return room
    apart = room.margin_db - after.margin_db > math.hypot(room.uncertainty_db, after.uncertainty_db)
    return replace(room, as_next=not apart)


# Gain per money.

LARGEST_BYTES = 50_000_000
"""Largest plan read. Chosen: far more than any room's plan takes."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False)


class _Schema(_Part):
    name: Literal["sleepnoise/plan"]
    version: Literal[1]


class _Treatment(_Part):
    guessed: bool


class _Plan(_Part):
    treatments: list[_Treatment]
    money: Annotated[float, Field(ge=0)]
    audible: Annotated[int, Field(ge=0)]


class _PlanFile(_Part):
    kind: Annotated[_Schema, Field(alias="schema")]
    events: list[object]
    currency: Annotated[str, Field(max_length=60)] | None
    plan: _Plan | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedBedroom:
    """What the plan of one bedroom brings.

    Attributes
    ----------
    bedroom : str
    events, audible : int
        Events that were planned for, and those that the plan leaves audible.
    money : float
    currency : str
        Empty if it was not said.
    per_money : float
        Events no longer heard for one unit of money; ``inf`` if the plan costs nothing.
    guessed : bool
        Whether a price or a gain in it is a guess.
    """

    bedroom: str
    events: int
    audible: int
    money: float
    currency: str
    per_money: float
    guessed: bool


def read_plans(folder: Path, bedrooms: Iterable[str]) -> tuple[PlannedBedroom, ...]:
    """Read the plans of bedrooms: ``BEDROOM.json`` each, as ``plan --json`` prints them.

    Parameters
    ----------
    folder : Path
    bedrooms : iterable of str
        Those without a plan are passed over.

    Returns
    -------
    tuple of PlannedBedroom
        Most gain per money first; different currencies are never compared, they follow one another.

    Raises
    ------
    RecordingError
        If one of the files is no plan.
    """
    paths = {bedroom: folder / f"{bedroom}.json" for bedroom in bedrooms}
    return by_gain(planned_bedroom(bedroom, path) for bedroom, path in paths.items() if path.is_file())


def by_gain(plans: Iterable[PlannedBedroom]) -> tuple[PlannedBedroom, ...]:
    """Return plans, those of one currency together, most gain per money first."""
    return tuple(sorted(plans, key=lambda each: (each.currency, -each.per_money, each.bedroom)))


def planned_bedroom(bedroom: str, path: Path) -> PlannedBedroom:
    """Return what one plan, as ``plan --out`` keeps it, brings a bedroom.

    Raises
    ------
    RecordingError
        If it is no plan.
    """
    remedy = "Write it with: sleepnoise plan ... --json > BEDROOM.json."
    try:
        file = _PlanFile.model_validate_json(few_bytes(path, LARGEST_BYTES, what="plan", remedy=remedy))
    except ValidationError as error:
        raise RecordingError(
            f"{path}: is no plan of a bedroom ({first_mistake(error)}).", remedy=remedy
        ) from None
    events, plan = len(file.events), file.plan
    audible, money = (events, 0.0) if plan is None else (plan.audible, plan.money)
    gained = events - audible
    return PlannedBedroom(
        bedroom=bedroom,
        events=events,
        audible=audible,
        money=money,
        currency=file.currency or "",
        per_money=gained / money if money else (math.inf if gained else 0.0),
        guessed=plan is not None and any(each.guessed for each in plan.treatments),
    )
