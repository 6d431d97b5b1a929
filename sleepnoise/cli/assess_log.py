"""The command ``assess-log``: a night from an instrument's own log of levels."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.assessing.assess_log import LogSettings

EXCEEDED = 1
"""Exit status when a guideline that was to be checked is exceeded. Chosen: 2 is usage or input."""

LOG, NIGHT, RESULT = "Log", "Night", "Result"


@click.command("assess-log", cls=Grouped)
@click.argument("log", type=FILE)
@option(
    LOG,
    "--column",
    str,
    "KEY=NAME",
    "Which column is what, such as time=Start, laeq='LAeq [dB]', 50=#7; may be repeated.",
    multiple=True,
)
@option(LOG, "--mapping", FILE, "FILE.toml", "The same, one a line; --column wins.")
@option(
    LOG, "--zone", str, "NAME", "Time zone of the place, such as Europe/Vienna. Needed: logs do not tell it."
)
@option(LOG, "--meter-class", click.Choice(["1", "2"]), None, "Class of the instrument. [default: 2]")
@option(NIGHT, "--window", str, "FROM-TO", "Local clock hours that count as night. [default: 23:00-07:00]")
@option(
    NIGHT,
    "--guideline",
    str,
    "NAME",
    "Judge by this document: a name from 'profiles list', a country's (DE), all, or a .toml file. "
    "[repeatable] [default: international]",
    multiple=True,
)
@option(RESULT, "--json", bool, None, "Print everything as JSON, and nothing else, on standard output.")
@option(RESULT, "--check", bool, None, "End with status 1 if a guideline value is exceeded.")
def command(log: Path, json: bool, check: bool, **chosen: Any) -> int:
    r"""Assess one night from an instrument's LOG of levels, CSV or Parquet.

    \b
    Nothing is guessed: say which column is what. Keys of --column are
      time, date            when a row begins (stamp=end: when it ends)
      laeq lceq lzeq laf lafmax lafmin lasmax lcpeak la1 la5 la10 la50 ... la99
      20 ... 50 63 80 ...   third octaves by frequency, or bands='LZeq {hz} Hz'
      start, step_s         instead of times: of the first row, and a row's length
      clock                 UTC or an offset such as +01:00, if not local time
      time_format, separator, decimal, encoding, missing

    NAME is a column's head, or its place as #1, #2 ... Steps may last 0.1 s to 15 min; what
    cannot be known from them is said.
    """
    from sleepnoise.assessing.assess_log import assess_log_file, log_document

    record = assess_log_file(log, _settings(chosen))
    if json:
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(log_document(record)).encode())
    else:
        from sleepnoise.screens.log_summary import show_log

        show_log(record)
    exceeded = any(verdict.word == "exceeded" for verdict in record.assessment.verdicts)
    return EXCEEDED if check and exceeded else 0


FIELDS = {"column": "columns", "guideline": "guidelines"}
"""Settings whose name in code is longer than the option's."""


def _settings(chosen: dict[str, Any]) -> "LogSettings":
    """Return the settings that the options ask for; what was left out keeps its default."""
    from sleepnoise.assessing.assess_log import LogSettings

    given = {FIELDS.get(name, name): value for name, value in chosen.items() if value is not None}
    if "meter_class" in given:
        given["meter_class"] = int(given["meter_class"])
    return LogSettings(**given)
