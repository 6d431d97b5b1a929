"""What a profile file may say: one model for each kind, every key known, strict types.

Files may come from strangers, so texts are printable and bounded, and each mistake is named.
"""

import math
import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.acoustics.source import HowKnown, Source

_HZ_BY_NAME = {band_label(hz): hz for hz in NOMINAL_HZ}


def _printable(text: str) -> str:
    # What is printed to a terminal or a page must not be able to steer it.
    if not text.replace("\n", "").isprintable():
        raise ValueError("must not hold control characters")
    return text


def _matching(pattern: str, complaint: str) -> AfterValidator:
    def check(text: str) -> str:
        if not re.fullmatch(pattern, text, re.ASCII | re.DOTALL):
            raise ValueError(complaint)
        return text

    return AfterValidator(check)


def _band(name: str) -> str:
    if name not in _HZ_BY_NAME:
        raise ValueError('must be a nominal third-octave frequency from "20" to "20000"')
    return name


_Note = Annotated[str, Field(max_length=2000), AfterValidator(_printable)]
_Text = Annotated[_Note, _matching(r".*\S.*", "must not be empty")]
_Url = Annotated[
    str, Field(max_length=500), _matching(r"(https?://[!#-;=?-~]+)?", "must be a web address, http(s)://...")
]
_Id = Annotated[str, _matching(r"[a-z0-9_-]{1,60}", "must be 1 to 60 small letters, digits, - and _")]
_Clock = Annotated[str, _matching(r"([01]\d|2[0-3]):[0-5]\d", "must be a clock time such as 23:00")]
_Band = Annotated[str, AfterValidator(_band)]
_Level = Annotated[float, Field(ge=-50, le=150)]
_Loss = Annotated[float, Field(ge=-20, le=100)]
_Count = Annotated[int, Field(ge=0, le=1000)]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class SourceEntry(_Entry):
    """``[sources.KEY]``: one place in one document."""

    document: _Text
    place: _Text
    how_known: HowKnown
    url: _Url = ""

    def source(self) -> Source:
        """Return the source as the rest of the package knows it."""
        return Source(document=self.document, place=self.place, how_known=self.how_known, url=self.url)


class _Profile(_Entry):
    title: _Text
    summary: _Text
    sources: Annotated[dict[_Id, SourceEntry], Field(min_length=1)]

    def _check_sources(self, wanted: list[str]) -> None:
        for key in wanted:
            if key not in self.sources:
                known = ", ".join(sorted(self.sources))
                raise ValueError(f"source {key!r} is not described under [sources]; described are: {known}")


def _by_hz(levels: dict[str, float]) -> dict[float, float]:
    return {_HZ_BY_NAME[name]: levels[name] for name in sorted(levels, key=_HZ_BY_NAME.__getitem__)}


class CriterionEntry(_Entry):
    """``[[criterion]]``: one published value and the rule that goes with it."""

    id: _Id
    title: _Text
    quantity: Literal["laeq", "lafmax", "lasmax", "band_leq"]
    rule: Literal["not exceeded", "count", "effect begins"]
    over: Literal["period", "loudest full hour", "event"]
    period: tuple[_Clock, _Clock] | None = None
    hours: Annotated[float, Field(gt=0, le=24)] | None = None
    level_db: _Level | None = None
    bands_db: dict[_Band, _Level] = {}
    count_allowed: _Count | None = None
    count_allowed_upper: Annotated[int, Field(ge=1, le=1000)] | None = None
    adjustments_left_out: _Note = ""
    no_verdict_because: _Note = ""
    where: Literal["inside", "outside"] = "inside"
    single_night_ok: bool
    applies_to: _Text
    source: _Text
    note: _Note = ""

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
        of_event = self.quantity in ("lafmax", "lasmax")
        hourly = self.over == "loudest full hour"
        counts = self.rule == "count"
        most = self.count_allowed_upper or math.inf
        for holds, mistake in (
            ((self.quantity == "band_leq") == bool(self.bands_db), "bands_db belongs to quantity 'band_leq'"),
            ((self.level_db is None) == bool(self.bands_db), "give either level_db or bands_db"),
            ((self.over == "event") == of_event, "over 'event' belongs to quantity 'lafmax' or 'lasmax'"),
            (not hourly or self.quantity == "laeq", "over 'loudest full hour' belongs to quantity 'laeq'"),
            (not counts or of_event, "rule 'count' belongs to over 'event'"),
            (counts == (self.count_allowed is not None), "count_allowed belongs to rule 'count'"),
            (counts or self.count_allowed_upper is None, "count_allowed_upper belongs to rule 'count'"),
            (most > (self.count_allowed or 0), "count_allowed_upper must lie above count_allowed"),
            (len(set(self.period or "ab")) == 2, "period must begin and end at different times"),
            (self.period is None or self.hours is None, "hours is for a criterion without period"),
        ):
            if not holds:
                raise ValueError(mistake)
        return self

    @property
    def levels_by_hz(self) -> dict[float, float]:
        """Band levels, dB, by nominal frequency, rising."""
        return _by_hz(self.bands_db)


