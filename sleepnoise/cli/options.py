"""Options that stand under headings in a command's help."""

import tomllib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

FILE = click.Path(path_type=Path)
"""A file or folder that an option or argument names."""


class ShippedName(click.types.StringParamType):
    """The name of something that comes with the program, or a file; the shell completes it.

    Parameters
    ----------
    folders : str
        Of shipped profiles, such as ``"guidelines"``.
    inside : str, optional
        Table whose keys are the names, such as ``"element"``; the profiles themselves if empty.
    others : iterable of str, optional
        Names beside them.
    """

    def __init__(self, *folders: str, inside: str = "", others: Iterable[str] = ()) -> None:
        self.folders, self.inside, self.others = folders, inside, tuple(others)

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the names that go on as it was begun."""
        names = sorted({*self.others, *self._names()})
        begun = [CompletionItem(name) for name in names if name.startswith(incomplete)]
        # What begins no name may begin a file's.
        return begun or [CompletionItem(incomplete, type="file")]

    def _names(self) -> Iterator[str]:
        from sleepnoise.profiles.files import shipped_folder

        for path in (path for folder in self.folders for path in (shipped_folder() / folder).glob("*.toml")):
            if not self.inside:
                yield path.stem
            else:
                yield from (entry["key"] for entry in tomllib.loads(path.read_text("utf-8"))[self.inside])


LARGEST_WHOLE = 10**9
"""Largest whole number that an option takes. Chosen: far beyond any use, and good for arithmetic."""


class Whole(click.types.IntParamType):
    """A whole number that arithmetic does not stumble over."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number."""
        number = super().convert(value, param, ctx)
        if abs(number) > LARGEST_WHOLE:
            self.fail(f"must be at most {LARGEST_WHOLE}, got {value!s:.40}.", param, ctx)
        return number


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
        type={bool: None, int: Whole()}.get(kind, kind),
        is_flag=True if kind is bool else None,
        metavar=metavar,
        multiple=multiple,
        help=explained,
    )


COMPLETED = {
    "guideline": ShippedName("guidelines", others=("all", "international")),
    "behind": ShippedName("treatments"),
    "forbid": ShippedName("treatments"),
    "require": ShippedName("treatments"),
    "through": ShippedName("constructions", inside="element"),
    "masker": ShippedName("maskers"),
    "paths source": ShippedName("sounds"),
    "profiles show name": ShippedName("guidelines", "treatments", "constructions", "sounds", "maskers"),
}
"""Options and arguments whose names a shell completes; before it the command, if only one is meant."""
