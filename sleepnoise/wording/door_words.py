"""A door test in sentences and tables, the same on every screen and page."""

import math
from collections.abc import Iterator

from sleepnoise.acoustics.bands import band_label
from sleepnoise.dossier.kept_door_test import KeptDoorTest, KeptGain, KeptStep
from sleepnoise.fieldwork.ladder import loudness_ratio
from sleepnoise.trials.door_test import ORDER
from sleepnoise.wording.rounding import level_text, signed_text
from sleepnoise.wording.tables import Column, Table, plain_column

LOUDNESS_WORDS = (
    (1 / 8, "an eighth"),
    (1 / 4, "a quarter"),
    (1 / 3, "a third"),
    (1 / 2, "half"),
    (3 / 4, "three quarters"),
)
"""Ratios of loudness and their words. Chosen: finer than these, ears do not agree."""

NUMBER = Column(text="", html="No.")
"""Head of the numbers of steps: a screen has no room for one."""

LEAST_WORD, HARDLY = 0.1, 0.9
"""Below and above these ratios words of their own are used. Chosen: outside the list, and 1.5 dB."""


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


def door_sentences(test: KeptDoorTest) -> Iterator[str]:
    """Return what all steps did together."""
    last = len(test.steps) - 1
    for first in dict.fromkeys((0, test.since)):
        gain = test.gain(first, last)
        if gain is None:
            continue
        gain_db = gain.gain_db[0]
        names = f"From {test.steps[first].title!r} to {test.steps[last].title!r}"
        size = f"{level_text(abs(gain_db))}{_doubt(gain)} dB"
        seems = loudness_text(float(loudness_ratio(gain_db)))
        if math.isnan(gain_db):
            yield f"{names}: cannot be told; the background was too loud."
        elif gain.at_least[0]:
            rest = seems if seems.startswith("less") else f"{seems} or less"
            yield f"{names}: at least {size} quieter (A-weighted), {rest}."
        elif gain_db < 0:
            yield f"{names}: {size} louder (A-weighted)."
        else:
            yield f"{names}: {size} quieter (A-weighted), {seems}."


def _doubt(gain: KeptGain) -> str:
    u_db = gain.expanded_uncertainty_db[0]
    return "" if math.isnan(u_db) else f" ± {level_text(u_db)}"


def scale_text(test: KeptDoorTest) -> str:
    """Return what levels are in decibels of."""
    return "dB(A)" if test.absolute else "dB re FS"


def level_of(level_db: float) -> str:
    """Return a level with a true minus."""
    return level_text(level_db).replace("-", "−")


def with_doubt(gain: KeptGain | None) -> str:
    """Return an A-weighted gain with its uncertainty, without its unit; nothing where there is none."""
    return "" if gain is None else f"{gain_text(gain)}{_doubt(gain)}"


def gain_text(gain: KeptGain | None, row: int = 0) -> str:
    """Return a gain for people, without its unit; nothing where there is none."""
    if gain is None:
        return ""
    if math.isnan(gain.gain_db[row]):
        return "–"
    return ("≥ " if gain.at_least[row] else "") + level_of(gain.gain_db[row])


def ladder_table(test: KeptDoorTest) -> Table:
    """Return the steps, one a row, with what each gained."""
    since = tuple(dict.fromkeys((0, test.since)))
    heads = (scale_text(test), "Gain", "±", *(f"Since {first + 1}" for first in since), "As loud")
    columns = (
        NUMBER, plain_column("Step, in this order"),
        *(plain_column(head, number=True) for head in heads),
    )  # fmt: skip
    rows = tuple(_ladder_row(test, number, since) for number in range(len(test.steps)))
    return Table(title="What each step gained, dB", columns=columns, rows=rows)


def _ladder_row(test: KeptDoorTest, number: int, since: tuple[int, ...]) -> tuple[str, ...]:
    step = test.steps[number]
    gain = step.step_gain
    u_db = math.nan if gain is None else gain.expanded_uncertainty_db[0]
    return (
        str(number + 1),
        step.title,
        ("≤ " if step.at_background_limit[0] else "") + level_of(step.corrected_db[0]),
        gain_text(gain),
        "" if math.isnan(u_db) else level_text(u_db),
        *(gain_text(test.gain(first, number)) if number > first else "" for first in since),
        _as_loud(test, number),
    )


