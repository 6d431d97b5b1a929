"""The command line: parse, call one library function, call one renderer.

Rooms are imported inside the commands, so that help is instant.
"""

import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from sleepnoise import __version__
from sleepnoise.errors import SleepNoiseError

if TYPE_CHECKING:
    from sleepnoise.dossier.record import AssessSettings, NightRecord

EXCEEDED, CANNOT, INTERRUPTED = 1, 2, 130
"""Exit statuses beside 0: a checked guideline is exceeded; usage or input; interrupted. Chosen: 130 is what
shells report for an interrupted command (common practice, no source)."""

MOST_THREADS = 8
"""Threads unless the user says otherwise, at most. Chosen: reading the file keeps no more than these busy."""


class Grouped(click.Command):
    """A command whose help lists options under headings."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write one section for each heading, in the order in which headings first appear."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            line = parameter.get_help_record(ctx)
            if line is not None and isinstance(parameter, click.Option):
                heading = getattr(parameter, "heading", "Help")
                sections.setdefault(heading, []).append(line)
        for heading, lines in sections.items():
            with formatter.section(heading):
                formatter.write_dl(lines)


class Option(click.Option):
    """An option that knows the heading it stands under."""

    def __init__(self, *arguments: Any, heading: str, **others: Any) -> None:
        super().__init__(*arguments, **others)
        self.heading = heading


def option(
    heading: str, name: str, kind: Any, metavar: str | None, explained: str, *, multiple: bool = False
) -> Callable[[click.decorators.FC], click.decorators.FC]:
    """Return the decorator of an option that stands under a heading; a ``bool`` takes no value."""
    return click.option(
        name,
        cls=Option,
        heading=heading,
        type=None if kind is bool else kind,
        is_flag=True if kind is bool else None,
        metavar=metavar,
        multiple=multiple,
        help=explained,
    )


class Program(click.Group):
    """The program: what a command returns is its exit status, and errors become complaints."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; no traceback for anything that a user can cause."""
        try:
            status = super().invoke(ctx)
            sys.stdout.flush()
        except SleepNoiseError as error:
            from sleepnoise.report.terminal import show_error

            show_error(error)
            ctx.exit(CANNOT)
        except KeyboardInterrupt:
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            # Whoever was reading has read enough; the interpreter must not complain on leaving.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(0)
        ctx.exit(status or 0)


@click.group(
    "sleepnoise",
    cls=Program,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
)
@click.version_option(__version__, message="%(prog)s %(version)s")
def app() -> None:
    """How bad the nights are, which sounds do it, and what to do about them.

    From one overnight recording in a bedroom: levels, events, verdicts on published night-noise
    values, and a first plan of isolation and masking.
    """


SOUND, CALIBRATION = "Recording", "Calibration (without one: relative levels, no verdicts)"
NIGHT, EVENTS, PLAN, RESULT = "Night", "What counts as an event", "First plan", "Result"
FILE = click.Path(path_type=Path)


@app.command(cls=Grouped)
@click.argument("recording", type=FILE)
@option(RESULT, "--out", FILE, "FOLDER", "Folder to make for the results.")
@option(RESULT, "--json", bool, None, "Print assessment.json, and nothing else, on standard output.")
@option(RESULT, "--force", bool, None, "Replace an earlier assessment in that folder.")
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
@option(NIGHT, "--window", str, "FROM-TO", "Local clock hours that count as night. [default: 23:00-07:00]")
@option(
    NIGHT,
    "--guideline",
    str,
    "NAME",
    "Judge by this profile, a name from 'profiles list' or a .toml file; may be repeated. [default: all]",
    multiple=True,
)
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
def assess(recording: Path, out: Path | None, json: bool, force: bool, check: bool, **chosen: Any) -> int:
    """Assess one overnight RECORDING: levels, events, verdicts and a first plan."""
    if out is None and not json:
        raise click.UsageError("Say where the results go with --out FOLDER, or print them with --json.")
    from sleepnoise.dossier.assess import assess_recording
    from sleepnoise.dossier.folder import check_place
    from sleepnoise.report import terminal

    settings = _settings(chosen)
    if out is not None:
        check_place(out, force=force)
    with terminal.progress(recording.name, "Listening to") as on_progress:
        record = assess_recording(recording, settings, on_progress)
    if out is not None:
        from sleepnoise.report.folder import write_assessment

        write_assessment(record, out, force=force)
    _show(record, out, as_json=json)
    exceeded = any(verdict.word == "exceeded" for verdict in record.assessment.verdicts)
    return EXCEEDED if check and exceeded else 0


