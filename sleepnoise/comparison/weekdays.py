"""Whether some days of the week are louder than others."""

from collections.abc import Sequence
from dataclasses import dataclass

from sleepnoise.comparison.before_after import Difference, difference_between
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.spread import MeanOfNights, mean_of_nights


@dataclass(frozen=True, slots=True, kw_only=True)
class DayOfWeek:
    """Nights that begin on one day of the week, or carry one label.

    Attributes
    ----------
    name : str
        ``"Monday"`` and so on, or the label.
    laeq, events : MeanOfNights
    """

    name: str
    laeq: MeanOfNights
    events: MeanOfNights


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPattern:
    """A week of nights.

    Attributes
    ----------
    days : tuple of DayOfWeek
        By the evening on which nights begin; only those with nights.
    labels : tuple of DayOfWeek
        By the user's label.
    before_free_days : Difference or None
        LAeq of Friday and Saturday nights less that of the others; None if there are not both.
    """

    days: tuple[DayOfWeek, ...]
    labels: tuple[DayOfWeek, ...]
    before_free_days: Difference | None


WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""Names of the days, whatever language the machine is set to."""


def week_pattern(nights: Sequence[NightFigures]) -> WeekPattern:
    """Return nights by the day of the week on which they begin.

    Parameters
    ----------
    nights : sequence of NightFigures
        That may be pooled.
    """
    labels = sorted({night.day_label for night in nights if night.day_label})
    free = [night for night in nights if night.free_day_ahead]
    others = [night for night in nights if not night.free_day_ahead]
    return WeekPattern(
        days=tuple(
            _day(name, [night for night in nights if night.evening.weekday() == number])
            for number, name in enumerate(WEEKDAYS)
            if any(night.evening.weekday() == number for night in nights)
        ),
        labels=tuple(
            _day(label, [night for night in nights if night.day_label == label]) for label in labels
        ),
        before_free_days=difference_between(
            [night.laeq for night in others], [night.laeq for night in free], as_energy=True
        )
        if free and others
        else None,
    )


def _day(name: str, nights: Sequence[NightFigures]) -> DayOfWeek:
    return DayOfWeek(
        name=name,
        laeq=mean_of_nights([night.laeq for night in nights], as_energy=True),
        events=mean_of_nights([float(night.events) for night in nights], as_energy=False),
    )
