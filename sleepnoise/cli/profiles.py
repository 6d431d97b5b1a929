"""The commands ``profiles list``, ``show`` and ``check``; ``documents list`` and ``show``."""

import sys
from pathlib import Path

import click


@click.group("profiles")
def command() -> None:
    """Guidelines, isolation steps and maskers, each a file that names its sources."""


@command.command("list")
def list_profiles() -> None:
    """List every profile that comes with the program.

    A construction holds many elements: 'profiles show doors' prints the keys that a room file names.
    """
    from sleepnoise.profiles.files import shipped_profiles
    from sleepnoise.screens import terminal

    def told(kind: str, name: str) -> str:
        return f"{kind}; element keys: profiles show {name}" if kind == "construction" else kind

    terminal.show_lines(
        [
            (profile.name, f"{profile.title} ({told(profile.kind, profile.name)})")
            for profile in shipped_profiles()
        ]
    )


@command.command("show")
@click.argument("name")
def show_profile(name: str) -> None:
    """Print the profile called NAME: its values, rules and sources."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.screens import terminal

    terminal.show_profile(read_profile(name))


@command.command("check")
@click.argument("file", type=click.Path(path_type=Path))
def check_profile(file: Path) -> None:
    """Check the profile in FILE and name every mistake with its key."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.screens import terminal

    profile = read_profile(file)
    terminal.show_text(f"{file.name}: a valid {profile.kind} profile, {profile.title!r}.")


@click.group("documents")
def documents() -> None:
    """JSON documents that the program writes: what is in them, for programs that read them."""


@documents.command("list")
def list_documents() -> None:
    """List every kind of document."""
    from sleepnoise.evidence.documents import document_forms
    from sleepnoise.screens import terminal

    terminal.show_lines([(form.name, form.title) for form in document_forms()])


@documents.command("show")
@click.argument("name")
def show_document(name: str) -> None:
    """Print the JSON Schema (draft 2020-12) of the kind of document called NAME."""
    from sleepnoise.evidence.documents import document_schema
    from sleepnoise.evidence.plain import document_text

    sys.stdout.buffer.write(document_text(document_schema(name)).encode())
