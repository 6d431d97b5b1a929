"""Explanations and guides on a terminal, at most 80 columns wide."""

from rich.markdown import Markdown
from rich.padding import Padding
from rich.text import Text

from sleepnoise.screens.terminal import Screen, heading, show_lines, show_points
from sleepnoise.wording.explanations import PRACTICE, Explanation, Theme, source_texts
from sleepnoise.wording.guides import Guide

WIDTH = 80
"""Columns at most. Chosen: lines of prose that are longer are hard to read."""


def show_themes(themes: tuple[Theme, ...]) -> None:
    """Print all pages by theme, their names only."""
    screen = _screen()
    for theme in themes:
        screen.print(Text(f"{theme.title} ({theme.name})", style="bold"))
        screen.print(Padding(Text(", ".join(page.key for page in theme.pages)), (0, 0, 1, 2)))


def show_theme(theme: Theme) -> None:
    """Print what one theme explains, a line each."""
    _screen().print(Text(theme.title, style="bold"))
    show_lines([(page.key, _first_sentence(page.meaning)) for page in theme.pages])


def show_explanation(page: Explanation) -> None:
    """Print one page."""
    screen = _screen()
    screen.print(Text(page.name, style="bold"))
    screen.print(Text(page.meaning))
    parts = (
        ("Formula", page.formula),
        ("In this program", page.here),
        ("Beware", page.caution),
    )
    for title, text in parts:
        if text:
            heading(screen, title)
            screen.print(Padding(Text(text), (0, 0, 0, 2)))
    if page.typical:
        heading(screen, "Typical")
        show_points(
            screen, (f"{value} [{'; '.join(source_texts([source]))}]" for value, source in page.typical)
        )
    heading(screen, "Source")
    show_points(screen, source_texts(page.sources) or (PRACTICE,))
    if page.columns:
        heading(screen, "In the tables")
        screen.print(Padding(Text(", ".join(page.columns)), (0, 0, 0, 2)))
    if page.see:
        heading(screen, "See also")
        screen.print(Padding(Text(", ".join(page.see)), (0, 0, 0, 2)))


def show_guides(guides: tuple[Guide, ...]) -> None:
    """Print which guides there are."""
    show_lines([(guide.name, guide.purpose) for guide in guides])


def show_guide(guide: Guide) -> None:
    """Print one guide; commands stand unbroken, so that they can be copied."""
    _screen().print(Markdown(guide.text, code_theme="bw", hyperlinks=False))


def _screen() -> Screen:
    screen = Screen()
    screen.width = min(screen.width, WIDTH)
    return screen


def _first_sentence(text: str) -> str:
    first, stop, _ = text.partition(". ")
    return first + stop.strip()
