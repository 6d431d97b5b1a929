"""What a page is made of: sections with sentences, tables and drawings, each for its readers."""

from dataclasses import dataclass
from typing import Literal

from sleepnoise.wording.tables import Table

Reader = Literal["resident", "landlord", "consultant"]

READERS: tuple[Reader, ...] = ("resident", "landlord", "consultant")
"""Whom a page is for. They see the same facts to different depths; the consultant sees all of them."""

NUMBERS: tuple[Reader, ...] = ("landlord", "consultant")
"""Readers of full lists of what was weighed and judged."""

DEPTH: tuple[Reader, ...] = ("consultant",)
"""Reader of methods and every number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One drawing.

    Attributes
    ----------
    key : str
        Names it in files and links: small letters and hyphens.
    title, description : str
        What it is, and in words what it shows.
    svg : str
        The drawing, its texts escaped; colours by class, so that a page can be light or dark.
    legend : str
        What its lines and areas stand for, as escaped mark-up; may be empty.
    """

    key: str
    title: str
    description: str
    svg: str
    legend: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of a page, the same in HTML and PDF.

    Attributes
    ----------
    key : str
        Names it in links: small letters and hyphens.
    title : str
    readers : tuple of Reader
        Who sees it.
    sentences : tuple of str
        Plain text; level symbols get their subscripts.
    points : tuple of str
        Sentences that stand in a list.
    figures : tuple of Figure
    tables, folded : tuple of Table
        Shown at once, and shown on demand; print shows all.
    notes : tuple of str
        Small print below.
    template : str
        Draws the section in HTML.
    live_only : bool
        Whether it is for trying things out, and means nothing on paper.
    """

    key: str
    title: str
    readers: tuple[Reader, ...] = READERS
    sentences: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    folded: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    template: str = "section.html"
    live_only: bool = False
