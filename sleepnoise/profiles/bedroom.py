"""What a room file may say: the bedroom that a plan is made for, part by part.

It is a case, not a profile to swap, but it is written, read and checked like one. Questions that
decide about safety default to ``unknown``, and unknown answers hold advice back.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sleepnoise.profiles.fields import FURNISHING_WORDS, Band, Entry, Id, Level, Loss, Note, Text, by_hz

Answer = Literal["yes", "no", "unknown"]
"""What is known about a yes-or-no question."""
Side = Literal["hall", "outdoors", "neighbour"]
"""What lies behind a part of the room."""
What = Literal["door", "window", "wall", "floor", "ceiling", "vent"]
"""What a part of the room is."""
Edge = Literal["bottom", "top", "sides", "middle", "all round"]
"""Where a gap runs; ``middle`` is the joint between two leaves."""
Seal = Literal["none", "partly", "tight"]
"""How a seal holds paper and light back."""

_Length = Annotated[float, Field(gt=0, le=50)]
_Area = Annotated[float, Field(gt=0, le=500)]
_Millimetres = Annotated[float, Field(ge=0, le=100)]
_Seconds = Annotated[float, Field(ge=0.05, le=10)]
_Uncertainty = Annotated[float, Field(gt=0, le=20)]


class GapEntry(Entry):
    """``[[part.gap]]``: one edge, its paper and light test, and its width where it was measured."""

    edge: Edge
    length_m: _Length
    seal: Seal | None = None
    width_mm: _Millimetres | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.seal is None and self.width_mm is None:
            raise ValueError("give seal ('none', 'partly' or 'tight') or width_mm")
        return self


class PartEntry(Entry):
    """``[[part]]``: one door, window, wall, floor, ceiling or vent."""

    key: Id
    title: Text
    what: What
    behind: Side
    construction: Id | None = None
    octaves_db: dict[Band, Loss] = Field(default_factory=dict)
    data_from: Note = ""
    area_m2: _Area | None = None
    depth_mm: Annotated[float, Field(gt=0, le=1000)] | None = None
    open_area_m2: Annotated[float, Field(ge=0, le=50)] = 0.0
    gap: list[GapEntry] = Field(default_factory=list)
    rated_fire_door: Answer = "unknown"
    escape_window: Answer = "unknown"
    carries_heavy_leaf: Answer = "unknown"

    @model_validator(mode="after")
    def _complete(self) -> Self:
        """Refuse keys that do not belong together."""
        given = self.model_fields_set
        own = bool(self.octaves_db)
        for holds, mistake in (
            ((self.construction is not None) != own, "give either construction or octaves_db"),
            (
                own == bool(self.data_from.strip()),
                "data_from, where the data are from, belongs to octaves_db",
            ),
            (self.what == "door" or "rated_fire_door" not in given, "rated_fire_door belongs to a door"),
            (
                self.what == "door" or "carries_heavy_leaf" not in given,
                "carries_heavy_leaf belongs to a door",
            ),
            (self.what == "window" or "escape_window" not in given, "escape_window belongs to a window"),
            (self.open_area_m2 <= (self.area_m2 or 0.0), "open_area_m2 must not exceed area_m2"),
        ):
            if not holds:
                raise ValueError(mistake)
        return self

    @property
    def octaves_by_hz(self) -> dict[float, float]:
        """The user's own reduction index, dB, by nominal frequency, rising."""
        return by_hz(self.octaves_db)


class ArrivingEntry(Entry):
    """``[[arriving]]``: a sound that stands behind the room, with its A-weighted level there."""

    behind: Side
    sound: Text
    level_dba: Level


class DoorTestEntry(Entry):
    """``[door_test]``: how much quieter it got when a door was closed, in bands or in dB(A)."""

    part: Id
    open_minus_closed_db: dict[Band, Loss] = Field(default_factory=dict)
    open_minus_closed_dba: Loss | None = None
    sound: Text = "pink-noise"
    uncertainty_db: _Uncertainty = 1.0

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if bool(self.open_minus_closed_db) == (self.open_minus_closed_dba is not None):
            raise ValueError("give either open_minus_closed_db in bands or open_minus_closed_dba")
        return self

    @property
    def difference_by_hz(self) -> dict[float, float]:
        """Open minus closed, dB, by nominal frequency, rising; empty when only dB(A) is known."""
        return by_hz(self.open_minus_closed_db)


class AirEntry(Entry):
    """``[air]``: what must be known before anything is closed."""

    burns_fuel: Answer = "unknown"
    other_fresh_air: Answer = "unknown"
    damp: Answer = "unknown"


class HomeEntry(Entry):
    """``[home]``: who may decide about changes."""

    tenancy: Literal["owned", "rented", "unknown"] = "unknown"
    owner_agrees: Answer = "unknown"
    protected_building: Answer = "unknown"


class AlarmEntry(Entry):
    """``[alarm]``: where the smoke alarm is, and its level at the pillow with the door closed."""

    place: Literal["bedroom", "hall", "none", "unknown"] = "unknown"
    at_pillow_dba: Level | None = None


class BedroomProfile(Entry):
    """``kind = "bedroom"``: one room, its parts and what is known about it."""

    kind: Literal["bedroom"]
    title: Text
    summary: Note = ""
    length_m: _Length
    width_m: _Length
    height_m: _Length
    furnishing: Text | None = None
    reverberation_s: _Seconds | None = None
    reverberation_octaves_s: dict[Band, _Seconds] = Field(default_factory=dict)
    part: Annotated[list[PartEntry], Field(min_length=1, max_length=100)]
    arriving: list[ArrivingEntry] = Field(default_factory=list)
    door_test: DoorTestEntry | None = None
    air: AirEntry = AirEntry()
    home: HomeEntry = HomeEntry()
    alarm: AlarmEntry = AlarmEntry()
    currency: Text | None = None
    prices: dict[Id, Annotated[float, Field(ge=0, le=1e7)]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        """Refuse what would leave a part or the reverberation open to doubt."""
        parts = {part.key: part for part in self.part}
        reverberation = (self.furnishing, self.reverberation_s, self.reverberation_octaves_s or None)
        tested = parts.get(self.door_test.part) if self.door_test else None
        sides = {part.behind for part in self.part}
        unfaced = sorted({entry.behind for entry in self.arriving} - sides)
        for holds, mistake in (
            (len(parts) == len(self.part), "part keys must differ from each other"),
            (
                sum(each is not None for each in reverberation) == 1,
                f"give one of {FURNISHING_WORDS}, reverberation_s and reverberation_octaves_s",
            ),
            (
                self.door_test is None or (tested is not None and tested.what == "door"),
                "door_test part must be the key of a door of this room",
            ),
            (not unfaced, f"arriving: no part of the room has {', '.join(unfaced)} behind it"),
            (bool(self.prices) == (self.currency is not None), "currency belongs to prices"),
        ):
            if not holds:
                raise ValueError(mistake)
        return self

    @property
    def reverberation_by_hz(self) -> dict[float, float]:
        """Reverberation time, s, by nominal frequency, rising."""
        return by_hz(self.reverberation_octaves_s)