def _as_loud(test: KeptDoorTest, number: int) -> str:
    """Return how loud a step seems beside the one from which totals count."""
    gain = test.gain(test.since, number) if number > test.since else None
    if gain is None:
        return "100 %" if number == test.since else ""
    if math.isnan(gain.gain_db[0]):
        return "–"
    most = "≤ " if gain.at_least[0] else ""
    return f"{most}{100.0 * float(loudness_ratio(gain.gain_db[0])):.0f} %"


def shares_sentence(test: KeptDoorTest) -> str:
    """Return what each step removed of the energy."""
    first = test.since
    if test.steps[first].at_background_limit[0]:
        return f"Of the energy at step {first + 1} nothing can be told. {ORDER}"
    told = ", ".join(_share(test, number) for number in range(first + 1, len(test.steps)))
    left = 100.0 * test.left_share_of_since[0]
    most = "at most " if test.steps[-1].at_background_limit[0] else ""
    told = f", {told}" if told else ""
    return f"Of the A-weighted energy at step {first + 1}{told}; {most}{left:.1f} % is left. {ORDER}"


def _share(test: KeptDoorTest, number: int) -> str:
    share = (test.steps[number].removed_share_of_since or (math.nan,))[0]
    if math.isnan(share):
        return f"step {number + 1} cannot be told"
    word = "removed" if share >= 0 else "added"
    least = "at least " if test.steps[number].at_background_limit[0] and share >= 0 else ""
    return f"step {number + 1} {word} {least}{100.0 * abs(share):.1f} %"


def reading_table(test: KeptDoorTest) -> Table:
    """Return what was read at each step."""
    beside = any(step.source for step in test.steps)
    names = ("Readings", "Steady, s", "Left out, s", "Spread, dB", *(("Noise itself, dB",) if beside else ()))
    columns = (NUMBER, plain_column("Step"), *(plain_column(name, number=True) for name in names))
    rows = [
        (
            str(number),
            step.title,
            *_read(step),
            *([signed_text(step.source_change_db[0])] if beside else []),
        )
        for number, step in enumerate(test.steps, start=1)
    ]
    if test.background_db is not None:
        background = f"background, {level_of(test.background_db[0])} {scale_text(test)}"
        rows.append(("", background, *("" for _ in names)))
    return Table(title="What was read", columns=columns, rows=tuple(rows))


def _read(step: KeptStep) -> tuple[str, ...]:
    used_s, rejected_s = (
        sum(seconds)
        for seconds in zip(*((each.used_s, each.rejected_s) for each in step.readings), strict=True)
    )
    seconds = ["typed", ""] if math.isnan(used_s) else [f"{used_s:.1f}", f"{rejected_s:.1f}"]
    spread_db = step.repeat_spread_db
    return str(len(step.readings)), *seconds, "" if math.isnan(spread_db) else level_text(spread_db)


def scale_sentences(test: KeptDoorTest) -> Iterator[str]:
    """Return what levels and gains may be taken for."""
    if not test.absolute:
        yield (
            "The recordings have no calibration: levels are A-weighted, relative to full scale (re FS). The "
            "gains need none, as long as the recorder's own gain stayed as it was and nothing set it "
            "automatically."
        )
    yield "10 dB less is about half as loud: a rule of thumb for steady broadband sound well above hearing."


def band_table(test: KeptDoorTest, numbers: range) -> Table:
    """Return what some steps gained over the one before in every band."""
    columns = (
        plain_column("Band, Hz", number=True),
        *(plain_column(f"Step {number + 1}", number=True) for number in numbers),
    )
    rows = tuple(
        (band_label(hz), *(gain_text(test.steps[number].step_gain, row) for number in numbers))
        for row, hz in enumerate(test.nominal_hz, start=1)
    )
    return Table(title="Gain of each step by band, dB", columns=columns, rows=rows)


def since_band_table(test: KeptDoorTest) -> Table:
    """Return what later steps gained in every band since the one that totals count from, with U (k = 2)."""
    later = range(test.since + 1, len(test.steps))
    columns = [plain_column("Band, Hz", number=True)]
    for number in later:
        columns += [plain_column(f"Step {number + 1}", number=True), plain_column("±", number=True)]
    rows = tuple(
        (band_label(hz), *(cell for number in later for cell in _both(test.gain(test.since, number), row)))
        for row, hz in enumerate(test.nominal_hz, start=1)
    )
    return Table(title=f"Gain since step {test.since + 1} by band, dB", columns=tuple(columns), rows=rows)


def _both(gain: KeptGain | None, row: int) -> tuple[str, str]:
    u_db = math.nan if gain is None else gain.expanded_uncertainty_db[row]
    return gain_text(gain, row), "" if math.isnan(u_db) else level_text(u_db)
