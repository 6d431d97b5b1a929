"""Several nights in sentences and tables: what they have in common, and how sure that is."""

import math
from collections.abc import Iterable

from sleepnoise.comparison.before_after import BeforeAfter, Difference
from sleepnoise.comparison.groups import NightGroup
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.spread import MOST_NIGHTS, MeanOfNights, more_nights_to_tell
from sleepnoise.comparison.weekdays import WEEKDAYS
from sleepnoise.wording.rounding import level_text, number_text, signed_text
from sleepnoise.wording.tables import Table, column, plain_column

QUANTITIES = {"laeq": "LAeq", "lafmax": "LAFmax", "la90": "LA90", "events": "Events a night"}
"""What is compared, by its name in code."""

INTERVAL_METHOD = (
    "Intervals: 95 %, Student's t over nights taken as independent (GUM, G.3), for LAeq by way of the mean "
    "of log-normal energies; differences of five and more nights on both sides by resampling nights."
)
"""How intervals were found, for every report."""


def group_sentences(group: NightGroup, value_db: float | None = None) -> tuple[str, ...]:
    """Return what nights of one kind come to, and how their mean LAeq lies to a value if one is given."""
    held = "" if value_db is None else value_sentence(group, value_db)
    said = (_kind(group), _level(group), held, _spread(group.laeq), _left_out(group), _week(group))
    return tuple(filter(None, said))


def _kind(group: NightGroup) -> str:
    windows = f"windows {group.window_state}" if group.window_state else "windows not noted"
    return f"{_nights(len(group.nights), 'whole ')}, {group.window}, {windows}."


def _nights(count: int, kind: str = "") -> str:
    return f"{count} {kind}night{'' if count == 1 else 's'}"


def _unit(group: NightGroup) -> str:
    return "dB" if group.absolute else "dB re full scale"


def _level(group: NightGroup) -> str:
    laeq = group.laeq
    if not laeq.nights:
        return "No night has a level that can be averaged."
    level = f"LAeq {level_text(laeq.mean)} {_unit(group)}"
    if laeq.nights == 1:
        return f"{level} in the one night; one night does not tell how nights differ."
    shared = (
        f"; all nights may be off together by ±{group.calibration_db:.1f} dB (calibration, k = 2)"
        if group.absolute and not math.isnan(group.calibration_db)
        else ""
    )
    interval = f"{level_text(laeq.low)} to {level_text(laeq.high)}"
    return f"{level} as energy mean of {laeq.nights} nights, 95 % interval {interval}{shared}."


def _spread(laeq: MeanOfNights) -> str:
    if laeq.nights < 2:
        return ""
    few = " With so few nights the interval says little." if laeq.nights < 4 else ""
    return (
        f"Nights differ by a standard deviation of {number_text(laeq.spread, 1)} dB, from "
        f"{level_text(laeq.lowest)} to {level_text(laeq.highest)}.{few}"
    )


def _left_out(group: NightGroup) -> str:
    if not group.partial:
        return ""
    names = ", ".join(night.evening.isoformat() for night in group.partial)
    return f"Left out, because part of the night was not measured: {names}."


def _week(group: NightGroup) -> str:
    found = group.week.before_free_days
    if found is None:
        return ""
    if found.word == "cannot tell":
        return "Whether Friday and Saturday nights differ from the others: cannot tell."
    return (
        f"Friday and Saturday nights are {found.word} ({signed_text(found.difference)} dB, "
        f"{interval_text(found.low, found.high)})."
    )


def value_sentence(group: NightGroup, value_db: float) -> str:
    """Return whether the mean LAeq of nights is told from a value, and how many more nights would do."""
    laeq, value = group.laeq, f"{value_db:g} dB"
    if not group.absolute or not laeq.nights:
        return f"Whether the mean lies above {value}: cannot tell without calibrated levels."
    if laeq.nights < 2:
        return f"Whether the mean lies above {value}: cannot tell from one night; at least two are needed."
    shared_db = group.calibration_db
    if laeq.low - shared_db > value_db:
        return f"The mean of such nights lies above {value}, beyond calibration and chance."
    if laeq.high + shared_db < value_db:
        return f"The mean of such nights lies below {value}, beyond calibration and chance."
    more = more_nights_to_tell(laeq, value_db, as_energy=True, shared_db=shared_db)
    if more is None:
        why = f"neither would {MOST_NIGHTS} nights, or a better calibration is needed first"
    else:
        # What is told on average may still miss by chance, so at least one more is needed.
        why = f"about {max(more, 1)} more would probably do"
    return f"Whether the mean of such nights lies above {value}: cannot tell from {laeq.nights}; {why}."


def interval_text(low: float, high: float) -> str:
    """Return an interval of a difference for people."""
    return "interval not known" if math.isnan(low) else f"95 %: {signed_text(low)} to {signed_text(high)}"


