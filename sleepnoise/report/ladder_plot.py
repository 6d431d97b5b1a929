"""A door test as a ladder: the level after each step, and what each step gained, with its uncertainty."""

import math
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

from sleepnoise.dossier.kept_door_test import KeptDoorTest, KeptGain, KeptStep
from sleepnoise.report.axes import WIDTH, Axis, axis_over, cut_lines, cut_text
from sleepnoise.report.drawings import drawn
from sleepnoise.report.night_trace import Mark
from sleepnoise.report.sections import Figure
from sleepnoise.report.spectrum_plot import band_name
from sleepnoise.wording.door_words import level_of, scale_text, with_doubt

LADDER = SimpleNamespace(WIDTH=WIDTH, HEIGHT=384, LEFT=172, RIGHT=944, TOP=82, BOTTOM=346)
"""Size of the ladder. Chosen: two lines of gains above it, and one of titles below, to which up to two more
are added where titles are long."""

BANDS = SimpleNamespace(WIDTH=WIDTH, HEIGHT=340, LEFT=60, RIGHT=944, TOP=16, BOTTOM=292)
"""Size of the drawing of bands. Chosen: as that of spectra."""

MOST_STEPS = 12
"""Steps in the drawing, the last ones. Chosen: more rungs have no room for their names; the table has all."""

MOST_LINES = 3
"""Lines in the drawing of bands, those of the last steps. Chosen: more can't be told apart."""

LEAST_SPAN = 10.0
"""Distance that a scale of levels spans at least, dB. Chosen: what halves loudness."""


def ladder_figure(test: KeptDoorTest, key: str) -> Figure:
    """Return the ladder of a door test."""
    title = f"Level behind the door after each step, {scale_text(test)}"
    first = max(len(test.steps) - MOST_STEPS, 0)
    shown = range(first, len(test.steps))
    axis = axis_over(_ends(test, shown), LADDER.BOTTOM, LADDER.TOP, least=LEAST_SPAN)
    width = (LADDER.RIGHT - LADDER.LEFT) / len(shown)
    background = test.background_db[0] if test.background_db else math.nan
    known = math.isfinite(background)
    rungs = [
        _rung(test, number, LADDER.LEFT + width * place, width, axis) for place, number in enumerate(shown)
    ]
    plot = {
        "rungs": rungs,
        "marks": axis.marks,
        "background": axis.at(background) if known else None,
        "background_text": f"background {level_of(background)}" if known else "",
        "since": test.since + 1,
        "limit": any(test.steps[number].at_background_limit[0] for number in shown),
    }
    description = _told(test)
    lines = max(len(rung["lines"]) for rung in rungs)
    box = SimpleNamespace(**{**vars(LADDER), "HEIGHT": LADDER.HEIGHT + 18 * (lines - 1)})
    svg = drawn("ladder", key, title, description, plot, box, scale_text(test))
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("ladder_key", plot))


def _ends(test: KeptDoorTest, shown: range) -> list[float]:
    found = [test.background_db[0]] if test.background_db else []
    for number in shown:
        level, half = test.steps[number].corrected_db[0], _half(test.steps[number].step_gain)
        found += [level - half, level + half]
    return found


def _half(gain: KeptGain | None, row: int = 0) -> float:
    """Return the uncertainty of a gain; none where it is not known."""
    found = math.nan if gain is None else gain.expanded_uncertainty_db[row]
    return found if math.isfinite(found) else 0.0


def _rung(test: KeptDoorTest, number: int, x: float, width: float, axis: Axis) -> dict[str, Any]:
    step = test.steps[number]
    level, half = step.corrected_db[0], _half(step.step_gain)
    before = test.steps[number - 1].corrected_db[0] if number else math.nan
    since = test.gain(test.since, number) if number > test.since + 1 else None
    return {
        "x": round(x + 0.12 * width, 1),
        "end": round(x + 0.88 * width, 1),
        "middle": round(x + width / 2, 1),
        "left": round(x - 0.12 * width, 1),
        "y": axis.at(level) if math.isfinite(level) else None,
        "before": axis.at(before) if math.isfinite(before) and math.isfinite(level) else None,
        "low": axis.at(level - half) if half else None,
        "high": axis.at(level + half) if half else None,
        "limit": step.at_background_limit[0],
        "level": ("≤ " if step.at_background_limit[0] else "") + level_of(level),
        "gain": cut_text(with_doubt(step.step_gain), width + 10),
        "total": cut_text(with_doubt(since), width + 10),
        "lines": cut_lines(f"{number + 1} {step.title}", width - 6, 3),
        "title": f"Step {number + 1}, {step.title[:200]}: {level_of(level)}",
    }


