"""The command ``check-masker``: whether a masker at the pillow is what was designed."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from sleepnoise.profiles.door_test import GainEntry

READ, SCALE, RESULT = "Recordings", "Scale (the shape needs none)", "Result"


@click.command("check-masker", cls=Grouped)
@click.argument("design", type=FILE, metavar="DESIGN.json")
@click.argument("on", type=FILE, nargs=-1, required=True, metavar="ON...")
@option(READ, "--off", FILE, "FILE", "Recording with the masker off. [repeatable]", multiple=True)
@option(READ, "--channel", int, "N", "Channel of the recordings. [default: 1]")
@option(READ, "--same-recorder", bool, None, "Recorder and calibration are those of the night.")
@option(SCALE, "--tone", FILE, "FILE", "Recording of a calibrator.")
@option(SCALE, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(SCALE, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(SCALE, "--full-scale-level", float, "DB", "Instead: level of a sine that just reaches full scale.")
@option(RESULT, "--check", bool, None, "Exit with status 1 if a level is outside its tolerance.")
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
def command(
    design: Path,
    on: tuple[Path, ...],
    off: tuple[Path, ...],
    channel: int | None,
    same_recorder: bool,
    check: bool,
    json: bool,
    **gain: Any,
) -> int:
    """Compare recordings at the pillow, masker ON and off, with DESIGN.json of design-masker.

    Record half a minute with the masker on at each of five places within 0.3 m of the pillow, and
    half a minute with it off, nobody in bed. The background is taken off as ISO 16283-1 allows.
    """
    from sleepnoise.screens import terminal
    from sleepnoise.trials.masker_check import check_masker

    with terminal.progress(design.name, "Listening for") as on_progress:
        found = check_masker(
            design,
            on,
            off,
            _gain(gain),
            channel=1 if channel is None else channel,
            same_recorder=same_recorder,
            on_progress=on_progress,
        )
    if json:
        from sleepnoise.dossier.masker_document import masker_check_document
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(masker_check_document(found)).encode())
    else:
        from sleepnoise.screens.masker_sheet import show_masker_check

        show_masker_check(found)
    return int(check and found.failed)


def _gain(chosen: dict[str, Any]) -> "GainEntry":
    """Return what calibrates the recordings, checked as a file's would be."""
    from pydantic import ValidationError

    from sleepnoise.profiles.door_test import GainEntry

    keys = {
        "tone": "tone",
        "tone_level": "tone_level_db",
        "tone_frequency": "tone_frequency_hz",
        "full_scale_level": "full_scale_level_db",
    }
    given = {keys[name]: value for name, value in chosen.items() if value is not None}
    if "tone" in given:
        given["tone"] = str(given["tone"])
    try:
        return GainEntry.model_validate(given)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise SettingsError(
            f"calibration: {first['loc'][0]}: {first['msg']}.", remedy="Mend what is named above."
        ) from None
