"""What a guideline file may say: the values of one document, and the rule that goes with each.

What one recording cannot tell - what made the sound, how the windows stood, the level with the
source off - is named here as a condition, so that a verdict can say what it needs.
"""

import math
from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.profiles.fields import HZ_BY_NAME, Clock, Count, Entry, Id, Level, Note, Text, matching
from sleepnoise.profiles.sourced import SourcedProfile

SourceKind = Literal["road", "rail", "aircraft", "industry", "services", "business", "neighbours"]
"""What makes a sound: traffic of three kinds, plant, building services, premises with a trade, households."""
Windows = Literal["open", "closed"]
"""How the bedroom's windows stood."""
Heard = Literal["tone", "music"]
"""What only a listener can say of a sound."""
Adjustment = Literal["tone", "impulse"]
"""What a document adds to a measured level for the sound's character; a tone stands for information too."""

BELOW_20_HZ = ("8", "10", "12.5", "16")
"""Third octaves that documents name and no recording here measures."""

_HZ_BY_NAME = {**{name: float(name) for name in BELOW_20_HZ}, **HZ_BY_NAME}


def _guideline_band(name: str) -> str:
    if name not in _HZ_BY_NAME:
        raise ValueError('must be a nominal third-octave frequency from "8" to "20000"')
    return name


GuidelineBand = Annotated[str, AfterValidator(_guideline_band)]
Country = Annotated[
    str, matching(r"international|[A-Z]{2}", 'must be "international" or a code of two letters such as "SE"')
]
_Decibels = Annotated[float, Field(ge=0, le=30)]


class DurationTerm(Entry):
    """One step of a term for short sounds: what may be added up to so many minutes in all."""

    up_to_min: Annotated[float, Field(gt=0, le=1440)]
    add_db: _Decibels