def nights_table(title: str, nights: Iterable[NightFigures]) -> Table:
    """Return nights, one a row."""
    columns = (
        plain_column("Evening"), plain_column("Windows"), plain_column("Day"),
        *map(column, ("laeq", "lafmax", "la90")), plain_column("Events", number=True),
        plain_column("Measured", number=True),
    )  # fmt: skip
    rows = (
        (
            f"{WEEKDAYS[night.evening.weekday()][:3]} {night.evening.isoformat()}",
            night.window_state or "not noted",
            night.day_label or "–",
            level_text(night.laeq),
            level_text(night.lafmax),
            level_text(night.la90),
            str(night.events),
            f"{100 * night.measured_share:.0f} %",
        )
        for night in nights
    )
    return Table(title=title, columns=columns, rows=tuple(rows))


def group_table(group: NightGroup) -> Table:
    """Return the figures of a group, one quantity a row."""
    columns = (
        plain_column("Quantity"),
        *(
            plain_column(head, number=True)
            for head in ("Nights", "Mean", "Low (95 %)", "High (95 %)", "Spread", "Lowest", "Highest")
        ),
    )
    rows = tuple(_mean_row(text, getattr(group, name)) for name, text in QUANTITIES.items())
    return Table(title="All nights together", columns=columns, rows=rows)


def _mean_row(text: str, mean: MeanOfNights) -> tuple[str, ...]:
    figures = (mean.mean, mean.low, mean.high, mean.spread, mean.lowest, mean.highest)
    return (text, str(mean.nights), *(number_text(figure, 1) for figure in figures))


def exceedance_table(group: NightGroup) -> Table:
    """Return on how many nights each published value was exceeded."""
    heads = ("Exceeded", "Kept", "Cannot tell", "Not judged")
    columns = (
        plain_column("Published value"),
        *(plain_column(head, number=True) for head in heads),
        plain_column("Share of nights (95 %)", number=True),
    )
    rows = tuple(
        (
            days.criterion,
            *(str(count) for count in (days.exceeded, days.kept, days.cannot_tell, days.not_judged)),
            "–" if math.isnan(days.low) else f"{100 * days.low:.0f} to {100 * days.high:.0f} %",
        )
        for days in group.exceedances
    )
    return Table(title="Nights on which published values were exceeded", columns=columns, rows=rows)


def week_table(group: NightGroup) -> Table:
    """Return nights by the day of the week on which they begin, and by label."""
    columns = (
        plain_column("Nights of"), plain_column("Nights", number=True), column("laeq"),
        plain_column("Spread, dB", number=True), plain_column("Events", number=True),
    )  # fmt: skip
    rows = tuple(
        (
            day.name,
            str(day.laeq.nights),
            level_text(day.laeq.mean),
            number_text(day.laeq.spread, 1),
            number_text(day.events.mean, 1),
        )
        for day in (*group.week.days, *group.week.labels)
    )
    return Table(title="By day of the week", columns=columns, rows=rows)


def change_sentences(change: BeforeAfter) -> tuple[str, ...]:
    """Return what a change did to the nights."""
    before, after = (state or "not noted" for state in change.window_states)
    windows = (
        f"Before, the windows were {before}, afterwards {after}: the difference is that of the windows "
        "and of the change together."
        if before != after
        else ""
    )
    partial = ", ".join(night.evening.isoformat() for night in change.partial)
    left_out = f"Left out, because part of the night was not measured: {partial}." if partial else ""
    return tuple(filter(None, (_change_sentence(change.laeq), windows, left_out)))


def _change_sentence(laeq: Difference) -> str:
    nights = f"{_nights(laeq.after_nights)} after against {laeq.before_nights} before"
    if math.isnan(laeq.difference):
        return f"What changed cannot be told: {nights}."
    interval = interval_text(laeq.low, laeq.high)
    found = f"LAeq {signed_text(laeq.difference)} dB ({interval}; {nights})"
    if laeq.word != "cannot tell":
        return f"The nights are {laeq.word}: {found}."
    return f"Whether the nights became quieter: cannot tell yet; {found}. {more_nights_text(laeq)}"


def more_nights_text(difference: Difference) -> str:
    """Return how many more nights would settle a difference that cannot be told."""
    if difference.more_nights is not None:
        return f"About {difference.more_nights} more on each side would probably settle it."
    if max(difference.before_nights, difference.after_nights) < 2:
        return "Measure at least two nights on each side: one does not tell how nights differ."
    return f"More than {MOST_NIGHTS} nights on each side would be needed."


def change_table(change: BeforeAfter) -> Table:
    """Return a change, one quantity a row."""
    columns = (
        plain_column("Quantity"),
        *(plain_column(head, number=True) for head in ("Before", "After", "Difference", "Interval (95 %)")),
        plain_column("Found"), plain_column("By"),
    )  # fmt: skip
    rows = tuple(_change_row(text, getattr(change, name)) for name, text in QUANTITIES.items())
    return Table(title="Before and after", columns=columns, rows=rows)


def _change_row(text: str, found: Difference) -> tuple[str, ...]:
    known = not math.isnan(found.low)
    word = found.word if text != QUANTITIES["events"] else _IN_NUMBER[found.word]
    return (
        text,
        number_text(found.before, 1),
        number_text(found.after, 1),
        signed_text(found.difference),
        f"{signed_text(found.low)} to {signed_text(found.high)}" if known else "–",
        word,
        found.method,
    )


_IN_NUMBER = {
    "quieter": "fewer",
    "louder": "more",
    "about the same": "about the same",
    "cannot tell": "cannot tell",
}
