"""Axes of static figures: from a number to a place in a drawing, and the round numbers along the way."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sleepnoise.report.night_trace import Mark
from sleepnoise.wording.rounding import axis_text

WIDTH = 960
"""Width of a figure in its own units. Chosen: its letters stay legible in a column of a page and on A4."""

MOST_MARKS = 9
"""Round numbers along an axis, at most. Chosen: more would touch each other on a narrow screen."""

STEPS = (1.0, 2.0, 5.0)
"""Distances of round numbers within a decade. Chosen: those that people count in."""

LETTER = 6.8
"""Width of a letter, in units of a drawing. Chosen: a broad one of the page's font at 13 units; figures cut
their texts by it, and tables have them whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A straight scale.

    Attributes
    ----------
    low, high : float
        Ends of the scale.
    start, end : float
        Where they lie in the drawing.
    step : float
        Distance of its round numbers.
    """

    low: float
    high: float
    start: float
    end: float
    step: float

    def at(self, value: float) -> float:
        """Return the place of a value, held within the axis."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + (self.end - self.start) * min(max(share, 0.0), 1.0), 1)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The round numbers along it."""
        count = round((self.high - self.low) / self.step)
        values = [round(self.low + self.step * place, 6) + 0.0 for place in range(count + 1)]
        return tuple(Mark(at=self.at(value), text=axis_text(value)) for value in values)


def axis_over(values: Iterable[float], start: float, end: float, *, least: float = 1.0) -> Axis:
    """Return an axis over values that begins and ends with round numbers.

    Parameters
    ----------
    values : iterable of float
        What is not finite is left out.
    start, end : float
        Where it lies in the drawing.
    least : float, optional
        Distance that it spans at least.
    """
    known = [value for value in values if math.isfinite(value)] or [0.0]
    low, high = min(known), max(known)
    missing = max(least - (high - low), 0.0)
    low, high = low - missing / 2, high + missing / 2
    step = round_step(high - low)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return Axis(low=step * first, high=step * max(last, first + 1), start=start, end=end, step=step)


def round_step(span: float) -> float:
    """Return a round distance that fits at most ``MOST_MARKS - 2`` times into a span.

    Examples
    --------
    >>> round_step(10.0), round_step(36.0), round_step(0.9)
    (2.0, 10.0, 0.2)
    """
    decade = 10.0 ** math.floor(math.log10(span / (MOST_MARKS - 2)))
    steps = (decade * factor for factor in (*STEPS, 10.0))
    return next(step for step in steps if span / step <= MOST_MARKS - 2 + 1e-9)


def cut_text(text: str, width: float) -> str:
    """Return a text that fits a width of a drawing, with a sign where it was cut, on one line."""
    line, most = " ".join(text[:1000].split()), max(int(width / LETTER), 2)
    return line if len(line) <= most else f"{line[: most - 1]}…"


def cut_lines(text: str, width: float, most_lines: int) -> tuple[str, ...]:
    """Return a text in a few lines that fit a width of a drawing; what is left over is cut."""
    most, lines = max(int(width / LETTER), 2), [""]
    for word in " ".join(text[:1000].split()).split(" "):
        joined = f"{lines[-1]} {word}".strip()
        if len(joined) <= most or not lines[-1]:
            lines[-1] = joined
        else:
            lines.append(word)
    shown: Sequence[str] = lines[:most_lines]
    if len(lines) > most_lines:
        shown = [*lines[: most_lines - 1], f"{lines[most_lines - 1]} …"]
    return tuple(cut_text(line, width) for line in shown)
