"""The command ``calibrate``: a recorder's calibration as a file that later nights use again."""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.trials.keeping import KeepSettings

TONE, BESIDE, STATED = "By a calibrator's tone", "Beside a sound level meter", "By the data sheet"
MICROPHONE, RESULT = "Recorder and microphone", "Result"


@click.command("calibrate", cls=Grouped)
@option(RESULT, "--out", FILE, "FILE.toml", "File to write the calibration to.")
@option(RESULT, "--force", bool, None, "Replace a file of that name.")
@option(
    RESULT,
    "--made-on",
    click.DateTime(["%Y-%m-%d"]),
    "DATE",
    "Day on which the calibrator or meter was used, such as 2026-01-14. [default: today]",
)
@option(RESULT, "--valid-days", int, "N", "For how many days it may be used again. [default: 30]")
@option(TONE, "--tone", FILE, "FILE", "Recording of the calibrator; other sound around it does no harm.")
@option(TONE, "--tone-after", FILE, "FILE", "Another one, made after the night: tells the drift of the gain.")
@option(TONE, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(TONE, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(TONE, "--channel", int, "N", "Which channel holds the microphone. [default: 1]")
@option(TONE, "--accept-drift", bool, None, "Use tones that differ by more than the standard allows.")
@option(
    BESIDE,
    "--beside",
    FILE,
    "FILE.csv",
    "Levels of the same sounds: columns reference_db (meter) and recorder_db (recording, re full scale).",
)
@option(
    BESIDE,
    "--beside-pair",
    str,
    "METER=RECORDER",
    "One such pair, such as 62.1=-31.4; may be repeated. At least five are needed, from quiet to loud.",
    multiple=True,
)
@option(BESIDE, "--meter-class", click.Choice(["1", "2"]), None, "Class of that meter. [default: 2]")
@option(
    STATED,
    "--full-scale-level",
    float,
    "DB",
    "Level, re 20 µPa, of a sine that just reaches full scale.",
)
@option(
    MICROPHONE,
    "--recorder-class",
    click.Choice(["1", "2"]),
    None,
    "Class of IEC 61672-1 of microphone and recorder together. [default: taken for 2]",
)
@option(MICROPHONE, "--microphone-response", FILE, "FILE", "Two columns, Hz and dB: what it makes of sound.")
@option(
    MICROPHONE,
    "--response-means",
    click.Choice(["response", "correction"]),
    None,
    "Whether that file holds the microphone's response or what is to be added.",
)
@option(MICROPHONE, "--recorder", str, "TEXT", "Which recorder, in your own words.")
@option(MICROPHONE, "--microphone", str, "TEXT", "Which microphone.")
@option(MICROPHONE, "--gain", str, "TEXT", "Where its gain stood.")
def command(out: Path | None, force: bool, **chosen: Any) -> None:
    """Find a recorder's calibration and keep it as a small file for later nights.

    Choose exactly one of the three ways. Levels re full scale for the second are those that
    'assess' gives without a calibration.
    """
    if out is None:
        raise click.UsageError("Say where the calibration goes with --out FILE.toml.")
    from sleepnoise.calibration.kept import calibration_text
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.screens.calibration_summary import show_kept
    from sleepnoise.trials.keeping import calibration_to_keep

    check_file_place(out, force=force)
    kept = calibration_to_keep(_settings(chosen))
    write_file(out, calibration_text(kept), force=force)
    show_kept(kept, str(out))


FIELDS = {
    "tone_level": "tone_level_db",
    "tone_frequency": "tone_frequency_hz",
    "full_scale_level": "full_scale_level_db",
}
"""Settings whose name in code, with its unit, is longer than the option's."""


def _settings(chosen: dict[str, Any]) -> "KeepSettings":
    """Return the settings that the options ask for; what was left out keeps its default."""
    from sleepnoise.calibration.reference_meter import LevelPair
    from sleepnoise.trials.keeping import KeepSettings

    given = {FIELDS.get(name, name): value for name, value in chosen.items() if value is not None}
    pairs = tuple(map(LevelPair.parse, given.pop("beside_pair")))
    made_on = _day(given.pop("made_on", None))
    for name in ("meter_class", "recorder_class"):
        if name in given:
            given[name] = cast("Literal[1, 2]", int(given[name]))
    return KeepSettings(made_on=made_on, beside_pairs=pairs, **given)


def _day(given: datetime | None) -> date:
    """Return the day that was given, or today; refuse one to come, which must be a slip."""
    today = date.today()
    if given is not None and given.date() > today:
        raise click.BadParameter(f"{given.date()} is yet to come, today is {today}.", param_hint="--made-on")
    return given.date() if given else today