FIELDS = {
    "tone_level": "tone_level_db", "tone_frequency": "tone_frequency_hz",
    "full_scale_level": "full_scale_level_db", "guideline": "guidelines",
    "onset": "onset_db", "release": "release_db", "min_length": "min_length_s", "merge_gap": "merge_gap_s",
    "margin": "margin_db", "masker_cap": "cap_dba",
}  # fmt: skip
"""Settings whose name in code, with its unit, is longer than the option's."""


def _settings(chosen: dict[str, Any]) -> "AssessSettings":
    """Return the settings that the options ask for; what was left out keeps its default."""
    from sleepnoise.dossier.record import AssessSettings
    from sleepnoise.night.event_settings import EventSettings
    from sleepnoise.planning.first_plan import PlanSettings

    given = {FIELDS.get(name, name): value for name, value in chosen.items() if value not in (None, ())}
    events = {name: given.pop(name) for name in EventSettings.__dataclass_fields__ if name in given}
    plan = {name: given.pop(name) for name in PlanSettings.__dataclass_fields__ if name in given}
    given.setdefault("threads", min(os.cpu_count() or 1, MOST_THREADS))
    return AssessSettings(events=EventSettings(**events), plan=PlanSettings(**plan), **given)


def _show(record: "NightRecord", out: Path | None, *, as_json: bool) -> None:
    from sleepnoise.report import terminal

    if as_json:
        from sleepnoise.dossier.document import assessment_document, document_text

        sys.stdout.buffer.write(document_text(assessment_document(record)).encode())
        return
    terminal.show_night(record)
    terminal.show_written(str(out))


@app.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--hours", type=float, default=8.0, show_default=True, metavar="H", help="Length, up to 8.")
@click.option(
    "--seed", type=int, default=1, show_default=True, metavar="N", help="Which of many such nights."
)
@click.option("--rate", type=int, default=48_000, show_default=True, metavar="HZ", help="Sampling rate.")
@click.option("--force", is_flag=True, help="Replace an earlier demo in that folder.")
def demo(folder: Path, hours: float, seed: int, rate: int, force: bool) -> None:
    """Write an invented night, its calibration tone and its truth into FOLDER.

    Larch Court, flat 3, over a bakery's loading lane. Everything in it is invented.
    """
    from sleepnoise.demo.writing import write_demo
    from sleepnoise.report import terminal

    with terminal.progress("the invented night", "Writing") as on_progress:
        night = write_demo(
            folder, hours=hours, seed=seed, sample_rate_hz=rate, force=force, on_progress=on_progress
        )
    terminal.show_text(f"Written to {folder}. Everything in it is invented. Assess it with:")
    out = folder.parent / f"{folder.name}-assessed"
    terminal.show_text(
        f"sleepnoise assess {night.recording} --tone {night.calibration_tone} "
        f"--zone {night.truth.zone} --out {out}"
    )


@app.group()
def profiles() -> None:
    """Guidelines, isolation steps and maskers, each a file that names its sources."""


@profiles.command("list")
def list_profiles() -> None:
    """List every profile that comes with the program."""
    from sleepnoise.profiles.files import shipped_profiles
    from sleepnoise.report import terminal

    terminal.show_lines(
        [(profile.name, f"{profile.title} ({profile.kind})") for profile in shipped_profiles()]
    )


@profiles.command("show")
@click.argument("name")
def show_profile(name: str) -> None:
    """Print the profile called NAME: its values, rules and sources."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.report import terminal

    terminal.show_profile(read_profile(name))


@profiles.command("check")
@click.argument("file", type=click.Path(path_type=Path))
def check_profile(file: Path) -> None:
    """Check the profile in FILE and name every mistake with its key."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.report import terminal

    profile = read_profile(file)
    terminal.show_text(f"{file.name}: a valid {profile.kind} profile, {profile.title!r}.")


def main() -> None:
    """Run the command line."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    app(prog_name="sleepnoise")


def _end(number: int, _frame: FrameType | None) -> None:
    """Leave by way of every clean-up, as an interrupt does, when the machine asks to end."""
    sys.exit(128 + number)
