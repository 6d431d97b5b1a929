"""What all profiles to swap have in common: a title, a summary, and sources by key."""

from typing import Annotated

from pydantic import Field

from sleepnoise.acoustics.source import HowKnown, Source
from sleepnoise.profiles.fields import Entry, Id, Text, Url


class SourceEntry(Entry):
    """``[sources.KEY]``: one place in one document."""

    document: Text
    place: Text
    how_known: HowKnown
    url: Url = ""

    def source(self) -> Source:
        """Return the source as the rest of the package knows it."""
        return Source(document=self.document, place=self.place, how_known=self.how_known, url=self.url)


class SourcedProfile(Entry):
    """A profile whose values name their sources."""

    title: Text
    summary: Text
    sources: Annotated[dict[Id, SourceEntry], Field(min_length=1)]

    def check_sources(self, wanted: list[str]) -> None:
        """Refuse a source that is named and not described.

        Raises
        ------
        ValueError
            With the source, and what is described instead.
        """
        for key in wanted:
            if key not in self.sources:
                known = ", ".join(sorted(self.sources))
                raise ValueError(f"source {key!r} is not described under [sources]; described are: {known}")
