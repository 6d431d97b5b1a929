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
    Dn and R' with DnT,w, R'w, C, Ctr, NIC, NNIC; for facades D2m,nT, R'45 and R'tr,s. For example:

    \b
      kind = "insulation"
      title = "Wall to the stairwell"
      area_m2 = 9.0
      [room]                            # the receiving one
      volume_m3 = 30.0
      reverberation_s = 0.5             # or bands, or furnishing
      [source]
      recordings = ["hall-1.wav", "hall-2.wav"]
      [receiving]
      recordings = ["bed-1.wav", "bed-2.wav"]
      [background]
      recordings = ["off.wav"]

    Levels that were read stand in the place of recordings, band by band:
    levels_db = [{ "100" = 71.2, "125" = 73.0, ... }].
    """  # noqa: D301 (the escape is what keeps the example's lines apart)
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
