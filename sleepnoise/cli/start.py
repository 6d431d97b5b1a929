"""The command ``start``: a few plain questions that lead to a first assessment.

It writes nothing itself: what it runs is one ``assess``, printed so that it can be run again by hand.
"""

import shlex
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from sleepnoise.cli import asking
from sleepnoise.cli.options import FILE, Grouped, option

if TYPE_CHECKING:
    from sleepnoise.recording.sequence import NightSound
    from sleepnoise.wording.prospects import FirstNight

HAVE = {
    "phone": "a recording of a night that a phone made",
    "recorder": "a recording of a night that a recorder made",
    "log": "a table of levels that a meter wrote",
    "nothing": "nothing yet",
}
NIGHTS = {"one": "one night", "many": "many nights, or many bedrooms"}
LOUDNESS = {
    "none": "nothing (then there are no levels in dB(A) and no verdicts)",
    "tone": "a calibrator, recorded with the gain of the night",
    "kept": "a calibration that 'sleepnoise calibrate' has kept",
    "stated": "the level that a data sheet states for full scale",
}
WINDOWS = {"unknown": "I do not know", "open": "open or tilted", "closed": "closed"}

NOBODY = "Nobody can answer here: standard input is no terminal."

ANSWERS, FILES, ENDING = "Answers (what is not given is asked)", "Your files", "Ending"


@click.command("start", cls=Grouped)
@option(ANSWERS, "--have", click.Choice(list(HAVE)), None, "What you have.")
@option(ANSWERS, "--nights", click.Choice(list(NIGHTS)), None, "How many nights.")
@option(FILES, "--recording", FILE, "FILE", "Recording of the night, or the folder of its parts.")
@option(FILES, "--test", FILE, "FILE", "Test minute, as for 'check-recorder'.")
@option(ANSWERS, "--loudness", click.Choice(list(LOUDNESS)), None, "What tells how loud it really was.")
@option(FILES, "--tone", FILE, "FILE", "Recording of a calibrator, made with the same gain.")
@option(FILES, "--calibration", FILE, "FILE", "A calibration kept by 'calibrate'.")
@option(ANSWERS, "--full-scale-level", str, "DB", "Level of a sine that just reaches full scale.")
@option(ANSWERS, "--zone", str, "NAME", "Time zone of the place, such as Europe/Vienna.")
@option(ANSWERS, "--start", str, "TIME", "When it began by the local clock, such as 2026-01-14T22:00.")
@option(ANSWERS, "--country", str, "CODE", "Country whose rules are asked, too, such as DE; none by default.")
@option(ANSWERS, "--windows", click.Choice(list(WINDOWS)), None, "How the bedroom's windows stood.")
@option(ENDING, "--out", FILE, "FOLDER", "Folder to make for the results.")
@option(ENDING, "--yes", bool, None, "Run the command without asking.")
@click.pass_context
def command(context: click.Context, /, yes: bool, **given: Any) -> int:
    """Answer a few questions and get the first assessment of a night.

    Says beforehand what can be told from what you have and what cannot, and prints the command
    before it runs it. Nothing is written before you agree, and nothing if you break off.
    """
    try:
        return _interview(context, Interview(given), yes)
    except click.Abort:
        # Ctrl-C at a question is an interrupt like any other.
        raise KeyboardInterrupt from None


class Interview:
    """Answers: what was given by options, and for the rest whoever sits at the terminal."""

    def __init__(self, given: dict[str, Any]) -> None:
        self.given = given
        self.asks = asking.somebody_answers()

    def text(
        self, name: str, question: str, default: str | None = None, check: Callable[[str], str] = str
    ) -> str:
        """Return an answer in words, asked for unless an option gave it."""
        if self.given[name] is not None:
            return check(str(self.given[name]))
        return asking.ask(question, default, check) if self.asks else self._unasked(name, default)

    def choice(self, name: str, question: str, answers: dict[str, str], default: str | None) -> str:
        """Return one of a few words, asked for unless an option gave it."""
        if self.given[name] is not None:
            return str(self.given[name])
        if self.asks:
            return asking.choose(question, answers, default or next(iter(answers)))
        return self._unasked(name, default)

    def agrees(self, yes: bool) -> bool:
        """Return whether the command shall be run."""
        if yes or self.asks:
            return yes or click.confirm("Run it now?", default=True, err=True)
        raise click.UsageError(f"{NOBODY} To run it all the same, say --yes.")

    def _unasked(self, name: str, default: str | None) -> str:
        if default is None:
            option = f"--{name.replace('_', '-')}"
            raise click.UsageError(f"{NOBODY} Run it at a terminal, or say {option}.")
        return default


