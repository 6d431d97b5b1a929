"""The command ``assess``: one overnight recording to levels, events, verdicts and a first plan."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.assessing.record import AssessSettings, NightRecord
    from sleepnoise.assessing.said import Statements

EXCEEDED = 1
"""Exit status when a guideline that was to be checked is exceeded. Chosen: 2 is usage or input."""

MOST_THREADS = 8
"""Threads unless the user says otherwise, at most. Chosen: reading the file keeps no more than these busy."""

SOUND, CALIBRATION = "Recording", "Calibration (without one: relative levels, no verdicts)"
NIGHT, EVENTS, PLAN, RESULT = "Night", "What counts as an event", "First plan", "Result"
SAID = "What you say of the night (nothing of it is guessed)"

SOURCE_KINDS = ("road", "rail", "aircraft", "industry", "services", "business", "neighbours")
"""As guideline profiles have them; a test compares, since those are not imported for help."""


@click.command("assess", cls=Grouped)
@click.argument("recording", type=FILE, nargs=-1, required=True)
@option(RESULT, "--out", FILE, "FOLDER", "Folder to make for the results.")
@option(RESULT, "--json", bool, None, "Print assessment.json, and nothing else, on standard output.")
@option(RESULT, "--force", bool, None, "Replace an earlier assessment in that folder.")
@option(
    RESULT,
    "--reader",
    click.Choice(["resident", "landlord", "consultant"]),
    None,
    "Whom the page speaks to when it is opened. [default: consultant]",
)
@option(
    RESULT,
    "--clips",
    click.Choice(["blurred", "full", "full-with-voices"]),
    None,
    "Put sounds of the loudest events into the page: all blurred; as they are, but speech blurred; or with "
    "voices too, if everybody heard agrees. [default: none]",
)
@option(RESULT, "--paper", bool, None, "Write report.pdf, and the drawings as SVG and PNG (extra 'report').")
@option(RESULT, "--check", bool, None, "End with status 1 if a guideline value is exceeded.")
@option(
    RESULT, "--threads", int, "N", f"Threads; the result stays the same. [default: all, up to {MOST_THREADS}]"
)
@option(
    SOUND,
    "--start",
    str,
    "TIME",
    "When it began: 2026-01-14T22:00 is local time, an offset may follow. [default: from the file]",
)
@option(
    SOUND,
    "--zone",
    str,
    "NAME",
    "Time zone of the place, such as Europe/Vienna. Needed: recordings do not tell it.",
)
@option(
    SOUND,
    "--clock",
    str,
    "SHOWN=TRUE",
    "What the recorder's clock showed at a true time, such as 22:58:30=23:00:00; two give its drift too.",
    multiple=True,
)
@option(SOUND, "--channel", int, "N", "Which channel holds the microphone. [default: 1]")
@option(CALIBRATION, "--tone", FILE, "FILE", "Recording of a calibrator, made with the same gain.")
@option(CALIBRATION, "--tone-after", FILE, "FILE", "Another one, made after the night.")
@option(CALIBRATION, "--accept-drift", bool, None, "Use tones that differ by more than the standard allows.")
@option(CALIBRATION, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(CALIBRATION, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(
    CALIBRATION,
    "--full-scale-level",
    float,
    "DB",
    "Instead of a tone: level, re 20 µPa, of a sine that just reaches full scale.",
)
@option(
    CALIBRATION,
    "--recorder-class",
    click.Choice(["1", "2"]),
    None,
    "Class of IEC 61672-1 of microphone and recorder together. [default: taken for 2]",
)
@option(CALIBRATION, "--calibration", FILE, "FILE", "Instead of a tone: a calibration kept by 'calibrate'.")
@option(
    CALIBRATION,
    "--microphone-response",
    FILE,
    "FILE",
    "Two columns, Hz and dB: what the microphone makes of sound.",
)
@option(
    CALIBRATION,
    "--response-means",
    click.Choice(["response", "correction"]),
    None,
    "Whether that file holds the microphone's response or what is to be added.",
)
@option(CALIBRATION, "--own-noise", float, "DB", "The recorder's own noise, dB(A), if it is known.")
@option(NIGHT, "--window", str, "FROM-TO", "Local clock hours that count as night. [default: 23:00-07:00]")
@option(
    NIGHT,
    "--guideline",
    str,
    "NAME",
    "Judge by this document: a name from 'profiles list', a country's (DE), all, or a .toml file. "
    "[repeatable] [default: international]",
    multiple=True,
)
@option(SAID, "--labels", FILE, "FILE", "CSV start,end,label (or group,label): what sounds are, and whose.")
@option(SAID, "--diary", FILE, "FILE", "A resident's noise diary, CSV with times and words.")
@option(SAID, "--known-sounds", FILE, "FILE", "known_sounds.json of an earlier night of the same room.")
@option(
    SAID,
    "--source-kind",
    click.Choice(SOURCE_KINDS),
    None,
    "What makes the sound that is judged.",
)
@option(SAID, "--windows", click.Choice(["open", "closed"]), None, "How the bedroom's windows stood.")
@option(
    SAID,
    "--heard",
    click.Choice(["tone", "music", "neither"]),
    None,
    "What a listener hears in it. [repeatable]",
    multiple=True,
)
@option(SAID, "--tone-adjustment", float, "DB", "To be added for tones, as the document has it.")
@option(SAID, "--impulse-adjustment", float, "DB", "To be added for impulses.")
@option(
    SAID, "--source-on", str, "FROM-TO", "Clock times with the source at work. [repeatable]", multiple=True
)
@option(
    SAID,
    "--source-off",
    str,
    "FROM-TO",
    "Clock times with it silent and all else as usual. [repeatable]",
    multiple=True,
)
@option(
    SAID, "--residual", (float, float), "DB U", "Instead: LAeq with it silent, and its uncertainty (k = 2)."
)
@option(SAID, "--underlying", (float, float), "DB U", "Underlying level as the document has it, and U.")
@option(EVENTS, "--onset", float, "DB", "How far above the background an event reaches. [default: 6]")
@option(EVENTS, "--release", float, "DB", "How far above the background it begins and ends. [default: 3]")
@option(EVENTS, "--min-length", float, "S", "Shorter ones are dropped. [default: 0.125]")
@option(EVENTS, "--merge-gap", float, "S", "Sounds no further apart are one event. [default: 3]")
@option(
    EVENTS,
    "--background-minutes",
    float,
    "MIN",
    "Quiet time before an event that tells its background. [default: 5]",
)
@option(
    PLAN,
    "--margin",
    float,
    "DB",
    "Audibility that events must stay below; 0 is the limit of hearing them. [default: 0]",
)
@option(PLAN, "--events-allowed", int, "N", "Events that may stay audible. [default: 0]")
@option(PLAN, "--masker-cap", float, "DB", "Loudest masker to propose, dB(A). [default: 40]")
def command(
    recording: tuple[Path, ...], out: Path | None, json: bool, force: bool, check: bool, **chosen: Any
) -> int:
    """Assess one overnight RECORDING: levels, events, verdicts and a first plan.

    RECORDING is a sound file, a folder of them, or the parts of one night in any order.
    """
    if out is None and not json:
        raise click.UsageError(
            "Say where the results go with --out FOLDER, or print them with --json. "
            "'sleepnoise start' asks for all that is needed."
        )
    from sleepnoise.assessing.assess import assess_recording
    from sleepnoise.dossier.folder import check_place
    from sleepnoise.screens import terminal

    shown = {name: chosen.pop(name) for name in ("reader", "clips", "paper")}
    settings = settings_of(chosen)
    if out is not None:
        check_place(out, force=force)
    with terminal.progress(recording[0].name, "Listening to") as on_progress:
        record = assess_recording(recording, settings, on_progress)
    if out is not None:
        from sleepnoise.report.folder import write_assessment

        write_assessment(record, out, force=force, **{key: value for key, value in shown.items() if value})
    _show(record, out, as_json=json)
    exceeded = any(verdict.word == "exceeded" for verdict in record.assessment.verdicts)
    return EXCEEDED if check and exceeded else 0


FIELDS = {
    "tone_level": "tone_level_db", "tone_frequency": "tone_frequency_hz",
    "full_scale_level": "full_scale_level_db", "guideline": "guidelines", "calibration": "calibration_file",
    "own_noise": "own_noise_la_db",
    "onset": "onset_db", "release": "release_db", "min_length": "min_length_s", "merge_gap": "merge_gap_s",
    "margin": "margin_db", "masker_cap": "cap_dba",
}  # fmt: skip
"""Settings whose name in code, with its unit, is longer than the option's."""


