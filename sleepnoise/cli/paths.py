"""The command ``paths``: how sound gets into a bedroom, and what would keep it out."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.profiles.bedroom import Side

SOUND, RESULT = "Sound behind the room (without one: what the room file says)", "Result"


@click.command("paths", cls=Grouped)
@click.argument("room", type=FILE, metavar="ROOM.toml")
@option(SOUND, "--source", str, "NAME", "A sound from 'profiles list', or a .toml file.")
@option(
    SOUND,
    "--side",
    click.Choice(["hall", "outdoors", "neighbour"]),
    None,
    "Where it stands. [default: on every side of the room]",
)
@option(SOUND, "--level", float, "DB", "Its level there, dB(A). [default: 70]")
@option(RESULT, "--page", FILE, "FILE.html", "Also write it as one page with figures.")
@option(RESULT, "--force", bool, None, "Replace a file of that name.")
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
def command(
    room: Path,
    source: str | None,
    side: "Side | None",
    level: float | None,
    page: Path | None,
    force: bool,
    json: bool,
) -> None:
    """Show how sound gets into the bedroom of ROOM.toml, and what each treatment would gain there.

    ROOM.toml describes the room part by part; the bedroom.toml that 'sleepnoise demo' writes shows
    how. What may not be advised, for fire, escape, air or consent, is listed with the reason.
    """
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.planning.room_study import study_room

    if page is not None:
        check_file_place(page, force=force)
    study = study_room(room, source, side, level)
    if page is not None:
        from sleepnoise.report.finding_pages import room_page

        write_file(page, room_page(study), force=force)
    if json:
        from sleepnoise.dossier.room_document import room_document
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(room_document(study, room)).encode())
        return
    from sleepnoise.screens.path_table import show_room

    show_room(study)