class CriterionEntry(Entry):
    """``[[criterion]]``: one published value and the rule that goes with it."""

    id: Id
    title: Text
    quantity: Literal["laeq", "lafmax", "lasmax", "band_leq", "octave_leq", "band_sum"]
    rule: Literal["not exceeded", "count", "effect begins", "emergence", "over underlying"]
    over: Literal["period", "loudest full hour", "loudest stretch", "event", "source on"]
    period: tuple[Clock, Clock] | None = None
    hours: Annotated[float, Field(gt=0, le=24)] | None = None
    stretch_min: Literal[1, 5, 10, 15, 30] | None = None
    level_db: Level | None = None
    bands_db: dict[GuidelineBand, Level] = Field(default_factory=dict)
    summed_bands: list[GuidelineBand] = Field(default_factory=list)
    only_above_db: dict[GuidelineBand, Level] = Field(default_factory=dict)
    count_allowed: Count | None = None
    count_allowed_upper: Annotated[int, Field(ge=1, le=1000)] | None = None
    excess_db: _Decibels | None = None
    applies_above_db: Level | None = None
    applies_above_open_db: Level | None = None
    duration_terms: list[DurationTerm] = Field(default_factory=list)
    measured_min: Annotated[float, Field(ge=0, le=480)] = 0.0
    source_kinds: list[SourceKind] = Field(default_factory=list)
    source_alone: bool = False
    windows: Windows | None = None
    only_if_heard: list[Heard] = Field(default_factory=list)
    adjustments: dict[Adjustment, list[_Decibels]] = Field(default_factory=dict)
    no_verdict_because: Note = ""
    where: Literal["inside", "outside"] = "inside"
    single_night_ok: bool
    applies_to: Text
    source: Text
    note: Note = ""

    @model_validator(mode="before")
    @classmethod
    def _pair(cls, data: object) -> object:
        # TOML has no tuples, and strict mode takes a list for nothing else.
        if isinstance(data, dict) and isinstance(data.get("period"), list):
            return {**data, "period": tuple(data["period"])}
        return data

    @model_validator(mode="after")
    def _complete(self) -> Self:
        """Refuse keys that do not belong together."""
        for holds, mistake in (*self._values(), *self._times(), *self._rules(), *self._conditions()):
            if not holds:
                raise ValueError(mistake)
        return self

    def _values(self) -> Iterator[tuple[bool, str]]:
        in_bands = self.quantity in ("band_leq", "octave_leq")
        octaves = all(_HZ_BY_NAME[band] in NOMINAL_HZ[2::3] for band in self.bands_db)
        yield in_bands == bool(self.bands_db), "bands_db belongs to quantity 'band_leq' or 'octave_leq'"
        yield (self.level_db is None) == bool(self.bands_db), "give either level_db or bands_db"
        yield self.quantity != "octave_leq" or octaves, "bands_db of 'octave_leq' must be octaves"
        summed = self.quantity == "band_sum"
        yield summed == bool(self.summed_bands), "summed_bands belongs to quantity 'band_sum'"
        alike = set(self.only_above_db) in (set(), set(self.summed_bands))
        yield alike, "only_above_db needs a level for each of summed_bands, and for no other band"

    def _times(self) -> Iterator[tuple[bool, str]]:
        of_event = self.quantity in ("lafmax", "lasmax")
        yield (self.over == "event") == of_event, "over 'event' belongs to quantity 'lafmax' or 'lasmax'"
        stretched = self.over == "loudest stretch"
        yield stretched == (self.stretch_min is not None), "stretch_min belongs to over 'loudest stretch'"
        yield len(set(self.period or "ab")) == 2, "period must begin and end at different times"
        yield self.period is None or self.hours is None, "hours is for a criterion without period"

    def _rules(self) -> Iterator[tuple[bool, str]]:
        counts, emerges = self.rule == "count", self.rule == "emergence"
        of_event = self.quantity in ("lafmax", "lasmax")
        most = self.count_allowed_upper or math.inf
        yield not counts or of_event, "rule 'count' belongs to over 'event'"
        yield counts == (self.count_allowed is not None), "count_allowed belongs to rule 'count'"
        yield counts or self.count_allowed_upper is None, "count_allowed_upper belongs to rule 'count'"
        yield most > (self.count_allowed or 0), "count_allowed_upper must lie above count_allowed"
        yield emerges == (self.over == "source on"), "rule 'emergence' belongs to over 'source on'"
        yield not emerges or self.quantity != "band_sum", "rule 'emergence' is for 'laeq' and 'octave_leq'"
        yield not emerges or self.quantity != "band_leq", "rule 'emergence' is for 'laeq' and 'octave_leq'"
        underlying = self.rule == "over underlying"
        yield underlying == (self.excess_db is not None), "excess_db belongs to rule 'over underlying'"
        yield not underlying or self.quantity == "laeq", "rule 'over underlying' is for quantity 'laeq'"

    def _conditions(self) -> Iterator[tuple[bool, str]]:
        emerges, laeq = self.rule == "emergence", self.quantity == "laeq"
        closed, opened = self.applies_above_db, self.applies_above_open_db
        yield emerges or closed is None, "applies_above_db belongs to rule 'emergence'"
        yield closed is not None or opened is None, "applies_above_open_db goes with applies_above_db"
        yield emerges or not self.measured_min, "measured_min belongs to rule 'emergence'"
        yield (emerges and laeq) or not self.duration_terms, "duration_terms belongs to emergence of 'laeq'"
        rising = [term.up_to_min for term in self.duration_terms]
        yield rising == sorted(set(rising)), "duration_terms must rise in up_to_min"
        mean = self.quantity in ("laeq", "band_sum") and not emerges
        yield mean or not self.source_alone, "source_alone is for means of quantity 'laeq' or 'band_sum'"
        yield laeq or not self.adjustments, "adjustments belongs to quantity 'laeq'"

    @property
    def levels_by_hz(self) -> dict[float, float]:
        """Band levels, dB, by nominal frequency, rising."""
        return _by_hz(self.bands_db)

    @property
    def thresholds_by_hz(self) -> dict[float, float]:
        """What a summed band must lie above to count, dB, by nominal frequency, rising; -inf for always."""
        return _by_hz({band: self.only_above_db.get(band, -math.inf) for band in self.summed_bands})


class GuidelineProfile(SourcedProfile):
    """``kind = "guideline"``: the values of one document."""

    kind: Literal["guideline"]
    jurisdiction: Text
    country: Country = "international"
    edition: Note = ""
    status: Note = ""
    criterion: Annotated[list[CriterionEntry], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self.check_sources([criterion.source for criterion in self.criterion])
        ids = [criterion.id for criterion in self.criterion]
        if len(set(ids)) != len(ids):
            raise ValueError("criterion ids must differ from each other")
        return self


def _by_hz(levels: dict[str, float]) -> dict[float, float]:
    return {_HZ_BY_NAME[name]: levels[name] for name in sorted(levels, key=_HZ_BY_NAME.__getitem__)}
