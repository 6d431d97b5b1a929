"""The command ``hear-plan``: a night behind its plan, measured anew, and excerpts to listen to."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli import assess
from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.proving.excerpts import Excerpt

RESULT = "Result"
NOT_HERE = ("recording", "out", "json", "force", "reader", "clips", "paper", "check")
"""Options of 'assess' that say nothing of how a night is assessed."""


@click.command("hear-plan", cls=Grouped)
@click.argument("plan", type=FILE, metavar="PLAN.json")
@click.argument("recording", type=FILE, nargs=-1, required=True)
@option(
    RESULT,
    "--out",
    FILE,
    "FOLDER",
    "Existing folder for excerpts, before fading over into after; not blurred.",
)
@option(RESULT, "--excerpts", click.IntRange(1), "N", "Excerpts, of the loudest events. [default: 3]")
@option(RESULT, "--wav", bool, None, "Write WAV instead of FLAC.")
@option(RESULT, "--force", bool, None, "Replace excerpts that are there.")
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
@option(RESULT, "--night", click.IntRange(1), "N", "Which of the plan's nights this is. [default: 1]")
def command(
    plan: Path,
    recording: tuple[Path, ...],
    out: Path | None,
    wav: bool,
    force: bool,
    json: bool,
    **chosen: Any,
) -> None:
    """Hear the night of RECORDING as PLAN.json promises it, and assess it as it was assessed.

    Give the options that the night was assessed with. PLAN.json is what 'plan --out' wrote.
    """
    from sleepnoise.assessing.assess import assess_recording
    from sleepnoise.errors import OutputError
    from sleepnoise.proving.after_night import after_night
    from sleepnoise.proving.excerpts import write_excerpts
    from sleepnoise.proving.kept_plan import read_plan
    from sleepnoise.screens import terminal
    from sleepnoise.screens.proving_summary import show_after_night
    from sleepnoise.wording.tables import loudest_events

    count, night = chosen.pop("excerpts") or 3, chosen.pop("night") or 1
    promise = read_plan(plan).promise
    if out is not None and not out.is_dir():
        raise OutputError(f"{out}: is no folder.", remedy="Make it first, or choose another.")
    settings = assess.settings_of(chosen)
    with terminal.progress(recording[0].name, "Listening to") as on_progress:
        record = assess_recording(recording, settings, on_progress)
    with terminal.progress(recording[0].name, "Listening behind the plan to") as on_progress:
        after = after_night(record, promise, night=night, on_progress=on_progress)
    excerpts: tuple[Excerpt, ...] = ()
    if out is not None:
        numbers = tuple(event.number for event in loudest_events(record.assessment.events, count))
        excerpts = write_excerpts(
            after, out, numbers, night=night, ending=".wav" if wav else ".flac", force=force
        )
    if json:
        from sleepnoise.dossier.proof_document import heard_document
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(heard_document(after, excerpts)).encode())
        return
    show_after_night(after, excerpts)


command.params += [each for each in assess.command.params if each.name not in NOT_HERE]
