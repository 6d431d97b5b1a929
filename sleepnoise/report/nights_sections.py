"""Nights compared as parts of a page, wherever they stand."""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from sleepnoise.casework.comparing import Change, NightsCompared
from sleepnoise.comparison.before_after import LEAST_CHANGE, BeforeAfter, Difference
from sleepnoise.comparison.groups import NightGroup
from sleepnoise.comparison.spread import MeanOfNights
from sleepnoise.report.axes import cut_text
from sleepnoise.report.interval_rows import IntervalRow, interval_figure
from sleepnoise.report.night_strip import nights_figure
from sleepnoise.report.sections import NUMBERS, Figure, Section
from sleepnoise.wording.comparison_words import (
    INTERVAL_METHOD,
    QUANTITIES,
    change_sentences,
    change_table,
    exceedance_table,
    group_sentences,
    group_table,
    nights_table,
    week_table,
)
from sleepnoise.wording.rounding import level_text, number_text, signed_text
from sleepnoise.wording.tables import plain_column

LONGEST_HEAD = 420.0
"""Width of a treatment's name in a heading. Chosen: a line; the sentences have the whole name."""


def nights_sections(
    compared: NightsCompared,
    changes: Sequence[tuple[date, str]] = (),
    *,
    listed: bool = True,
    value_db: float | None = None,
) -> list[Section]:
    """Return nights compared: from evening to evening, by windows, weekdays, and before and after.

    Parameters
    ----------
    compared : NightsCompared
    changes : sequence of (date, str)
        Treatments to be marked; those compared when left out.
    listed : bool, optional
        Whether every night is listed here; otherwise the page has that table elsewhere.
    value_db : float, optional, dB
        LAeq that the means are held against.
    """
    if not compared.nights:
        return [
            Section(key="together", title="Nights together", sentences=("No night has been assessed yet.",))
        ]
    marked = changes or tuple((each.first_evening, each.title) for each in compared.changes)
    sections = [_together(compared, marked, listed=listed, value_db=value_db)]
    for number, group in enumerate(compared.groups, start=1):
        sections += _group(group, f"week-{number}", _mixed(group, marked))
    for number, change in enumerate(compared.changes, start=1):
        sections.append(_change(change, f"change-{number}"))
    if compared.windows is not None:
        sections.append(_windows(compared.windows))
    return [*sections, Section(key="method", title="How nights were compared", sentences=(INTERVAL_METHOD,))]


def _together(
    compared: NightsCompared, marked: Sequence[tuple[date, str]], *, listed: bool, value_db: float | None
) -> Section:
    absolute = any(night.absolute for night in compared.nights)
    shown = [night for night in compared.nights if night.absolute == absolute]
    unit = "dB" if absolute else "dB re full scale"
    left = len(compared.nights) - len(shown)
    notes = [f"{left} nights without calibration are in the table only."] if left else []
    notes += dict.fromkeys(each for group in compared.groups for each in _mixed(group, marked))
    if compared.not_assessed:
        notes.append(f"Not assessed as things stand, so in no figure: {', '.join(compared.not_assessed)}.")
    figures = [nights_figure(shown, marked, "nights-levels", unit)]
    means = _group_figure([group for group in compared.groups if group.absolute == absolute], unit)
    return Section(
        key="together", title="Nights together",
        sentences=tuple(each for group in compared.groups for each in group_sentences(group, value_db)),
        figures=(*figures, *([] if means is None else [means])),
        tables=(nights_table("Nights", compared.nights),) if listed else (), notes=tuple(notes),
        template="exhibits.html",
    )  # fmt: skip


def _group_figure(groups: Sequence[NightGroup], unit: str) -> Figure | None:
    rows = [_mean_row(_group_name(group), group.laeq) for group in groups if group.laeq.nights]
    if not rows:
        return None
    return interval_figure(
        "groups", f"Mean LAeq by how the windows stood, {unit}",
        f"Energy mean of {len(rows)} kinds of nights with its 95 % interval. Whether they differ is told "
        "below, from the nights themselves.",
        rows, unit=unit,
    )  # fmt: skip


def _group_name(group: NightGroup) -> str:
    return f"windows {group.window_state or 'not noted'}, {group.window}"


def _mean_row(name: str, mean: MeanOfNights) -> IntervalRow:
    nights = f"{mean.nights} night{'' if mean.nights == 1 else 's'}"
    known = math.isfinite(mean.low)
    interval = (
        f"{level_text(mean.low)} to {level_text(mean.high)}" if known else "one night: interval not known"
    )
    return IntervalRow(
        name=name, value=mean.mean, low=mean.low, high=mean.high,
        note=f"{number_text(mean.mean, 1)} ({interval}), {nights}",
    )  # fmt: skip


def _group(group: NightGroup, key: str, mixed: tuple[str, ...]) -> list[Section]:
    if len(group.nights) < 2:
        return []
    unit = "dB" if group.absolute else "dB re full scale"
    rows = [_mean_row(day.name, day.laeq) for day in (*group.week.days, *group.week.labels)]
    found = group.week.before_free_days
    word = "cannot tell" if found is None else found.word
    figure = interval_figure(
        f"{key}-days", f"LAeq by the day of the week, {_group_name(group)}",
        "Energy mean of the nights that begin on each day, or carry a label, with its 95 % interval; the "
        f"line is the mean of all. Whether Friday and Saturday nights differ from the others: {word}.",
        rows, unit=unit, value=group.laeq.mean, words=("mean of all these nights", ""),
    )  # fmt: skip
    return [
        Section(
            key=key, title=f"By weekday, {_group_name(group)}", readers=NUMBERS,
            sentences=(_free_days(found),), figures=(figure,),
            tables=(week_table(group), group_table(group)), folded=(exceedance_table(group),),
            notes=mixed, template="exhibits.html",
        )
    ]  # fmt: skip


