"""The commands ``explain``, ``guide`` and ``completion``: what helps with all the others."""

import click
from click.shell_completion import CompletionItem, get_completion_class

from sleepnoise.cli.options import Grouped


def _terms(_context: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    from sleepnoise.wording.explanations import themes

    names = [name for theme in themes() for name in (theme.name, *(page.key for page in theme.pages))]
    return [CompletionItem(name) for name in names if name.startswith(begun.casefold())]


@click.command("explain", cls=Grouped)
@click.argument("term", nargs=-1, shell_complete=_terms)
def explain(term: tuple[str, ...]) -> None:
    """Explain a TERM: a symbol, a column of a table, a verdict, a word of the trade.

    Says in plain words what it is, how it is worked out here, and from which document. Without a
    TERM: everything that is explained; with the name of a theme: what that holds.
    """
    from sleepnoise.screens.reading_matter import show_explanation, show_theme, show_themes
    from sleepnoise.wording.explanations import page, theme, themes

    words = " ".join(term)
    if not words:
        show_themes(themes())
    elif (found := theme(words)) is not None:
        show_theme(found)
    else:
        show_explanation(page(words))


def _guides(_context: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    from sleepnoise.wording.guides import guides

    return [CompletionItem(each.name, help=each.title) for each in guides() if each.name.startswith(begun)]


@click.command("guide", cls=Grouped)
@click.argument("task", required=False, default="", shell_complete=_guides)
def guide(task: str) -> None:
    """Show how to do a TASK step by step, with its cautions. Without one: which guides there are."""
    from sleepnoise.screens.reading_matter import show_guide, show_guides
    from sleepnoise.wording.guides import guide as found
    from sleepnoise.wording.guides import guides

    if task:
        show_guide(found(task))
    else:
        show_guides(guides())


@click.command("completion", cls=Grouped)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Print what lets a SHELL complete commands, options, files and names with the Tab key.

    Names are those of guidelines, treatments, sounds, doors and walls, guides and terms.
    """
    kind = get_completion_class(shell)
    assert kind is not None
    program = context.find_root()
    name = program.info_name or "sleepnoise"
    click.echo(kind(program.command, {}, name, f"_{name.upper()}_COMPLETE").source())
