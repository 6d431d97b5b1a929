"""Published night-noise values: what they are, and what a night says to them."""

from dataclasses import dataclass
from typing import Literal

from sleepnoise.acoustics.source import Source

Word = Literal["exceeded", "kept", "cannot tell", "shown only"]
"""Verdicts, in our own words."""


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
    level_db : float or None
    bands_db : dict of float to float
        Third-octave values by nominal frequency; empty for a single value.
    count_allowed : int or None
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one night says to one criterion.

    Attributes
    ----------
    criterion : Criterion
    word : Word
    reason : str
        One plain sentence, with the numbers that decided.
    measured_db : float
        ``nan`` when there is nothing to compare.
    margin_db : float
        Measured minus allowed, dB: positive is too loud. ``nan`` if not known.
    uncertainty_db : float
        Expanded (k = 2) uncertainty that the word rests on; ``nan`` if not known.
    count : int or None
        Events over the value, for rules that count.
    """

    criterion: Criterion
    word: Word
    reason: str
    measured_db: float
    margin_db: float
    uncertainty_db: float
    count: int | None
