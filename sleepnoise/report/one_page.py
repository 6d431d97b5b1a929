"""A page without a script: sections in one file that needs nothing else and asks nobody.

One template for whatever was measured: a door test, a room, a plan, nights compared, a whole case. Every
text goes through the template's escaping, and the page forbids itself everything but its own style.
"""

from collections.abc import Sequence

from markupsafe import Markup

from sleepnoise.report.drawings import environment, policy_hash, template_text
from sleepnoise.report.sections import READERS, Reader, Section

LONGEST_HEAD = 120
"""Letters of a title in the head of a page. Chosen: two lines; a browser's tab shows fewer."""


def one_page(
    title: str,
    sections: Sequence[Section],
    *,
    kicker: str,
    about: str = "",
    reader: Reader | None = None,
) -> str:
    """Return a page as HTML; the same sections give the same bytes.

    Parameters
    ----------
    title : str
    sections : sequence of Section
        In order; those without anything in them are left out.
    kicker : str
        What kind of page it is.
    about : str, optional
        A line below the title.
    reader : Reader, optional
        Whom it speaks to when it is opened; anyone can choose another reader there. Without one,
        everything is shown to everybody.
    """
    style = template_text("page.css") + template_text("drawings.css")
    return environment().get_template("one_page.html").render(
        title=title if len(title) <= LONGEST_HEAD else f"{title[:LONGEST_HEAD]}…",
        kicker=kicker,
        about=about,
        sections=[section for section in sections if _holds_anything(section)],
        readers=READERS if reader else (),
        reader=reader,
        style=Markup(style),
        style_hash=policy_hash(style),
        head=lambda column: Markup(column.html),
        drawing=lambda figure: Markup(figure.svg),
        legend=lambda figure: Markup(figure.legend),
    )  # fmt: skip


def _holds_anything(section: Section) -> bool:
    tables = (*section.tables, *section.folded)
    texts = (*section.sentences, *section.points, *section.notes)
    return bool(texts or section.figures or any(table.rows for table in tables))
