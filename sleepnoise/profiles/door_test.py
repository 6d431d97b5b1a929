"""What a door-test file may say: steps in the order in which they were made, and what was read after each.

Like a room file it is a case, not a profile to swap. Sound files are named from the folder in which
the door-test file lies.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sleepnoise.profiles.fields import Band, Entry, Level, Note, Text

Channel = Annotated[int, Field(ge=1, le=64)]


class ReadingsEntry(Entry):
    """One or several readings of one state: each is a repeat."""

    recordings: Annotated[list[Text], Field(max_length=50)] = Field(default_factory=list)
    laeq: Annotated[list[Level], Field(max_length=50)] = Field(default_factory=list)
    levels_db: Annotated[list[dict[Band, Level]], Field(max_length=50)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if sum(map(bool, (self.recordings, self.laeq, self.levels_db))) != 1:
            raise ValueError("give one of recordings, laeq and levels_db, each a list of repeats")
        if not all(self.levels_db):
            raise ValueError("levels_db must not hold an empty table")
        return self


class StepEntry(ReadingsEntry):
    """``[[step]]``: the door after one more change."""

    title: Annotated[Text, Field(max_length=80)]
    done: Note = ""
    source_recordings: Annotated[list[Text], Field(max_length=50)] = Field(default_factory=list)
    source_laeq: Annotated[list[Level], Field(max_length=50)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if self.source_recordings and self.source_laeq:
            raise ValueError("give either source_recordings or source_laeq")
        return self


class GainEntry(Entry):
    """``[calibration]``: what gives recordings their levels; differences need none."""

    tone: Text | None = None
    tone_level_db: Level = 94.0
    tone_frequency_hz: Annotated[float, Field(ge=20, le=20_000)] = 1000.0
    full_scale_level_db: Level | None = None


class DoorTestProfile(Entry):
    """``kind = "door-test"``: one door, tested step by step with the same steady noise."""

    kind: Literal["door-test"]
    title: Text
    summary: Note = ""
    bands: Literal["octave", "third-octave"] = "third-octave"
    since: Annotated[int, Field(ge=1, le=50)] | None = None
    channel: Channel = 1
    source_channel: Channel | None = None
    calibration: GainEntry = GainEntry()
    background: ReadingsEntry | None = None
    step: Annotated[list[StepEntry], Field(max_length=50)]

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        """Refuse what cannot be set side by side."""
        ways = {bool(step.source_laeq) for step in self.step if step.source_laeq or step.source_recordings}
        for holds, mistake in (
            (len(self.step) > 1, "give at least two steps, one [[step]] each"),
            (
                len({step.title for step in self.step}) == len(self.step),
                "step titles must differ from each other",
            ),
            (
                self.since is None or self.since < len(self.step),
                "since must be the number of a step before the last",
            ),
            (len(ways) < 2, "source_laeq and source_recordings must not be mixed in one test"),
            (
                self.source_channel is None or not ways,
                "source_channel is for recordings that have both sides; leave the sources of steps out",
            ),
            (
                self.source_channel is None or all(step.recordings for step in self.step),
                "source_channel belongs to recordings",
            ),
            (
                self.source_channel != self.channel,
                "source_channel and channel must differ",
            ),
        ):
            if not holds:
                raise ValueError(mistake)
        return self
