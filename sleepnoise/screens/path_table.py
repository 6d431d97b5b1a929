"""A studied room on one screen of 80 columns: how sound gets in, what helps, what is not advised."""

import math

import numpy as np
from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.decibels import combine
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.isolation.advice import SMALLEST_GAIN_DB, Advice, RoomAdvice
from sleepnoise.isolation.door_test import DoorComparison
from sleepnoise.isolation.paths import Path, RoomLevels
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.profiles.bedroom import Side
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.wording.rounding import DOUBTS, level_text

BEHIND: dict[Side, str] = {
    "hall": "in the hall",
    "outdoors": "outdoors",
    "neighbour": "at the neighbour",
}

ROOM_CAUTIONS = (
    "Each gain is that of one treatment by itself, before any other; what comes second often gains more.",
    "Values are generic and gaps are estimates: prove each step with a door test, before and after.",
    "Local codes and licensed practice come first: fire doors, escape windows, ventilation, air for "
    "combustion, alarms.",
)
"""Said of every room."""

MONEY = 100.0
"""Gain is shown for this much money. Chosen: gains for one unit are too small to read."""


def show_room(study: RoomStudy) -> None:
    """Print a studied room on standard output."""
    screen = Screen()
    screen.print(Text(plain(study.bedroom.title), style="bold"))
    for sentence in room_sentences(study):
        screen.print(Text(plain(sentence)))
    _show_paths(screen, study.advice.now)
    _show_advice(screen, study)
    _show_refused(screen, study.advice)
    _show_cautions(screen, study.advice)


def room_sentences(study: RoomStudy) -> tuple[str, ...]:
    """Return what matters most, in sentences."""
    now = study.advice.now
    sounds = "; ".join(
        f"{each.sound.title}{_doubt(each.sound.source.how_known)}, "
        f"{level_text(each.level_dba, 0)} dB(A) {BEHIND[each.behind]}"
        for each in study.standing
    )
    strongest = now.strongest
    share = f"{100.0 * now.shares[strongest]:.0f} %"
    gain = now.gains_without_db[strongest]
    without = f"; without it the room gains {level_text(float(gain))} dB" if math.isfinite(gain) else ""
    return (
        f"Behind the room: {sounds}.",
        f"In the room: {level_text(now.room_dba)} ± {level_text(COVERAGE_95 * now.u_db)} dB(A).",
        f"Strongest path: {path_text(now.paths.paths[strongest])}, {share} of the sound{without}.",
        *([] if study.comparison is None else [door_test_text(study.comparison)]),
    )


def door_test_text(comparison: DoorComparison) -> str:
    """Return what a door test says beside the tables."""
    known = ~np.isnan(comparison.measured_db)
    measured, tabulated = (
        float(np.mean(each[known] if each.ndim else each))
        for each in (comparison.measured_db, comparison.tabulated_db)
    )
    mean = " on average over the bands measured" if comparison.measured_db.ndim else ""
    least = " at least, for other paths decide" if np.any(comparison.at_limit) else ""
    better_db = measured - tabulated
    word = "more" if better_db >= 0 else "less"
    return (
        f"Door test: {comparison.part} takes off {level_text(measured)} dB{least}, the tables say "
        f"{level_text(tabulated)} dB{mean}: {level_text(abs(better_db))} dB {word}. The measured door counts."
    )


def path_text(path: Path) -> str:
    """Return a path in words.

    Returns
    -------
    str
        Such as ``"oak door: gap bottom, 10 mm"``; an estimated width reads *about*.
    """
    if path.gap is None:
        return path.part.title if path.through == "leaf" else f"{path.part.title}: {path.through}"
    about = "" if path.gap.measured else "about "
    return f"{path.part.title}: {path.through}, {about}{path.gap.width_m * 1000.0:g} mm"


