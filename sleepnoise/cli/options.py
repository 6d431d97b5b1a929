"""Options that stand under headings in a command's help."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

FILE = click.Path(path_type=Path)
"""A file or folder that an option or argument names."""


class Grouped(click.Command):
    """A command whose help lists options under headings."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write one section for each heading, in the order in which headings first appear."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            line = parameter.get_help_record(ctx)
            if line is not None and isinstance(parameter, click.Option):
                heading = "Help" if "--help" in parameter.opts else getattr(parameter, "heading", "Options")
                sections.setdefault(heading, []).append(line)
        for heading, lines in sections.items():
            with formatter.section(heading):
                formatter.write_dl(lines)


class Option(click.Option):
    """An option that knows the heading it stands under."""

    def __init__(self, *arguments: Any, heading: str, **others: Any) -> None:
        super().__init__(*arguments, **others)
        self.heading = heading


def option(
    heading: str, name: str, kind: Any, metavar: str | None, explained: str, *, multiple: bool = False
) -> Callable[[click.decorators.FC], click.decorators.FC]:
    """Return the decorator of an option that stands under a heading; a ``bool`` takes no value."""
    return click.option(
        name,
        cls=Option,
        heading=heading,
        type=None if kind is bool else kind,
        is_flag=True if kind is bool else None,
        metavar=metavar,
        multiple=multiple,
        help=explained,
    )
