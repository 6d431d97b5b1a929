"""The command ``reverberation``: how long sound stays in a room, band by band."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE

if TYPE_CHECKING:
    from sleepnoise.trials.reverberation import How


@click.command("reverberation")
@click.argument("recordings", nargs=-1, required=True, type=FILE, metavar="RECORDING...")
@click.option(
    "--how",
    type=click.Choice(["bang", "switched-off", "sweep"]),
    default="bang",
    show_default=True,
    help="What dies away: a bang (balloon, clapper), steady noise switched off, or a played sweep.",
)
@click.option("--sweep", type=FILE, metavar="FILE", help="The sweep that was played.")
@click.option("--thirds", is_flag=True, help="Third octaves instead of octaves.")
@click.option("--volume", type=float, metavar="M3", help="Volume of the room, for its absorption.")
@click.option("--channel", type=int, default=1, show_default=True, metavar="N", help="Channel to evaluate.")
@click.option("--json", is_flag=True, help="Print everything, unrounded, as JSON.")
def command(
    recordings: tuple[Path, ...],
    how: "How",
    sweep: Path | None,
    thirds: bool,
    volume: float | None,
    channel: int,
    json: bool,
) -> None:
    """Find the reverberation time of a room from RECORDINGs, one decay each.

    Each recording holds one bang, one switching-off or one sweep, and goes on until it is quiet.
    Several places in the room make the result surer. No calibration is needed.

    Bursting balloons and clappers are loud at the ear: arm's length, hearing protection, nobody near.
    """
    from sleepnoise.screens import terminal
    from sleepnoise.trials.reverberation import study_reverberation

    with terminal.progress(recordings[0].name, "Listening to") as on_progress:
        result = study_reverberation(
            recordings,
            how,
            sweep=sweep,
            octaves=not thirds,
            channel=channel,
            volume_m3=volume,
            on_progress=on_progress,
        )
    if json:
        from sleepnoise.evidence.plain import document_text, plain_value

        sys.stdout.buffer.write(document_text(plain_value(result)).encode())
        return
    from sleepnoise.screens.decay_table import show_decay

    show_decay(result)
