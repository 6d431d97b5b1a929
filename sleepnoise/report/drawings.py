"""The drawings of a night: static, by themselves as files, in a page or in a document."""

import base64
import hashlib
import re
from functools import lru_cache
from importlib.resources import files
from types import SimpleNamespace
from typing import Any

import numpy as np
from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.record import NightRecord
from sleepnoise.report import night_trace as trace_box
from sleepnoise.report import spectrum_plot as plot_box
from sleepnoise.report.band_map import band_map, map_picture, palette
from sleepnoise.report.night_trace import Mark, NightTrace, night_trace
from sleepnoise.report.sections import Figure
from sleepnoise.report.spectrum_plot import band_name, spectrum_plot
from sleepnoise.wording.rounding import axis_text, unit_text

MAP_COLUMNS = 960
"""Columns of the static map. Chosen: one for each pixel of its plot area, 30 s of an 8 h night."""

MAP_BOX = SimpleNamespace(
    WIDTH=1080, HEIGHT=360, LEFT=52, RIGHT=990, TOP=24, BOTTOM=316, SCALE_LEFT=1010
)  # fmt: skip
"""Size of the map in its own units. Chosen: as wide as the night trace, with a scale at its right."""

_HTML = {symbol.text: symbol.html for symbol in SYMBOLS.values()}
_SYMBOL = re.compile(rf"\b({'|'.join(_HTML)})\b")


def with_symbols(text: str) -> Markup:
    """Return a text for the page, its level symbols set with their subscripts.

    Examples
    --------
    >>> with_symbols("LAeq < 30 dB")
    Markup('L<sub>Aeq</sub> &lt; 30 dB')
    """
    return Markup(_SYMBOL.sub(lambda found: _HTML[found[0]], str(escape(text))))


def template_text(name: str) -> str:
    """Return one of this room's templates, styles or scripts."""
    folder = "assets" if name.endswith(".js") else "templates"
    return (files("sleepnoise.report") / folder / name).read_text(encoding="utf-8")


@lru_cache
def environment() -> Environment:
    """Return the environment that every template is rendered in: all texts are escaped."""
    made = Environment(
        loader=FunctionLoader(template_text), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    made.filters["symbols"] = with_symbols
    return made


def trace_figure(record: NightRecord) -> Figure:
    """Return the level through the night."""
    title, trace = "Level through the night", night_trace(record)
    svg = _drawn("night", "trace", title, trace, trace_box, unit_text(record.assessment))
    return Figure(
        key="trace", title=title, description=trace.description, svg=svg,
        legend=_drawn("night_key", record, trace),
    )  # fmt: skip


def spectra_figure(record: NightRecord) -> Figure:
    """Return spectra of the background and the loudest events."""
    title, plot = "Third-octave spectra of the background and the loudest events", spectrum_plot(record)
    svg = _drawn("spectra", "spectra", title, plot, plot_box, unit_text(record.assessment))
    return Figure(
        key="spectra", title=title, description=plot.description, svg=svg, legend=_drawn("spectra_key", plot)
    )  # fmt: skip


def map_figure(record: NightRecord) -> Figure:
    """Return the map of third octaves."""
    title, unit = "Third octaves through the night", unit_text(record.assessment)
    drawn = band_map(record.history, MAP_COLUMNS)
    low_db, high_db = drawn.low_db, drawn.high_db
    description = (
        f"Unweighted equivalent level of each third octave in stretches of {drawn.ticks_each / 8:g} s, from "
        f"{axis_text(low_db)} {unit}, dark, to {axis_text(high_db)} {unit}, light. Bright columns are "
        "events; bright rows that last are machines or music. Tables give the spectra of the loudest events."
    )
    svg = _drawn(
        "bands", "map", title, description, map_picture(drawn), _map_clock(night_trace(record)),
        _band_marks(record.history.nominal_hz), _scale_marks(low_db, high_db), _shades(), MAP_BOX, unit,
    )  # fmt: skip
    return Figure(key="map", title=title, description=description, svg=svg)


def drawn(macro: str, *arguments: Any, template: str = "figures.html") -> str:
    """Return what a macro of a template draws, its texts escaped."""
    return str(getattr(environment().get_template(template).module, macro)(*arguments))


def _drawn(macro: str, *arguments: Any) -> str:
    return drawn(macro, *arguments, template="drawings.html")


def _map_clock(trace: NightTrace) -> list[Mark]:
    """Return the clock times of the trace above, moved to the map's own width."""
    width = (MAP_BOX.RIGHT - MAP_BOX.LEFT) / (trace_box.RIGHT - trace_box.LEFT)
    return [
        Mark(at=round(MAP_BOX.LEFT + width * (mark.at - trace_box.LEFT), 1), text=mark.text)
        for mark in trace.clock
    ]


def _band_marks(nominal_hz: tuple[float, ...]) -> list[Mark]:
    """Return the octaves up the side of a map."""
    row = (MAP_BOX.BOTTOM - MAP_BOX.TOP) / len(nominal_hz)
    thousand = nominal_hz.index(1000.0)
    return [
        Mark(at=round(MAP_BOX.BOTTOM - row * (place + 0.5), 1), text=band_name(nominal))
        for place, nominal in enumerate(nominal_hz)
        if (place - thousand) % 3 == 0
    ]


def _scale_marks(low_db: float, high_db: float) -> list[Mark]:
    height = MAP_BOX.BOTTOM - MAP_BOX.TOP
    return [
        Mark(at=round(MAP_BOX.BOTTOM - height * (db - low_db) / (high_db - low_db), 1), text=axis_text(db))
        for db in np.arange(low_db, high_db + 1, 10)
    ]


def _shades() -> list[Mark]:
    """Return the colours of the scale, each with its upper edge."""
    colours = palette().tolist()
    height = (MAP_BOX.BOTTOM - MAP_BOX.TOP) / len(colours)
    return [
        Mark(at=round(MAP_BOX.BOTTOM - height * (place + 1), 2), text="#{:02x}{:02x}{:02x}".format(*colour))
        for place, colour in enumerate(colours)
    ]


def standalone(figure: Figure) -> str:
    """Return a drawing as a file of its own, in the light colours."""
    style = template_text("drawings.css")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", template_text("page.css").partition("@media")[0]))
    resolved = re.sub(r"var\(--(\w+)\)", lambda found: colours[found[1]], style)
    return (
        figure.svg.strip().replace(
            "<title", f"<style>svg {{ font-family: sans-serif; }} {resolved}</style>\n<title", 1
        )
        + "\n"
    )


def policy_hash(text: str) -> str:
    """Return the hash of a style or script as a content security policy names it."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
