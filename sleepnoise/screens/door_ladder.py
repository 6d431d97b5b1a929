"""A door test as a ladder, in 80 columns: what each step gained, and what all of them did together."""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.bands import band_label
from sleepnoise.fieldwork.door_test import DoorTest, Step
from sleepnoise.fieldwork.ladder import loudness_ratio
from sleepnoise.screens.terminal import Screen, heading, plain
from sleepnoise.trials.door_test import CAUTIONS, ORDER, DoorTestResult
from sleepnoise.wording.rounding import level_text, signed_text

STEPS_ABREAST = 8
"""Steps side by side in the table of bands. Chosen: they fit 80 columns."""

LOUDNESS_WORDS = (
    (1 / 8, "an eighth"),
    (1 / 4, "a quarter"),
    (1 / 3, "a third"),
    (1 / 2, "half"),
    (3 / 4, "three quarters"),
)
"""Ratios of loudness and their words. Chosen: finer than these, ears do not agree."""

LEAST_WORD, HARDLY = 0.1, 0.9
"""Below and above these ratios words of their own are used. Chosen: outside the list, and 1.5 dB."""


def show_door_test(result: DoorTestResult, *, bands: bool) -> None:
    """Print a door test on standard output, with every band if asked to."""
    screen, test = Screen(), result.test
    screen.print(Text(plain(result.title), style="bold"))
    for sentence in _answers(test):
        screen.print(Text(plain(sentence)))
    screen.print()
    screen.print(_ladder_table(result))
    screen.print()
    screen.print(Text(plain(_shares(test))))
    heading(screen, "What was read")
    screen.print(_reading_table(result))
    for sentence in (*_scale(result), *result.remarks):
        screen.print(Text(plain(sentence)))
    if bands:
        _show_bands(screen, test)
    heading(screen, "Cautions")
    for caution in CAUTIONS:
        screen.print(Text(f"– {caution}", style="dim"))


def loudness_text(ratio: float) -> str:
    """Return how loud the rest of up to 1 seems, in words; 10 dB less is about half as loud.

    Examples
    --------
    >>> loudness_text(0.47), loudness_text(0.95)
    ('about half as loud', 'hardly quieter to the ear')
    """
    if ratio < LEAST_WORD:
        return "less than a tenth as loud"
    if ratio > HARDLY:
        return "hardly quieter to the ear"
    _, word = min(LOUDNESS_WORDS, key=lambda pair: abs(math.log(ratio / pair[0])))
    return f"about {word} as loud"


def _answers(test: DoorTest) -> Iterator[str]:
    last = len(test.steps) - 1
    for first in dict.fromkeys((0, test.since)):
        gain_db = float(test.ladder.gain_db(first, last)[0])
        names = f"From {test.steps[first].title!r} to {test.steps[last].title!r}"
        size = f"{level_text(abs(gain_db))}{_doubt(test, first, last)} dB"
        seems = loudness_text(float(loudness_ratio(gain_db)))
        if math.isnan(gain_db):
            yield f"{names}: cannot be told; the background was too loud."
        elif test.ladder.gain_is_least(last)[0]:
            yield f"{names}: at least {size} quieter (A-weighted), {seems} or less."
        elif gain_db < 0:
            yield f"{names}: {size} louder (A-weighted)."
        else:
            yield f"{names}: {size} quieter (A-weighted), {seems}."


def _doubt(test: DoorTest, first: int, last: int) -> str:
    u_db = float(test.expanded_db(first, last)[0])
    return "" if math.isnan(u_db) else f" ± {level_text(u_db)}"


def _ladder_table(result: DoorTestResult) -> ScreenTable:
    test = result.test
    since = dict.fromkeys((0, test.since))
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("")
    table.add_column("Step, in this order", overflow="fold")
    for name in (_unit(result), "Gain", "±", *(f"Since {first + 1}" for first in since), "As loud"):
        table.add_column(name, justify="right", no_wrap=True)
    for number, step in enumerate(test.steps):
        least = "≤ " if test.ladder.at_limit[number, 0] else ""
        table.add_row(
            str(number + 1),
            Text(plain(step.title)),
            least + _level(test.ladder.levels_db[number, 0]),
            *_gains(test, number),
            *(_gain_text(test, first, number) for first in since),
            _as_loud(test, number),
        )
    return table


def _gains(test: DoorTest, number: int) -> tuple[str, str]:
    if number == 0:
        return "", ""
    u_db = float(test.expanded_db(number - 1, number)[0])
    return _gain_text(test, number - 1, number), "" if math.isnan(u_db) else level_text(u_db)