def _interview(context: click.Context, asked: Interview, yes: bool) -> int:
    from sleepnoise.screens.terminal import show_text

    have = asked.choice("have", "What have you got?", HAVE, None)
    if have in ELSEWHERE:
        for line in ELSEWHERE[have]:
            show_text(line)
        return 0
    if asked.choice("nights", "How many nights?", NIGHTS, "one") == "many":
        for line in ELSEWHERE["many"]:
            show_text(line)
        return 0
    words, night = _night_words(asked)
    unable = _tested(asked)
    loudness = _loudness(asked)
    circumstances = _circumstances(asked, judged=bool(loudness))
    out = asked.text("out", "Folder to make for the results", _free_name(), _free)
    reader = ("--reader", "resident") if have == "phone" else ()
    words = ["assess", *words, *loudness, *circumstances, *reader, "--out", out]
    show_prospects(_first_night(have, night, loudness, circumstances, unable), words)
    if not asked.agrees(yes):
        show_text("Nothing was done. The command above does it whenever you like.")
        return 0
    group = cast("click.Group", context.find_root().command)
    assess = group.get_command(context, words[0])
    assert assess is not None
    return assess.main(words[1:], prog_name="sleepnoise assess", standalone_mode=False) or 0


ELSEWHERE = {
    "nothing": (
        "Record a night first: sleepnoise guide record",
        "To see what comes of it, try an invented night:",
        "  sleepnoise demo larch-court --hours 1",
    ),
    "log": (
        "Say which column is what; nothing is guessed:",
        "  sleepnoise assess-log LOG.csv --column time=TIME --column laeq=LEVEL --zone ZONE",
        "All keys: sleepnoise assess-log -h",
    ),
    "many": (
        "Put each bedroom's nights into a folder of its own, all of them into one folder, and:",
        "  sleepnoise assess-many BEDROOMS --zone ZONE --out RESULTS",
        "One bedroom over weeks: sleepnoise dossier start CASE. More: sleepnoise guide many-bedrooms",
    ),
}
"""What is said where another command goes on."""


def _tested(asked: Interview) -> bool:
    """Return whether the test minute says that the recorder cannot do the job; show what it says."""
    name = asked.text(
        "test", "Test minute, one clap in a quiet room (empty: there is none)", "", _readable_or_empty
    )
    if not name:
        return False
    from sleepnoise.recording.calibration import Calibration
    from sleepnoise.screens.recorder_words import show_check
    from sleepnoise.trials.recorder_check import check_recorder

    found = check_recorder(name)
    show_check(found, Calibration.relative())
    return found.ability == "cannot"


def _night_words(asked: Interview) -> "tuple[list[str], NightSound]":
    """Return recording, zone and start as options of 'assess', and the night that they open."""
    from sleepnoise.errors import StartTimeError
    from sleepnoise.recording.sequence import open_night

    recording = asked.text("recording", "The recording: a file, or the folder of its parts", None, _readable)
    here = asking.zone_of_this_computer()
    told = " (Enter: this computer's)" if here else ", such as Europe/Vienna"
    default = here if here and asked.asks else None
    zone = asked.text("zone", f"Time zone of the bedroom{told}", default, _zone)
    words = [recording, "--zone", zone]
    given = asked.given["start"]
    try:
        night = open_night(Path(recording), given=given, zone=zone)
    except StartTimeError as error:
        if given is not None or not asked.asks:
            raise
        click.echo(f"{error.complaint} {error.remedy}", err=True)
        given = asking.ask("When did it begin, by the local clock, such as 2026-01-14 22:00", None)
        given = given.strip().replace(" ", "T")
        night = open_night(Path(recording), given=given, zone=zone)
    return [*words, *(("--start", given) if given else ())], night


