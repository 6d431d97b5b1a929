"""The commands ``dossier ...``: one bedroom's case, kept in one folder over weeks."""

import click

from sleepnoise.cli import dossier_add, dossier_evidence, dossier_results, dossier_start

WHOLE = 200
"""Letters of a command's first sentence in the list. Chosen: none is cut off, lines are folded instead."""


class InOrder(click.Group):
    """A group that lists its commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands as they were added."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write what each command does in a whole sentence."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, each.get_short_help_str(limit=WHOLE)) for name, each in self.commands.items()]
            )


@click.group("dossier", cls=InOrder)
def command() -> None:
    """Keep one bedroom's case: nights, door tests, words, results, and how they came about.

    A dossier is a folder of plain files. Nothing in it is ever overwritten or removed, and its
    journal tells what was done, when, and the SHA-256 of every file.
    """


for part in (
    dossier_start.start,
    dossier_add.add_night,
    dossier_add.add_door_test,
    dossier_add.add_words,
    dossier_add.add_file,
    dossier_add.accept,
    dossier_add.upgrade,
    dossier_results.status,
    dossier_results.assess,
    dossier_results.plan,
    dossier_results.compare,
    dossier_results.report,
    dossier_evidence.verify,
    dossier_evidence.export,
    dossier_evidence.unpack,
):
    command.add_command(part)
