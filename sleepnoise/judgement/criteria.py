"""Criteria: published night-noise values and the rules that go with them, out of a guideline profile."""

from dataclasses import dataclass

from sleepnoise.acoustics.source import Source
from sleepnoise.profiles.schema import GuidelineProfile


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One published value and the rule that goes with it.

    Attributes
    ----------
    guideline, jurisdiction : str
        Title of the document's profile, and where it applies.
    id, title, quantity, rule, over, where, applies_to, note : str
        As in the profile.
    period : tuple of str or None
        Local clock times; None for the user's own night window.
    hours : float or None, h
        Shortest window that is the whole of what the value is for.
    level_db : float or None
    bands_db : dict of float to float
        Third-octave values by nominal frequency; empty for a single value.
    count_allowed, count_allowed_upper : int or None
        Events that may lie above the value; two numbers if the document gives a range.
    adjustments_left_out : str
        What the document adds to a measured level and this program does not; empty if nothing.
    no_verdict_because : str
        Why the value is only shown; empty if it is judged.
    single_night_ok : bool
    source : Source
    """

    guideline: str
    jurisdiction: str
    id: str
    title: str
    quantity: str
    rule: str
    over: str
    where: str
    applies_to: str
    note: str
    period: tuple[str, str] | None
    level_db: float | None
    bands_db: dict[float, float]
    count_allowed: int | None
    single_night_ok: bool
    source: Source
    hours: float | None = None
    count_allowed_upper: int | None = None
    adjustments_left_out: str = ""
    no_verdict_because: str = ""

    @property
    def value_db(self) -> float:
        """The single value, dB; a criterion for bands has none."""
        if self.level_db is None:
            raise ValueError(f"{self.id} has a value for each band, no single one.")
        return self.level_db

    @property
    def most_allowed(self) -> int:
        """Events beyond which a rule that counts is surely broken."""
        upper = self.count_allowed if self.count_allowed_upper is None else self.count_allowed_upper
        return upper or 0


def criteria_of(profile: GuidelineProfile) -> tuple[Criterion, ...]:
    """Return the criteria of a guideline profile, in the order of the file."""
    return tuple(
        Criterion(
            guideline=profile.title,
            jurisdiction=profile.jurisdiction,
            bands_db=entry.levels_by_hz,
            source=profile.sources[entry.source].source(),
            **entry.model_dump(exclude={"bands_db", "source"}),
        )
        for entry in profile.criterion
    )