def settings_of(chosen: dict[str, Any]) -> "AssessSettings":
    """Return the settings that the options ask for; what was left out keeps its default."""
    from sleepnoise.assessing.record import AssessSettings
    from sleepnoise.night.event_settings import EventSettings
    from sleepnoise.planning.first_plan import PlanSettings
    from sleepnoise.recording.clock import ClockReading

    # A flag that was not set is False; a zero is somebody's choice.
    given = {FIELDS.get(name, name): value for name, value in chosen.items() if value not in (None, ())}
    given = {name: value for name, value in given.items() if value is not False}
    if "recorder_class" in given:
        given["recorder_class"] = int(given["recorder_class"])
    given["clock"] = tuple(map(ClockReading.parse, given.pop("clock", ())))
    events = {name: given.pop(name) for name in EventSettings.__dataclass_fields__ if name in given}
    plan = {name: given.pop(name) for name in PlanSettings.__dataclass_fields__ if name in given}
    given["statements"] = _statements(given)
    given.setdefault("threads", min(os.cpu_count() or 1, MOST_THREADS))
    return AssessSettings(events=EventSettings(**events), plan=PlanSettings(**plan), **given)


def _statements(given: dict[str, Any]) -> "Statements":
    """Take what was said of the night out of the settings."""
    from sleepnoise.assessing.said import Statements

    said = {name: given.pop(name) for name in Statements.__dataclass_fields__ if name in given}
    if "heard" in said:
        said["heard"] = tuple(what for what in said["heard"] if what != "neither")
    kinds = {"tone": given.pop("tone_adjustment", None), "impulse": given.pop("impulse_adjustment", None)}
    said["adjustments_db"] = {kind: value for kind, value in kinds.items() if value is not None}
    return Statements(**said)


def _show(record: "NightRecord", out: Path | None, *, as_json: bool) -> None:
    from sleepnoise.screens.night_summary import show_night, show_written

    if as_json:
        from sleepnoise.dossier.document import assessment_document
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(assessment_document(record)).encode())
        return
    show_night(record)
    show_written(str(out))
