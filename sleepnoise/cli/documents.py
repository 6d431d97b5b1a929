"""The commands ``documents list`` and ``documents show``."""

import sys

import click


@click.group("documents")
def command() -> None:
    """JSON documents that the program writes: what is in them, for programs that read them."""


@command.command("list")
def list_documents() -> None:
    """List every kind of document."""
    from sleepnoise.evidence.documents import document_forms
    from sleepnoise.screens import terminal

    terminal.show_lines([(form.name, form.title) for form in document_forms()])


@command.command("show")
@click.argument("name")
def show_document(name: str) -> None:
    """Print the JSON Schema (draft 2020-12) of the kind of document called NAME."""
    from sleepnoise.evidence.documents import document_schema
    from sleepnoise.evidence.plain import document_text

    sys.stdout.buffer.write(document_text(document_schema(name)).encode())
