"""The command ``two-microphones``: what real noise loses on its way to the pillow."""

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.trials.paired_nights import PairSettings

MOST_THREADS = 8
"""Threads at most. Chosen: reading a file keeps no more than these busy."""

SOUND, SCALE, RESULT = "Recordings", "Scale (without it: only the shape over frequency)", "Result"


def _of_side(side: str, name: str) -> Callable[[click.decorators.FC], click.decorators.FC]:
    """Return the options that calibrate one microphone."""

    def decorate(command: click.decorators.FC) -> click.decorators.FC:
        made = (
            (f"--{side}-tone", FILE, "FILE", f"Recording of a calibrator on the {name} microphone."),
            (
                f"--{side}-full-scale-level",
                float,
                "DB",
                "Instead: level of a sine that just reaches full scale.",
            ),
            (f"--{side}-calibration", FILE, "FILE", "Instead: a calibration kept by 'calibrate'."),
        )
        for words in reversed(made):
            command = option(SCALE, *words)(command)
        return command

    return decorate


@click.command("two-microphones", cls=Grouped)
@click.argument("outer", type=FILE)
@click.argument("pillow", type=FILE, required=False)
@option(SOUND, "--outer-channel", int, "N", "Channel of the outer microphone. [default: 1]")
@option(
    SOUND, "--pillow-channel", int, "N", "Channel of the one at the pillow. [default: 1; 2 in one recording]"
)
@option(
    SOUND,
    "--zone",
    str,
    "NAME",
    "Time zone of both recorders' clocks: believe their time stamps to ten minutes. "
    "[default: only the sound aligns]",
)
@option(SCALE, "--same-gain", bool, None, "One recording, two alike microphones, the same gain for both.")
@_of_side("outer", "outer")
@_of_side("pillow", "pillow's")
@option(SCALE, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(SCALE, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(RESULT, "--json", bool, None, "Print everything as JSON, and nothing else, on standard output.")
def command(outer: Path, pillow: Path | None, json: bool, **chosen: Any) -> None:
    """Compare noise at an OUTER microphone with what is left of it at the PILLOW.

    OUTER stands in the hall or outdoors. Give a recording of each (a file, or a folder with the
    parts of one night), or one recording that has both in two channels. They need not begin
    together, nor their clocks agree.
    """
    from sleepnoise.screens import terminal
    from sleepnoise.trials.paired_nights import compare_microphones, paired_document

    settings = _settings(chosen, one_recording=pillow is None)
    with terminal.progress(outer.name, "Comparing") as on_progress:
        result = compare_microphones(outer, pillow, settings, on_progress)
    if json:
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(paired_document(result)).encode())
        return
    from sleepnoise.screens.two_microphones import show_pair

    show_pair(result)


def _settings(chosen: dict[str, Any], *, one_recording: bool) -> "PairSettings":
    """Return the settings that the options ask for; what was left out keeps its default."""
    from sleepnoise.assessing.record import AssessSettings
    from sleepnoise.trials.paired_nights import PairSettings

    shared = {"zone": chosen["zone"], "threads": min(os.cpu_count() or 1, MOST_THREADS)}
    calibrator = {"tone_level_db": chosen["tone_level"], "tone_frequency_hz": chosen["tone_frequency"]}
    one_has_a_tone = bool(chosen["outer_tone"] or chosen["pillow_tone"])

    def side(name: str) -> AssessSettings:
        own = {
            "channel": chosen[f"{name}_channel"] or (2 if one_recording and name == "pillow" else None),
            "tone": chosen[f"{name}_tone"],
            "full_scale_level_db": chosen[f"{name}_full_scale_level"],
            "calibration_file": chosen[f"{name}_calibration"],
        }
        # What is said of the calibrator belongs to the side that recorded it.
        own |= {} if one_has_a_tone and not own["tone"] else calibrator
        return AssessSettings(**{key: value for key, value in {**shared, **own}.items() if value is not None})

    return PairSettings(outer=side("outer"), pillow=side("pillow"), same_gain=chosen["same_gain"])