def _mixed(group: NightGroup, marked: Sequence[tuple[date, str]]) -> tuple[str, ...]:
    """Return a warning if nights that are put together lie on both sides of a treatment."""
    evenings = [night.evening for night in group.nights]
    split = [title for evening, title in marked if evenings and min(evenings) < evening <= max(evenings)]
    if not split:
        return ()
    return (
        f"These nights lie before and after: {'; '.join(split)}. What that changed is in their spread, and "
        "days with more nights on one side may look louder for that alone.",
    )


def _free_days(found: Difference | None) -> str:
    if found is None:
        return "There are no nights of both kinds, Friday or Saturday and others, to compare."
    interval = (
        "interval not known"
        if math.isnan(found.low)
        else f"95 % {signed_text(found.low)} to {signed_text(found.high)}"
    )
    word = "cannot tell whether they differ" if found.word == "cannot tell" else found.word
    figures = f"{signed_text(found.difference)} dB, {interval}"
    return f"Friday and Saturday nights against the others: {word} ({figures})."


def _change(change: Change, key: str) -> Section:
    since = change.first_evening
    title = f"Before and after: {cut_text(change.title, LONGEST_HEAD)}"
    if not change.by_windows:
        return Section(
            key=key, title=title,
            sentences=(
                f"Cannot tell: there are no nights both before and from {since} on with the windows alike.",
            ),
        )  # fmt: skip
    figures: list[Figure] = []
    tables, sentences = [], []
    for number, (state, found) in enumerate(change.by_windows.items(), start=1):
        told = f"windows {state or 'not noted'}"
        sentences += [f"{told.capitalize()}: {each}" for each in change_sentences(found)]
        figures += _difference_figures(found, f"{key}-{number}", f"from {since} on, {told}")
        table = replace(change_table(found), title=f"Before and from {since} on, {told}")
        tables += [replace(table, rows=()), table]
    return Section(
        key=key, title=title, sentences=tuple(sentences), figures=tuple(figures), tables=tuple(tables),
        notes=(DIFFERENCE_NOTE,), template="exhibits.html",
    )  # fmt: skip


DIFFERENCE_NOTE = (
    f"The pale band is ±{LEAST_CHANGE:g}: nights whose whole interval lies in it are about the same; an "
    "interval beyond zero tells quieter from louder; anything else cannot be told yet."
)
"""How to read a drawing of differences."""


def _windows(found: BeforeAfter) -> Section:
    table = change_table(found)
    heads = {"Before": "Open", "After": "Closed"}
    columns = tuple(
        plain_column(heads.get(each.text, each.text), number=each.number) for each in table.columns
    )
    return Section(
        key="windows", title="Windows open and closed",
        sentences=(_windows_sentence(found.laeq),),
        figures=tuple(_difference_figures(found, "windows", "windows closed less windows open")),
        tables=(
            replace(table, rows=()),
            replace(table, title="Windows open and closed", columns=columns),
        ),
        notes=(DIFFERENCE_NOTE,), template="exhibits.html",
    )  # fmt: skip


def _windows_sentence(laeq: Difference) -> str:
    nights = f"{laeq.after_nights} closed against {laeq.before_nights} open"
    if laeq.word == "cannot tell":
        return f"Whether nights with closed windows are quieter: cannot tell yet ({nights})."
    return (
        f"With the windows closed nights are {laeq.word}: LAeq {signed_text(laeq.difference)} dB ({nights})."
    )


def _difference_figures(found: BeforeAfter, key: str, told: str) -> list[Figure]:
    """Return the differences of levels, and that of events, each on its own scale."""
    levels = [_difference_row(QUANTITIES[name], getattr(found, name)) for name in ("laeq", "lafmax", "la90")]
    events = [_difference_row(QUANTITIES["events"], found.events, number=True)]
    zone = (-LEAST_CHANGE, LEAST_CHANGE)
    return [
        interval_figure(
            f"{key}-{name}", f"Difference of {what}, {told}",
            f"After less before, with its 95 % interval; left of zero is {less}. "
            + " ".join(f"{row.name}: {row.note}." for row in rows),
            rows, unit=unit, value=0.0, zone=zone,
            words=("no difference", f"±{LEAST_CHANGE:g}: about the same"),
        )
        for name, what, less, rows, unit in (
            ("levels", "levels", "quieter", levels, "dB"),
            ("events", "events a night", "fewer", events, "events a night"),
        )
    ]  # fmt: skip


_IN_NUMBER = {"quieter": "fewer", "louder": "more"}
"""Words for counts."""


def _difference_row(name: str, found: Difference, *, number: bool = False) -> IntervalRow:
    word = _IN_NUMBER.get(found.word, found.word) if number else found.word
    values = f"{number_text(found.before, 1)} → {number_text(found.after, 1)}"
    return IntervalRow(
        name=f"{name}: {values}",
        value=found.difference,
        low=found.low,
        high=found.high,
        note=f"{signed_text(found.difference)}: {word}",
        tone={"quieter": "better", "louder": "worse"}.get(found.word, ""),
    )