def _gain_text(test: DoorTest, first: int, last: int, row: int = 0) -> str:
    if last <= first:
        return ""
    gain_db = float(test.ladder.gain_db(first, last)[row])
    if math.isnan(gain_db):
        return "–"
    least = "≥ " if test.ladder.gain_is_least(last)[row] else ""
    return least + _level(gain_db)


def _as_loud(test: DoorTest, number: int) -> str:
    """Return how loud a step seems beside the one from which totals count."""
    if number <= test.since:
        return "100 %" if number == test.since else ""
    gain_db = test.ladder.gain_db(test.since, number)[0]
    if np.isnan(gain_db):
        return "–"
    most = "≤ " if test.ladder.gain_is_least(number)[0] else ""
    return f"{most}{100.0 * float(loudness_ratio(gain_db)):.0f} %"


def _shares(test: DoorTest) -> str:
    first = test.since
    if test.ladder.at_limit[first, 0]:
        return f"Of the energy at step {first + 1} nothing can be told. {ORDER}"
    shares = test.ladder.removed_share(first)[:, 0]
    told = ", ".join(_share(test, first + 1 + place, float(share)) for place, share in enumerate(shares))
    left = 100.0 * float(test.ladder.left_share(first)[0])
    most = "at most " if test.ladder.at_limit[-1, 0] else ""
    return f"Of the A-weighted energy at step {first + 1}, {told}; {most}{left:.1f} % is left. {ORDER}"


def _share(test: DoorTest, number: int, share: float) -> str:
    if test.ladder.at_limit[number - 1, 0]:
        return f"step {number + 1} cannot be told"
    word = "removed" if share >= 0 else "added"
    least = "at least " if test.ladder.at_limit[number, 0] and share >= 0 else ""
    return f"step {number + 1} {word} {least}{100.0 * abs(share):.1f} %"


def _reading_table(result: DoorTestResult) -> ScreenTable:
    test = result.test
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("")
    table.add_column("Step", overflow="fold")
    beside = any(step.source for step in test.steps)
    names = ("Readings", "Steady, s", "Left out, s", "Spread, dB", *(("Noise itself, dB",) if beside else ()))
    for name in names:
        table.add_column(name, justify="right", no_wrap=True)
    for number, step in enumerate(test.steps):
        change = [signed_text(float(test.source_change_db[number, 0]))] if beside else []
        table.add_row(
            str(number + 1), Text(plain(step.title)), *_read(step, test.repeat_spread_db[number]), *change
        )
    if test.background_read:
        table.add_row("", f"background, {_level(test.background_db[0])} {_unit(result)}")
    return table


def _read(step: Step, spread_db: float) -> Sequence[str]:
    used_s, rejected_s = (
        sum(seconds)
        for seconds in zip(*((each.used_s, each.rejected_s) for each in step.readings), strict=True)
    )
    seconds = ["typed", ""] if math.isnan(used_s) else [f"{used_s:.1f}", f"{rejected_s:.1f}"]
    return str(len(step.readings)), *seconds, "" if math.isnan(spread_db) else level_text(float(spread_db))


def _scale(result: DoorTestResult) -> Iterator[str]:
    if not result.absolute:
        yield (
            "The recordings have no calibration: levels are A-weighted, relative to full scale (re FS). The "
            "gains need none, as long as the recorder's own gain stayed as it was and nothing set it "
            "automatically."
        )
    yield "10 dB less is about half as loud: a rule of thumb for steady broadband sound well above hearing."


def _show_bands(screen: Screen, test: DoorTest) -> None:
    if not test.nominal_hz:
        screen.print("There are no bands that every reading has.")
        return
    for first in range(1, len(test.steps), STEPS_ABREAST):
        numbers = range(first, min(first + STEPS_ABREAST, len(test.steps)))
        heading(screen, "Gain of each step by band, dB")
        table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
        table.add_column("Band, Hz", justify="right")
        for number in numbers:
            table.add_column(f"Step {number + 1}", justify="right", no_wrap=True)
        for row, hz in enumerate(test.nominal_hz, start=1):
            cells = (_gain_text(test, number - 1, number, row) for number in numbers)
            table.add_row(band_label(hz), *cells)
        screen.print(table)


def _unit(result: DoorTestResult) -> str:
    return "dB(A)" if result.absolute else "dB re FS"


def _level(level_db: float) -> str:
    return level_text(float(level_db)).replace("-", "−")
