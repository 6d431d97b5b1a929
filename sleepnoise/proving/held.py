"""One promised quantity held against what was measured, with the uncertainty of both."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from sleepnoise.acoustics.uncertainty import COVERAGE_95, combined

Word = Literal["kept", "not kept", "cannot tell"]
"""Verdicts, in our own words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One quantity.

    Attributes
    ----------
    name : str
    before, promised, measured : float
        ``nan`` for what is not known.
    expanded : float
        Expanded uncertainty (k = 2) of the difference between measured and promised.
    word : Word
    reason : str
        One sentence.
    """

    name: str
    before: float
    promised: float
    measured: float
    expanded: float
    word: Word
    reason: str

    @property
    def difference(self) -> float:
        """Measured less promised."""
        return self.measured - self.promised


def held(
    name: str, before: float, promised: float, measured: float, u_db: Iterable[float], *, both_ways: bool
) -> Held:
    """Hold a level against its promise.

    Parameters
    ----------
    name : str
    before, promised, measured : float, dB
    u_db : iterable of float, dB
        Independent standard uncertainties of promise and measurement.
    both_ways : bool
        Whether less than promised breaks the promise as well, as with a masker that has to cover.

    Notes
    -----
    Within the expanded uncertainty the promise is kept only if the same measurement tells the promise
    from a room in which nothing was done; otherwise nobody can tell.
    """
    expanded = COVERAGE_95 * combined(list(u_db))
    difference = measured - promised
    off = abs(difference) if both_ways else difference
    word, reason = _word(off, abs(measured - before), difference < -expanded, expanded)
    return Held(
        name=name,
        before=before,
        promised=promised,
        measured=measured,
        expanded=expanded,
        word=word,
        reason=reason,
    )


def _word(off_db: float, changed_db: float, better: bool, expanded_db: float) -> tuple[Word, str]:
    if not (off_db < float("inf") and expanded_db < float("inf")):
        return "cannot tell", "One of the levels, or its uncertainty, is not known."
    if off_db > expanded_db:
        return "not kept", "It is off by more than the uncertainty of promise and measurement together."
    if changed_db <= expanded_db and not better:
        return "cannot tell", "Nothing having changed at all would fit as well, within the uncertainty."
    if better:
        return "kept", "It is better than promised, by more than the uncertainty."
    return "kept", "It agrees with the promise, and not with nothing having changed."


def altogether(rows: Iterable[Held]) -> Word:
    """Return the verdict on a whole promise: one broken part breaks it; one that is kept must be there."""
    words = {row.word for row in rows}
    if "not kept" in words:
        return "not kept"
    return "kept" if "kept" in words else "cannot tell"
