"""The terminal: harmless text, headings, progress while a night is heard, complaints.

Text that comes from users or files is printed as it is, never read as markup, and without
the control characters that would move the cursor or recolour the screen.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, cast

from rich.console import Console, ConsoleOptions, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.segment import Segment
from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.errors import SleepNoiseError

if TYPE_CHECKING:
    # Complaints need no profiles and no tables, nor what those are made from.
    from sleepnoise.profiles.schema import Profile
    from sleepnoise.wording.tables import Table

WIDEST = 96
"""Columns used at most. Chosen: longer lines of prose are hard to read."""


def plain(text: str) -> str:
    r"""Return text without characters that would act on a terminal instead of being shown.

    Examples
    --------
    >>> plain("a\x1b[31mb\nc")
    'a\\x1b[31mb\\nc'
    """
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii") for sign in text
    )


class Screen(Console):
    """A terminal or what stands in for one; text is printed as it is."""

    def __init__(self, *, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, emoji=False, markup=False)
        self.width = min(self.width, WIDEST)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Render as ever; whatever text comes of it acts on no terminal, even if nobody made it plain."""
        for segment in super().render(renderable, options):
            text, style, control = segment
            if control is None and not text.isprintable():
                yield Segment("\n".join(map(plain, text.split("\n"))), style)
            else:
                yield segment

    def on_broken_pipe(self) -> None:
        """Leave it to the program what a reader that left early means."""
        raise


def show_error(error: SleepNoiseError) -> None:
    """Print a complaint and its remedy on standard error."""
    screen = Screen(stderr=True)
    screen.print(Text.assemble(("Cannot go on: ", "bold"), plain(error.complaint)), soft_wrap=True)
    if error.remedy:
        screen.print(Text.assemble(("What to do: ", "bold"), plain(error.remedy)), soft_wrap=True)


def show_note(text: str) -> None:
    """Print a sentence on standard error that is no error."""
    Screen(stderr=True).print(Text(plain(text)))


@contextmanager
def progress(name: str, doing: str) -> Iterator[Callable[[float], None]]:
    """Show how far a recording has got; nothing is shown where nobody is watching.

    Parameters
    ----------
    name : str
        Of the recording.
    doing : str
        What is being done to it.

    Yields
    ------
    callable
        To be called with the share done, 0 to 1.
    """
    screen = Screen(stderr=True)
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %", markup=False),
        TimeRemainingColumn(),
        console=screen,
        transient=True,
        disable=not screen.is_terminal,
    )
    with bar:
        task = bar.add_task(f"{doing} {plain(name)}", total=1.0)
        yield lambda share: bar.update(task, completed=share)


def show_lines(lines: list[tuple[str, str]]) -> None:
    """Print pairs of a name and what belongs to it, one below the other."""
    screen = Screen()
    width = max(len(name) for name, _ in lines)
    table = ScreenTable.grid(padding=(0, 2))
    table.add_column(no_wrap=True, min_width=min(width, 30))
    table.add_column()
    for name, text in lines:
        table.add_row(Text(plain(name), style="bold"), Text(plain(text)))
    screen.print(table)


def show_profile(profile: "Profile") -> None:
    """Print everything that a profile says, key by key, without what it leaves empty."""
    screen = Screen()
    parts = profile.model_dump()
    sources = parts.pop("sources", {})
    for line in _outline({**parts, "sources": sources}, ""):
        screen.print(line, soft_wrap=True)


def _outline(part: object, margin: str) -> Iterator[Text]:
    """Yield a nested value as lines, each part further in than what it belongs to."""
    pairs = part.items() if isinstance(part, dict) else enumerate(cast("Sequence[object]", part), start=1)
    for key, value in pairs:
        if value in (None, "", (), [], {}):
            continue
        name = (f"{margin}{key}: ", "bold")
        if isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict)):
            yield Text.assemble(name)
            yield from _outline(value, f"{margin}  ")
        else:
            shown = " to ".join(value) if isinstance(value, tuple) else value
            yield Text.assemble(name, plain(f"{shown:g}" if isinstance(shown, float) else str(shown)))


def show_text(text: str) -> None:
    """Print one line as it is."""
    Screen().print(Text(plain(text)), soft_wrap=True)


def heading(screen: Screen, text: str) -> None:
    """Print a line that stands over what follows."""
    screen.print()
    screen.print(Text(plain(text), style="bold"))


def show_table(screen: Screen, table: "Table", *, gap: int = 2) -> None:
    """Print a table under its title.

    Parameters
    ----------
    screen : Screen
    table : Table
    gap : int, optional
        Blanks between columns.
    """
    heading(screen, table.title)
    screen.print(drawn_table(table, gap))


def drawn_table(table: "Table", gap: int = 2) -> ScreenTable:
    """Return a table for the screen, without its title."""
    shown = ScreenTable(box=None, padding=(0, gap, 0, 0), pad_edge=False)
    for column in table.columns:
        shown.add_column(
            column.text,
            justify="right" if column.number else "left",
            overflow="fold",
            no_wrap=column.number,
        )
    for row in table.rows:
        shown.add_row(*(Text(plain(cell)) for cell in row))
    return shown


def show_points(screen: Screen, points: Iterable[str]) -> None:
    """Print sentences that hang from dashes; nothing if there is none."""
    texts = [Text(plain(point)) for point in points]
    if texts:
        show_paragraphs(screen, texts)


def show_paragraphs(screen: Screen, paragraphs: Iterable[Text]) -> None:
    """Print paragraphs that hang from dashes."""
    table = ScreenTable.grid(padding=(0, 1))
    for paragraph in paragraphs:
        table.add_row("–", paragraph)
    screen.print(table)