def _show_paths(screen: Screen, now: RoomLevels) -> None:
    heading(screen, "How the sound gets in, strongest first")
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Path", overflow="fold")
    table.add_column("From", no_wrap=True)
    for name in ("Keeps out", "dB(A)", "Share", "Without"):
        table.add_column(name, justify="right", no_wrap=True)
    heard = np.argsort(-now.levels_dba, kind="stable")[: np.count_nonzero(~np.isneginf(now.levels_dba))]
    for number in heard:
        path = now.paths.paths[number]
        doubt = _doubt(path.part.element.source.how_known) if path.gap is None else ""
        gain = now.gains_without_db[number]
        table.add_row(
            Text(plain(path_text(path) + doubt)),
            path.part.behind,
            _kept_out(now, int(number)),
            level_text(float(now.levels_dba[number])),
            f"{100.0 * now.shares[number]:.0f} %",
            f"{level_text(float(gain))} dB" if math.isfinite(gain) else "all",
        )
    screen.print(table)
    silent = {path.part.behind for path in now.paths.paths} - set(now.arriving)
    if silent:
        screen.print(Text(f"No sound stands {', nor '.join(BEHIND[side] for side in sorted(silent))}."))


def _kept_out(now: RoomLevels, number: int) -> str:
    """Return by how much a path lowers the A-weighted level of the sound behind it."""
    behind_dba = float(combine(now.arriving[now.paths.paths[number].part.behind]))
    return f"{level_text(behind_dba - float(now.levels_dba[number]), 0)} dB"


def _show_advice(screen: Screen, study: RoomStudy) -> None:
    advice = study.advice
    heading(screen, "What may be done, greatest gain of the room first")
    if not advice.allowed:
        screen.print(Text("Nothing that is allowed gains enough."))
    else:
        screen.print(_advice_table(advice, study.bedroom.currency))
    if len(advice.by_money) > 1:
        named = "; ".join(f"{each.treatment.title} ({each.part.title})" for each in advice.by_money[:3])
        screen.print(Text(plain(f"Most gain for the money: {named}.")))
    if advice.too_little:
        named = "; ".join(f"{each.treatment.title} ({each.part.title})" for each in advice.too_little)
        screen.print(Text(plain(f"Under {SMALLEST_GAIN_DB:g} dB here, so not worth it: {named}.")))


def _advice_table(advice: RoomAdvice, currency: str) -> ScreenTable:
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Treatment", overflow="fold")
    for name in ("Gain ±, dB", "Then, dB(A)"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column(f"Price, {plain(currency)}" if advice.by_money else "Cost (guess)", justify="right")
    if advice.by_money:
        table.add_column(f"dB for {MONEY:g}", justify="right", no_wrap=True)
    for each in advice.allowed:
        doubt = _doubt(each.treatment.source.how_known)
        gain = f"{level_text(each.gain_db)} ± {level_text(COVERAGE_95 * each.u_db)}"
        title = Text(plain(f"{each.treatment.title}{doubt} – {each.part.title}"))
        money = [_per_money(each)] if advice.by_money else []
        table.add_row(title, gain, level_text(each.room_dba), _cost(each), *money)
    return table


def _cost(advice: Advice) -> str:
    return f"~ {advice.treatment.cost_class}" if advice.price is None else f"{advice.price:g}"


def _per_money(advice: Advice) -> str:
    gain = advice.gain_per_money_db
    if gain is None:
        return ""
    return level_text(MONEY * gain) if math.isfinite(gain) else "free"


def _show_refused(screen: Screen, advice: RoomAdvice) -> None:
    if not advice.refused:
        return
    heading(screen, "Not advised")
    by_reasons: dict[tuple[tuple[str, ...], str], list[str]] = {}
    for each in advice.refused:
        by_reasons.setdefault((each.reasons, each.part.title), []).append(each.treatment.title)
    lines = (
        Text(plain(f"{part}: {'; '.join(names)}. Why: {'; '.join(reasons)}."))
        for (reasons, part), names in by_reasons.items()
    )
    show_paragraphs(screen, lines)


def _show_cautions(screen: Screen, advice: RoomAdvice) -> None:
    """Print each caution of the treatments that may be done once; what alarms lose comes first."""
    heading(screen, "Before anything is done")
    alarms = [f"{each.treatment.title}. {each.alarm}" for each in advice.allowed if each.alarm]
    others = [caution for each in advice.allowed for caution in each.cautions]
    told = dict.fromkeys([*ROOM_CAUTIONS, *alarms, *others])
    show_paragraphs(screen, (Text(plain(each)) for each in told))


def _doubt(how_known: str) -> str:
    return f" ({DOUBTS[how_known]})" if how_known in DOUBTS else ""