def _loudness(asked: Interview) -> tuple[str, ...]:
    """Return the calibration as options of 'assess'."""
    by_file = {"tone": "tone", "kept": "calibration", "stated": "full_scale_level"}
    known = next((how for how, name in by_file.items() if asked.given[name] is not None), None)
    how = known or asked.choice("loudness", "What tells how loud it really was?", LOUDNESS, "none")
    if how == "none":
        return ()
    name = by_file[how]
    question = "Level of a full-scale sine, dB" if how == "stated" else "Its file"
    answer = asked.text(name, question, None, _number if how == "stated" else _readable)
    return (f"--{name.replace('_', '-')}", answer)


def _circumstances(asked: Interview, *, judged: bool) -> tuple[str, ...]:
    """Return rules and windows as options of 'assess'; rules are asked for only if they can be judged."""
    country = ""
    if judged or asked.given["country"] is not None:
        question = "Country whose rules are asked, too, such as DE (empty: none)"
        country = asked.text("country", question, "", _country)
    windows = asked.choice("windows", "How did the bedroom's windows stand?", WINDOWS, "unknown")
    rules = ("--guideline", "international", "--guideline", country) if country else ()
    return (*rules, *(("--windows", windows) if windows != "unknown" else ()))


def _first_night(
    have: str, night: "NightSound", loudness: tuple[str, ...], said: tuple[str, ...], unable: bool
) -> "FirstNight":
    from sleepnoise.formats.coding import CODERS
    from sleepnoise.wording.prospects import FirstNight

    return FirstNight(
        recorder="phone" if have == "phone" else "recorder",
        calibrated=bool(loudness),
        lossy=any(part.audio.encoding in CODERS for part in night.parts),
        seconds=night.seconds,
        windows_said="--windows" in said,
        country_said="--guideline" in said,
        unable=unable,
    )


def show_prospects(night: "FirstNight", words: list[str]) -> None:
    """Print what can be told, what cannot, and the command."""
    from sleepnoise.screens.terminal import Screen, heading, show_points, show_text
    from sleepnoise.wording.prospects import can_tell, cannot_tell

    screen = Screen()
    heading(screen, "What this can tell")
    show_points(screen, can_tell(night))
    heading(screen, "What it cannot tell")
    show_points(screen, cannot_tell(night))
    heading(screen, "The command")
    show_text(shlex.join(["sleepnoise", *words]))


def _readable(name: str) -> str:
    if not name or not Path(name).exists():
        raise click.UsageError(f"{name or 'nothing'!r}: there is no such file or folder.")
    return name


def _readable_or_empty(name: str) -> str:
    return _readable(name) if name else ""


def _zone(name: str) -> str:
    from sleepnoise.errors import StartTimeError
    from sleepnoise.recording.clock import zone_named

    try:
        zone_named(name, "time zone")
    except StartTimeError as error:
        raise click.UsageError(f"{error.complaint} {error.remedy}") from None
    return name


def _number(text: str) -> str:
    try:
        float(text)
    except ValueError:
        raise click.UsageError(f"{text!r} is no number of decibels, such as 105.") from None
    return text


def _country(code: str) -> str:
    from sleepnoise.profiles.files import read_guideline, shipped_profiles

    known = {read_guideline(profile.path).country for profile in shipped_profiles("guideline")}
    known -= {"international"}
    if code and code.upper() not in known:
        raise click.UsageError(f"{code!r}: there are rules of {', '.join(sorted(known))}, or leave it empty.")
    return code.upper()


def _free_name() -> str:
    names = ("first-night", *(f"night-{number}" for number in range(2, 1000)))
    return next(name for name in names if not Path(name).exists())


def _free(name: str) -> str:
    if Path(name).exists():
        raise click.UsageError(f"{name}: is there already; choose another name.")
    return name
