"""Criteria: published night-noise values and the rules that go with them, out of a guideline profile."""

from dataclasses import dataclass, field

from sleepnoise.acoustics.source import Source
from sleepnoise.profiles.guideline import Adjustment, GuidelineProfile, Heard, SourceKind, Windows

_OF_THE_FILE = {
    "bands_db", "summed_bands", "only_above_db", "duration_terms", "source_kinds", "only_if_heard",
    "adjustments", "source",
}  # fmt: skip


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
        Values of third octaves, or octaves, by nominal frequency; empty for a single value.
    count_allowed, count_allowed_upper : int or None
        Events that may lie above the value; two numbers if the document gives a range.
    stretch_min : int or None, min
        Length of the stretches of which the loudest counts.
    thresholds_db : dict of float to float
        Third octaves that are summed, and what each must lie above to count, dB.
    excess_db : float or None, dB
        What a level may lie over the underlying level.
    applies_above_db, applies_above_open_db : float or None, dB
        Ambient level below which the rule is waived; with both, the first is for closed windows.
    duration_terms : tuple of (float, float)
        Minutes up to which a sound lasts in all, rising, and what may be added then, dB.
    measured_min : float, min
        Least measuring time, with the source on and off together.
    source_kinds : tuple of SourceKind
        What the value is made for; empty for everything.
    source_alone : bool
        Whether the value is for the source's sound without what else is heard.
    windows : Windows or None
        How the windows must stand; None if that is left open.
    only_if_heard : tuple of Heard
        The value applies only if a listener hears one of these.
    adjustments : dict of Adjustment to tuple of float
        What the document adds for the sound's character, and the sizes that it knows, dB; no size for any.
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
    stretch_min: int | None = None
    thresholds_db: dict[float, float] = field(default_factory=dict)
    excess_db: float | None = None
    applies_above_db: float | None = None
    applies_above_open_db: float | None = None
    duration_terms: tuple[tuple[float, float], ...] = ()
    measured_min: float = 0.0
    source_kinds: tuple[SourceKind, ...] = ()
    source_alone: bool = False
    windows: Windows | None = None
    only_if_heard: tuple[Heard, ...] = ()
    adjustments: dict[Adjustment, tuple[float, ...]] = field(default_factory=dict)
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
            thresholds_db=entry.thresholds_by_hz,
            duration_terms=tuple((term.up_to_min, term.add_db) for term in entry.duration_terms),
            source_kinds=tuple(entry.source_kinds),
            only_if_heard=tuple(entry.only_if_heard),
            adjustments={kind: tuple(sizes) for kind, sizes in entry.adjustments.items()},
            source=profile.sources[entry.source].source(),
            **entry.model_dump(exclude=_OF_THE_FILE),
        )
        for entry in profile.criterion
    )