class GuidelineProfile(_Profile):
    """``kind = "guideline"``: the values of one document."""

    kind: Literal["guideline"]
    jurisdiction: _Text
    criterion: Annotated[list[CriterionEntry], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([criterion.source for criterion in self.criterion])
        ids = [criterion.id for criterion in self.criterion]
        if len(set(ids)) != len(ids):
            raise ValueError("criterion ids must differ from each other")
        return self


class TreatmentProfile(_Profile):
    """``kind = "treatment"``: what one generic isolation step takes off, per third octave."""

    kind: Literal["treatment"]
    acts_on: _Text
    insertion_loss_db: Annotated[dict[_Band, _Loss], Field(min_length=1)]
    spread_db: Annotated[float, Field(ge=0, le=30)]
    basis: _Text
    source: _Text
    cautions: list[_Text] = []

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        return self

    @property
    def loss_by_hz(self) -> dict[float, float]:
        """Insertion loss, dB, by nominal frequency, rising."""
        return _by_hz(self.insertion_loss_db)


class MaskerProfile(_Profile):
    """``kind = "masker"``: the shape of one steady masking sound."""

    kind: Literal["masker"]
    band_slope_db_per_octave: Annotated[float, Field(ge=-12, le=6)]
    lowest_hz: Annotated[float, Field(ge=20, le=20_000)]
    highest_hz: Annotated[float, Field(ge=20, le=20_000)]
    source: _Text

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        if not self.lowest_hz < self.highest_hz:
            raise ValueError("lowest_hz must lie below highest_hz")
        return self


class SingleNumberEntry(_Entry):
    """``single``: a rating as printed, such as STC 20; with ``upper_db`` a range."""

    name: _Text
    db: _Loss
    upper_db: _Loss | None = None

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.upper_db is not None and not self.upper_db > self.db:
            raise ValueError("upper_db must lie above db")
        return self


class ElementEntry(_Entry):
    """``[[element]]``: what one generic part of a building lets through."""

    key: _Id
    title: _Text
    quantity: Literal["reduction index", "small element", "level difference"]
    mounting: Literal["laboratory", "as hung", "in use", "worked example", "computed"]
    thickness_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    mass_kg_per_m2: Annotated[float, Field(gt=0, le=3000)] | None = None
    octaves_db: dict[_Band, _Loss] = {}
    single: SingleNumberEntry | None = None
    spread_db: Annotated[float, Field(ge=0, le=30)] | None = None
    source: _Text
    note: _Note = ""

    @model_validator(mode="after")
    def _has_values(self) -> Self:
        if not self.octaves_db and self.single is None:
            raise ValueError("give octaves_db, or single where there is no spectrum")
        return self

    @property
    def octaves_by_hz(self) -> dict[float, float]:
        """Octave values, dB, by nominal frequency, rising; empty when only a single number is known."""
        return _by_hz(self.octaves_db)


class ConstructionProfile(_Profile):
    """``kind = "construction"``: a family of generic building elements."""

    kind: Literal["construction"]
    element: Annotated[list[ElementEntry], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([element.source for element in self.element])
        keys = [element.key for element in self.element]
        if len(set(keys)) != len(keys):
            raise ValueError("element keys must differ from each other")
        return self


Profile = GuidelineProfile | TreatmentProfile | MaskerProfile | ConstructionProfile

KINDS: dict[str, type[Profile]] = {
    "guideline": GuidelineProfile,
    "treatment": TreatmentProfile,
    "masker": MaskerProfile,
    "construction": ConstructionProfile,
}
"""The model of each ``kind``."""
