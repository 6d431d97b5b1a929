"""Where a published number comes from, and how its value is known."""

from dataclasses import dataclass
from typing import Literal, get_args

HowKnown = Literal["looked-up", "library", "computed", "memory", "assumption"]
"""How a value is known: seen on a public page, in a library's data, computed, recalled or assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One place in one document.

    Attributes
    ----------
    document : str
        Document with its edition, such as ``"IEC 61672-1:2013"``.
    place : str
        Clause, table, equation or page.
    how_known : HowKnown
        Travels from here into every report.
    url : str
        Public address, empty when there is none.
    """

    document: str
    place: str
    how_known: HowKnown
    url: str = ""

    def __post_init__(self) -> None:
        if self.how_known not in get_args(HowKnown):
            allowed = ", ".join(get_args(HowKnown))
            raise ValueError(f"how_known must be one of {allowed}, got {self.how_known!r}.")

    @property
    def verified(self) -> bool:
        """Whether the value was seen outside someone's memory."""
        return self.how_known in ("looked-up", "library", "computed")

    def __str__(self) -> str:
        """Document, place and, in brackets, how the value is known."""
        return f"{self.document}, {self.place} ({self.how_known})"
