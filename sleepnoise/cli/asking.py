"""Questions at a terminal: asked only where somebody answers, asked again after a slip."""

import os
import sys
from collections.abc import Callable
from pathlib import Path

import click


def somebody_answers() -> bool:
    """Return whether standard input is a terminal."""
    return sys.stdin.isatty()


def somebody_watches() -> bool:
    """Return whether standard error is a terminal."""
    return sys.stderr is not None and sys.stderr.isatty()


def ask(question: str, default: str | None = "", check: Callable[[str], str] = str) -> str:
    """Ask for one line of text on standard error.

    Parameters
    ----------
    question : str
    default : str or None
        What Enter gives; None if it gives nothing.
    check : callable
        Returns the answer, or raises :class:`click.UsageError`; then the question is asked again.
    """
    answer: str = click.prompt(
        question, default=default, show_default=bool(default), err=True, value_proc=check
    )
    return answer


def choose(question: str, answers: dict[str, str], default: str) -> str:
    """Ask for one of a few words, each with what it means.

    Parameters
    ----------
    question : str
    answers : dict of str to str
        Word to its meaning; the beginning of a word will do.
    default : str
    """
    width = max(map(len, answers))
    click.echo(question, err=True)
    for word, meaning in answers.items():
        click.echo(f"  {word:<{width}}  {meaning}", err=True)

    def check(given: str) -> str:
        begun = [word for word in answers if given and word.startswith(given.strip().casefold())]
        if len(begun) != 1:
            raise click.UsageError(f"answer with one of {', '.join(answers)}.")
        return begun[0]

    return ask("Your answer", default, check)


def zone_of_this_computer() -> str:
    """Return the IANA name of the time zone that this computer is set to; empty if it does not say."""
    said = os.environ.get("TZ", "").removeprefix(":")
    if not said:
        # /etc/localtime is a link into the zone database on Linux and macOS.
        _, _, said = os.path.realpath("/etc/localtime").partition("zoneinfo/")
    name = said.removeprefix("posix/").removeprefix("right/")
    # Names without a place, such as UTC or a server's Etc/UTC, are seldom where somebody sleeps.
    return name if "/" in name and not name.startswith(("Etc/", "/")) and not Path(name).is_absolute() else ""
