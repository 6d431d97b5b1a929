"""The command ``check-recorder``: can this recorder do the job? One minute in the quiet room tells."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.recording.calibration import Calibration

CANNOT = 1
"""Exit status of a check that the recorder fails. Chosen: 2 is usage or input."""

SOUND, CALIBRATION = "Test recording", "Calibration (without one nobody knows how quiet it can hear)"
RESULT = "Result"


@click.command("check-recorder", cls=Grouped)
@click.argument("test", type=FILE)
@option(SOUND, "--channel", int, "N", "Which channel holds the microphone. [default: 1]")
@option(CALIBRATION, "--tone", FILE, "FILE", "Recording of a calibrator, made with the same gain.")
@option(CALIBRATION, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(CALIBRATION, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(
    CALIBRATION,
    "--full-scale-level",
    float,
    "DB",
    "Instead of a tone: level, re 20 µPa, of a sine that just reaches full scale.",
)
@option(CALIBRATION, "--calibration", FILE, "FILE", "Instead of a tone: a calibration kept by 'calibrate'.")
@option(RESULT, "--json", bool, None, "Print everything as JSON, and nothing else, on standard output.")
@option(RESULT, "--check", bool, None, "End with status 1 if the recorder cannot do the job.")
def command(test: Path, json: bool, check: bool, channel: int | None, **chosen: Any) -> int:
    """Tell from a TEST recording whether the recorder, or phone, can do the job.

    Set the recorder up where it will stand at night, in the quiet room, all settings as for the
    night: no automatic gain, no noise suppression, without loss. Record one minute: nobody moves;
    after twenty seconds one loud clap beside it; then quiet again to the end.
    """
    from sleepnoise.trials.recorder_check import check_recorder

    calibration = _calibration(channel, chosen)
    found = check_recorder(test, calibration=calibration, channel=1 if channel is None else channel)
    if json:
        from sleepnoise.evidence.plain import document_text
        from sleepnoise.trials.recorder_check import recorder_document

        sys.stdout.buffer.write(document_text(recorder_document(found, calibration, test)).encode())
    else:
        from sleepnoise.screens.recorder_words import show_check

        show_check(found, calibration)
    return CANNOT if check and found.ability == "cannot" else 0


FIELDS = {
    "tone_level": "tone_level_db", "tone_frequency": "tone_frequency_hz",
    "full_scale_level": "full_scale_level_db", "calibration": "calibration_file",
}  # fmt: skip
"""Settings whose name in code is longer than the option's."""


def _calibration(channel: int | None, chosen: dict[str, Any]) -> "Calibration":
    from sleepnoise.assessing.calibrating import night_calibration
    from sleepnoise.assessing.record import AssessSettings

    given = {FIELDS.get(name, name): value for name, value in {**chosen, "channel": channel}.items()}
    settings = AssessSettings(**{name: value for name, value in given.items() if value is not None})
    return night_calibration(settings, None).calibration
