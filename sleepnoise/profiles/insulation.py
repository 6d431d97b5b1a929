"""What a file of an insulation measurement may say: levels on both sides, the room behind, what is between.

Like a room file it is a case, not a profile to swap. Sound files are named from the folder in which
it lies.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sleepnoise.profiles.door_test import Channel, GainEntry, ReadingsEntry
from sleepnoise.profiles.fields import FURNISHING_WORDS, Band, Entry, Note, Text, by_hz

Seconds = Annotated[float, Field(gt=0.05, le=20.0)]
Microphone = Literal["room", "2-m-before", "on-element-loudspeaker", "on-element-traffic"]
"""Where the level before the element was read: in a room; 2 m before a facade; on the element itself, with
a loudspeaker at 45 degrees or with road traffic."""


class BehindEntry(Entry):
    """``[room]``: the receiving room. How long sound stays in it is told in one of three ways."""

    volume_m3: Annotated[float, Field(ge=1.0, le=10_000.0)]
    smallest_dimension_m: Annotated[float, Field(ge=0.5, le=50.0)] | None = None
    furnishing: Text | None = None
    reverberation_s: Seconds | None = None
    reverberation_bands_s: dict[Band, Seconds] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = (self.furnishing, self.reverberation_s, self.reverberation_bands_s or None)
        if sum(way is not None for way in ways) != 1:
            raise ValueError(f"give one of {FURNISHING_WORDS}, reverberation_s and reverberation_bands_s")
        return self

    @property
    def reverberation_by_hz(self) -> dict[float, float]:
        """Reverberation time, s, by nominal frequency, rising."""
        return by_hz(self.reverberation_bands_s)


class InsulationProfile(Entry):
    """``kind = "insulation"``: one element between a sound and a room, measured once."""

    kind: Literal["insulation"]
    title: Text
    summary: Note = ""
    bands: Literal["octave", "third-octave"] = "third-octave"
    before: Microphone = "room"
    area_m2: Annotated[float, Field(gt=0.1, le=500.0)] | None = None
    channel: Channel = 1
    calibration: GainEntry = GainEntry()
    room: BehindEntry
    source: ReadingsEntry
    receiving: ReadingsEntry
    source_corners: ReadingsEntry | None = None
    receiving_corners: ReadingsEntry | None = None
    background: ReadingsEntry | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        corners = (self.source_corners, self.receiving_corners)
        on_element = self.before.startswith("on-element")
        read = [each for each in (self.source, self.receiving, *corners, self.background) if each]
        for holds, mistake in (
            (not any(each.laeq for each in read), "laeq has no bands: give levels_db or recordings"),
            (not on_element or self.area_m2 is not None, "a level on the element needs area_m2"),
            ((corners[0] is None) == (corners[1] is None), "corners are read on both sides or on none"),
            (
                corners[0] is None or (self.before == "room" and self.bands == "third-octave"),
                "corners belong to third octaves from room to room",
            ),
        ):
            if not holds:
                raise ValueError(mistake)
        return self
