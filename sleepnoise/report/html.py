"""The page of one night: one file that needs nothing else and asks nobody.

Every text goes through the template's escaping. The page forbids itself everything but its own
style and script, by a policy that names their hashes; both are part of this package. Without
the script it is a plain, whole document.
"""

from markupsafe import Markup

from sleepnoise.assessing.record import NightRecord
from sleepnoise.report.clips import Clips
from sleepnoise.report.contents import sections_of
from sleepnoise.report.drawings import environment, policy_hash, template_text
from sleepnoise.report.page_data import page_data
from sleepnoise.report.sections import READERS, Reader
from sleepnoise.wording import plan_table, rounding, tables, verdicts
from sleepnoise.wording.sentences import files_text

SCRIPTS = ("levels.js", "trace.js", "band_map.js", "naming.js", "events.js", "what_if.js", "start.js")
"""The page's script, in order; together they are one."""

STYLES = ("page.css", "drawings.css", "naming.css")
"""The page's style, likewise."""


def night_page(record: NightRecord, *, reader: Reader = "consultant", clips: Clips | None = None) -> str:
    """Return the page of one night as HTML.

    Parameters
    ----------
    record : NightRecord
    reader : Reader
        Whom it speaks to when it is opened; anyone can choose another reader there.
    clips : Clips, optional
        Sounds of events. Without them nobody can be heard.
    """
    style = "".join(map(template_text, STYLES))
    script = "\n".join(map(template_text, SCRIPTS))
    return environment().get_template("page.html").render(
        record=record,
        night=record.assessment,
        files=files_text(record),
        sections=sections_of(record),
        readers=READERS,
        reader=reader,
        style=Markup(style),
        style_hash=policy_hash(style),
        script=Markup(script),
        script_hash=policy_hash(script),
        data=Markup(page_data(record, clips)),
        head=lambda column: Markup(column.html),
        drawing=lambda figure: Markup(figure.svg),
        legend=lambda figure: Markup(figure.legend),
        tables=tables,
        rounding=rounding,
        verdicts=verdicts,
        plan_table=plan_table,
    )  # fmt: skip
