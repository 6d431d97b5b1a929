"""What a profile file may say: one model for each kind, every key known, strict types.

Files may come from strangers, so texts are printable and bounded, and each mistake is named.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.profiles.bedroom import BedroomProfile, Edge, What
from sleepnoise.profiles.door_test import DoorTestProfile
from sleepnoise.profiles.fields import HZ_BY_NAME, Band, Entry, Id, Loss, Note, Text, by_hz
from sleepnoise.profiles.guideline import GuidelineProfile
from sleepnoise.profiles.insulation import InsulationProfile
from sleepnoise.profiles.sourced import SourcedProfile

Touch = Literal["air", "door", "window", "building", "weight"]
"""What a treatment touches: the way of air, a door, a window, the building, or the load on hinges."""
CostClass = Literal["none", "tens", "low hundreds", "high hundreds", "thousands", "ten thousands"]
"""Order of magnitude of a cost, in units of local currency, material and work."""


NAMES_OF_EFFECTS = "insertion_loss_db, seals, layer, new_construction, closes_opening"
"""Keys of a treatment that say what it does."""


class SealsEntry(Entry):
    """``[seals]``: edges that get a seal, and the width of gap that is left, mm."""

    edges: Annotated[list[Edge], Field(min_length=1)]
    left_mm: Annotated[float, Field(gt=0, le=5)]


class LayerEntry(Entry):
    """``[layer]``: a limp layer hung before a part, and the fraction that stays open round it."""

    construction: Id
    open_fraction: Annotated[float, Field(ge=0, le=1)]
    distance_mm: Annotated[float, Field(gt=0, le=1000)]


class TreatmentProfile(SourcedProfile):
    """``kind = "treatment"``: what one generic isolation step takes off, per third octave.

    ``seals``, ``layer``, ``new_construction`` and ``closes_opening`` say how it works, for rooms that
    are known part by part; ``insertion_loss_db`` says what it brings where nothing more is known.
    """

    kind: Literal["treatment"]
    acts_on: Text
    insertion_loss_db: dict[Band, Loss] = Field(default_factory=dict)
    spread_db: Annotated[float, Field(ge=0, le=30)]
    basis: Text
    source: Text
    cautions: list[Text] = Field(default_factory=list)
    parts: list[What] = Field(default_factory=list)
    fits: list[Id] = Field(default_factory=list)
    touches: list[Touch] = Field(default_factory=list)
    seals: SealsEntry | None = None
    layer: LayerEntry | None = None
    new_construction: Id | None = None
    closes_opening: bool = False
    excludes: list[Id] = Field(default_factory=list)
    cost_class: CostClass | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        """Refuse a treatment that does nothing, or that hides what it touches."""
        self.check_sources([self.source])
        models = (self.seals, self.layer, self.new_construction, self.closes_opening or None)
        modelled = any(model is not None for model in models)
        narrows = self.seals is not None or self.layer is not None or self.closes_opening
        replaces = [part for part in ("door", "window") if part in self.parts and self.new_construction]
        for holds, mistake in (
            (
                modelled or self.insertion_loss_db,
                f"one of {NAMES_OF_EFFECTS} is missing: nothing says what it does",
            ),
            (not modelled or self.parts, "parts, the parts of a room it acts on, are missing"),
            (
                not self.parts or "touches" in self.model_fields_set,
                "touches is missing; [] if it touches nothing",
            ),
            (not narrows or "air" in self.touches, "touches must name 'air': it narrows the way of air"),
            (set(replaces) <= set(self.touches), f"touches must name {' and '.join(map(repr, replaces))}"),
            (not self.parts or self.cost_class, "cost_class is missing"),
        ):
            if not holds:
                raise ValueError(mistake)
        return self

    @property
    def loss_by_hz(self) -> dict[float, float]:
        """Insertion loss, dB, by nominal frequency, rising; empty when only the model says it."""
        return by_hz(self.insertion_loss_db)


class SoundProfile(SourcedProfile):
    """``kind = "sound"``: the shape of a generic sound, A-weighted bands re their sum."""

    kind: Literal["sound"]
    bands: Literal["octaves", "thirds"]
    a_weighted_db: Annotated[dict[Band, Annotated[float, Field(ge=-100, le=50)]], Field(min_length=1)]
    source: Text

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self.check_sources([self.source])
        octaves = [band for band in self.a_weighted_db if NOMINAL_HZ.index(HZ_BY_NAME[band]) % 3 != 2]
        if self.bands == "octaves" and octaves:
            raise ValueError(f"a_weighted_db: {', '.join(octaves)} are no octaves")
        return self

    @property
    def a_weighted_by_hz(self) -> dict[float, float]:
        """A-weighted band levels, dB, by nominal frequency, rising."""
        return by_hz(self.a_weighted_db)


class MaskerProfile(SourcedProfile):
    """``kind = "masker"``: the shape of one steady masking sound."""

    kind: Literal["masker"]
    band_slope_db_per_octave: Annotated[float, Field(ge=-12, le=6)]
    lowest_hz: Annotated[float, Field(ge=20, le=20_000)]
    highest_hz: Annotated[float, Field(ge=20, le=20_000)]
    source: Text

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self.check_sources([self.source])
        if not self.lowest_hz < self.highest_hz:
            raise ValueError("lowest_hz must lie below highest_hz")
        return self


class SingleNumberEntry(Entry):
    """``single``: a rating as printed, such as STC 20; with ``upper_db`` a range."""

    name: Text
    db: Loss
    upper_db: Loss | None = None

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.upper_db is not None and not self.upper_db > self.db:
            raise ValueError("upper_db must lie above db")
        return self


class ElementEntry(Entry):
    """``[[element]]``: what one generic part of a building lets through."""

    key: Id
    title: Text
    quantity: Literal["reduction index", "small element", "level difference"]
    mounting: Literal["laboratory", "as hung", "in use", "worked example", "computed"]
    thickness_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    mass_kg_per_m2: Annotated[float, Field(gt=0, le=3000)] | None = None
    octaves_db: dict[Band, Loss] = Field(default_factory=dict)
    single: SingleNumberEntry | None = None
    spread_db: Annotated[float, Field(ge=0, le=30)] | None = None
    source: Text
    note: Note = ""

    @model_validator(mode="after")
    def _has_values(self) -> Self:
        if not self.octaves_db and self.single is None:
            raise ValueError("give octaves_db, or single where there is no spectrum")
        return self

    @property
    def octaves_by_hz(self) -> dict[float, float]:
        """Octave values, dB, by nominal frequency, rising; empty when only a single number is known."""
        return by_hz(self.octaves_db)


class ConstructionProfile(SourcedProfile):
    """``kind = "construction"``: a family of generic building elements."""

    kind: Literal["construction"]
    element: Annotated[list[ElementEntry], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self.check_sources([element.source for element in self.element])
        keys = [element.key for element in self.element]
        if len(set(keys)) != len(keys):
            raise ValueError("element keys must differ from each other")
        return self


Profile = (
    GuidelineProfile
    | TreatmentProfile
    | MaskerProfile
    | ConstructionProfile
    | SoundProfile
    | BedroomProfile
    | DoorTestProfile
    | InsulationProfile
)

KINDS: dict[str, type[Profile]] = {
    "guideline": GuidelineProfile,
    "treatment": TreatmentProfile,
    "masker": MaskerProfile,
    "construction": ConstructionProfile,
    "sound": SoundProfile,
    "bedroom": BedroomProfile,
    "door-test": DoorTestProfile,
    "insulation": InsulationProfile,
}
"""The model of each ``kind``."""
