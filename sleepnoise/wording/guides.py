"""Guides: how to do one task from beginning to end, with its cautions.

Each is a Markdown file of the folder ``guides``, so that it reads alike in the repository and on
a terminal. Its first line is the title, its first paragraph says what it is for.
"""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from sleepnoise.errors import PageError

FOLDER = Path(__file__).with_name("guides")

ORDER = ("record", "calibrate", "read-report", "door-test", "plan", "prove", "share", "many-bedrooms")
"""Names of the guides, in the order of the work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """One task: its name, title, what it is for, and the whole text in Markdown."""

    name: str
    title: str
    purpose: str
    text: str


@cache
def guides() -> tuple[Guide, ...]:
    """Return all guides, in the order of the work."""
    return tuple(_guide(name) for name in ORDER)


def guide(name: str) -> Guide:
    """Return one guide.

    Raises
    ------
    PageError
        If there is none of that name.
    """
    by_name = {each.name: each for each in guides()}
    wanted = "-".join(name.casefold().replace("_", " ").replace("-", " ").split())
    begun = [known for known in by_name if wanted and known.startswith(wanted)]
    if len(begun) == 1 or wanted in by_name:
        return by_name[wanted if wanted in by_name else begun[0]]
    near = get_close_matches(wanted, by_name, 1)
    raise PageError(
        f"{name!r:.60}: there is no such guide; there are: {', '.join(by_name)}.",
        remedy=f"Did you mean {near[0]}?" if near else "Choose one of these.",
    )


def _guide(name: str) -> Guide:
    text = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    title, purpose, *_ = text.split("\n\n")
    return Guide(name=name, title=title.removeprefix("# "), purpose=" ".join(purpose.split()), text=text)
