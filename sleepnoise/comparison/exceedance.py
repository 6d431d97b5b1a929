"""On how many nights a published value was exceeded, and what that says of all nights."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

from sleepnoise.acoustics.source import Source
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.spread import CONFIDENCE

CLOPPER_PEARSON = Source(
    document="Clopper and Pearson, Biometrika 26 (1934)",
    place="exact interval of a share",
    how_known="memory",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExceedanceDays:
    """One criterion over several nights.

    Attributes
    ----------
    criterion : str
    exceeded, kept, cannot_tell, not_judged : int
        Nights.
    low, high : float
        Interval (95 %) of the share of all nights on which it is exceeded, from those that could be told:
        exact, for independent nights. ``nan`` if none could.
    """

    criterion: str
    exceeded: int
    kept: int
    cannot_tell: int
    not_judged: int
    low: float
    high: float


def exceedance_days(nights: Sequence[NightFigures]) -> tuple[ExceedanceDays, ...]:
    """Return every criterion that some night was held against, most often exceeded first.

    Parameters
    ----------
    nights : sequence of NightFigures
    """
    criteria = dict.fromkeys(chain.from_iterable(night.verdicts for night in nights))
    found = [_days(criterion, nights) for criterion in criteria]
    return tuple(sorted(found, key=lambda days: (-days.exceeded, days.criterion)))


def _days(criterion: str, nights: Sequence[NightFigures]) -> ExceedanceDays:
    words = [night.verdicts.get(criterion, "") for night in nights]
    exceeded, kept, open_ = (words.count(word) for word in ("exceeded", "kept", "cannot tell"))
    low, high = share_interval(exceeded, exceeded + kept)
    return ExceedanceDays(
        criterion=criterion,
        exceeded=exceeded,
        kept=kept,
        cannot_tell=open_,
        not_judged=len(words) - exceeded - kept - open_,
        low=low,
        high=high,
    )


def share_interval(count: int, of: int) -> tuple[float, float]:
    """Return the exact interval of a share that was found as *count* of some.

    Examples
    --------
    >>> low, high = share_interval(0, 3)
    >>> low, round(high, 3)
    (0.0, 0.708)
    """
    if not of:
        return float("nan"), float("nan")
    # Imported late: it takes longer to load than all else here.
    from scipy.stats import beta

    tail = (1 - CONFIDENCE) / 2
    low = float(beta.ppf(tail, count, of - count + 1)) if count else 0.0
    high = float(beta.ppf(1 - tail, count + 1, of - count)) if count < of else 1.0
    return low, high
