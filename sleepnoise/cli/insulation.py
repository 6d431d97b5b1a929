"""The command ``insulation``: what a wall, floor, door or facade keeps out, by the field standards."""

import sys
from pathlib import Path

import click

from sleepnoise.cli.options import FILE


@click.command("insulation")
@click.argument("file", type=FILE, metavar="FILE.toml")
@click.option("--json", is_flag=True, help="Print everything, unrounded, as JSON.")
def command(file: Path, json: bool) -> None:
    """Work out an insulation measurement: levels on both sides, background, reverberation.

    FILE.toml says what was read: levels in bands, or recordings of steady noise. From it come D, DnT,
    Dn and R' with DnT,w, R'w, C, Ctr, NIC, NNIC; for facades D2m,nT, R'45 and R'tr,s.
    """
    from sleepnoise.profiles.files import read_insulation
    from sleepnoise.screens import terminal
    from sleepnoise.trials.insulation import study_insulation

    profile = read_insulation(file)
    with terminal.progress(profile.title, "Listening to") as on_progress:
        result = study_insulation(profile, file.parent, on_progress)
    if json:
        from sleepnoise.evidence.plain import document_text, plain_value

        sys.stdout.buffer.write(document_text(plain_value(result)).encode())
        return
    from sleepnoise.screens.insulation_table import show_insulation

    show_insulation(result)