def _told(test: KeptDoorTest) -> str:
    steps = "; ".join(
        f"{number} {cut_text(step.title, 420)} {level_of(step.corrected_db[0])}{_gained(step)}"
        for number, step in enumerate(test.steps[:MOST_STEPS], start=1)
    )
    return f"A rung for each step in the order in which they were made: {steps}. The table has the same."


def _gained(step: KeptStep) -> str:
    return "" if step.step_gain is None else f" (gain {with_doubt(step.step_gain)} dB)"


def bands_figure(test: KeptDoorTest, key: str) -> Figure | None:
    """Return what the steps gained in each band since the one that totals count from; none without bands."""
    later = range(test.since + 1, len(test.steps))[-MOST_LINES:]
    gains = [(number, gain) for number in later if (gain := test.gain(test.since, number)) is not None]
    if not test.nominal_hz or not gains:
        return None
    axis = axis_over([0.0, *_band_ends(gains)], BANDS.BOTTOM, BANDS.TOP, least=LEAST_SPAN)
    width = (BANDS.RIGHT - BANDS.LEFT) / len(test.nominal_hz)
    plot = {
        "marks": axis.marks,
        "bands": band_marks(test.nominal_hz, BANDS),
        "zero": axis.at(0.0),
        "lines": [
            {"name": f"{number + 1} {cut_text(test.steps[number].title, 300)}",
             "path": _stairs(gain, width, axis)}
            for number, gain in gains
        ],
        "spread": _spread(gains[-1][1], width, axis),
        "least": _limits(gains[-1][1], width, axis),
        "last": gains[-1][0] + 1,
        "unit": "dB",
    }  # fmt: skip
    title = f"Gain since step {test.since + 1} in each band, dB"
    steps = ", ".join(str(number + 1) for number, _ in gains)
    description = (
        f"A line with a level stretch for each band, for step {steps}; the shaded band is the expanded "
        f"uncertainty (k = 2) of step {plot['last']}. The table has the figures."
    )
    return Figure(
        key=key, title=title, description=description,
        svg=drawn("band_lines", key, title, description, plot, BANDS), legend=drawn("band_lines_key", plot),
    )  # fmt: skip


def _band_ends(gains: Sequence[tuple[int, KeptGain]]) -> list[float]:
    """Return everything that the axis of bands has to hold; the shaded uncertainty is that of the last."""
    last = gains[-1][1]
    found = [value for _, gain in gains for value in gain.gain_db[1:]]
    for row, value in enumerate(last.gain_db[1:], start=1):
        found += [value - _half(last, row), value + _half(last, row)]
    return found


def band_marks(nominal_hz: Sequence[float], box: SimpleNamespace) -> list[Mark]:
    """Return the names of bands along an axis: the octaves, or all of a few."""
    width = (box.RIGHT - box.LEFT) / len(nominal_hz)
    few = len(nominal_hz) <= 12
    middle = nominal_hz.index(1000.0) if 1000.0 in nominal_hz else 0
    return [
        Mark(at=round(box.LEFT + width * (place + 0.5), 1), text=band_name(hz))
        for place, hz in enumerate(nominal_hz)
        if few or (place - middle) % 3 == 0
    ]


def _stairs(gain: KeptGain, width: float, axis: Axis) -> str:
    drawn_path, joined = [], False
    for place, value in enumerate(gain.gain_db[1:]):
        if not math.isfinite(value):
            joined = False
            continue
        x = BANDS.LEFT + width * place
        drawn_path.append(f"{'L' if joined else 'M'}{x:.1f},{axis.at(value)}H{x + width:.1f}")
        joined = True
    return "".join(drawn_path)


def _spread(gain: KeptGain, width: float, axis: Axis) -> str:
    """Return a box for each band with a known uncertainty, as path data."""
    boxes = []
    for place, value in enumerate(gain.gain_db[1:]):
        half = _half(gain, place + 1)
        if math.isfinite(value) and half:
            x = BANDS.LEFT + width * place
            boxes.append(f"M{x:.1f},{axis.at(value - half)}H{x + width:.1f}V{axis.at(value + half)}H{x:.1f}Z")
    return "".join(boxes)


def _limits(gain: KeptGain, width: float, axis: Axis) -> list[Mark]:
    """Return the bands in which a gain is at least what is drawn."""
    return [
        Mark(at=round(BANDS.LEFT + width * (place + 0.5), 1), text=str(axis.at(value)))
        for place, value in enumerate(gain.gain_db[1:])
        if gain.at_least[place + 1] and math.isfinite(value)
    ]
