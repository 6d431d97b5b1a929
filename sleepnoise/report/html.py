"""The page of one night: one file that needs nothing else and runs nothing.

Every text goes through the template's escaping. The page forbids itself scripts, requests
and any style but its own, by a policy that names the style's hash.
"""

import base64
import hashlib
import re
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.cautions import cautions_of
from sleepnoise.assessing.record import NightRecord
from sleepnoise.judgement.uncertainty import GUARD_BAND_TEXT
from sleepnoise.levels.statistics import PERCENTILE_CONVENTION
from sleepnoise.report import night_trace as trace_module
from sleepnoise.report import spectrum_plot as plot_module
from sleepnoise.wording import plan_table, quality_table, rounding, sentences, tables, verdicts

LISTED_EVENTS = 1000
"""Events listed on the page. Chosen: keeps the page under a megabyte; events.csv always has them all."""

LISTED_FAULTS = 200
"""Faults listed on the page. Chosen: a night with more is no evidence anyway; the document has them all."""

_HTML = {symbol.text: symbol.html for symbol in SYMBOLS.values()}
_SYMBOL = re.compile(rf"\b({'|'.join(_HTML)})\b")

TABLE_SPECTRA = 5
"""Event spectra in the table. Chosen: fits a printed page beside the background."""


def night_page(record: NightRecord) -> str:
    """Return the page of one night as HTML."""
    style = _template_text("page.css")
    night = record.assessment
    zone = night.window.zone
    environment = Environment(
        loader=FunctionLoader(_template_text), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["symbols"] = with_symbols
    return environment.get_template("page.html").render(
        record=record,
        night=night,
        style=Markup(style),
        style_hash=_hash(style),
        head=lambda column: Markup(column.html),
        tables=tables,
        rounding=rounding,
        verdicts=verdicts,
        plan_table=plan_table,
        sentences=sentences,
        trace=trace_module.night_trace(record),
        trace_box=trace_module,
        plot=plot_module.spectrum_plot(record),
        plot_box=plot_module,
        loudest=tables.event_table(
            "The loudest events, levels in dB", tables.loudest_events(night.events), zone
        ),
        listed=tables.event_table(
            "All events in order of time, levels in dB", night.events[:LISTED_EVENTS], zone
        ),
        spectra=tables.spectrum_table(
            "Third-octave levels, dB", plot_module.spectra_of(record, TABLE_SPECTRA)
        ),
        hours=tables.interval_table("Hours", night.hours, zone),
        quarter_hours=tables.interval_table("Quarter hours", night.quarter_hours, zone),
        cautions=cautions_of(record),
        faults=quality_table.fault_table(record.quality[:LISTED_FAULTS], zone),
        budgets=[quality_table.budget_table(budget) for budget in record.budgets],
        guard_band=GUARD_BAND_TEXT,
        convention=PERCENTILE_CONVENTION,
    )


def with_symbols(text: str) -> Markup:
    """Return a text for the page, its level symbols set with their subscripts.

    Examples
    --------
    >>> with_symbols("LAeq < 30 dB")
    Markup('L<sub>Aeq</sub> &lt; 30 dB')
    """
    return Markup(_SYMBOL.sub(lambda found: _HTML[found[0]], str(escape(text))))


def _template_text(name: str) -> str:
    return (files("sleepnoise.report") / "templates" / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """Return the hash of a style as a content security policy names it."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
