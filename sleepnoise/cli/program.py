"""The program: its commands, and what becomes of an error.

A command's module is imported only when the command is asked for, and its rooms only inside the
command, so that help is instant. Examples below its help, and what comes next after its work, are put on
every command here, so that none can be without.
"""

import os
import signal
import sys
from _thread import interrupt_main
from collections.abc import Callable
from contextlib import suppress
from functools import wraps
from importlib import import_module
from io import TextIOWrapper
from threading import Timer, current_thread, main_thread
from types import FrameType
from typing import Any

import click

from sleepnoise import __version__
from sleepnoise.cli import asking
from sleepnoise.cli.options import COMPLETED
from sleepnoise.errors import SleepNoiseError
from sleepnoise.wording.examples import EXAMPLES

SECTIONS = {
    "First steps": {
        "start": "Answer a few questions, get the first assessment",
        "guide": "How to record, test a door, read a report, plan, prove ...",
        "explain": "What a symbol, a column, a verdict or a word means",
        "demo": "Write an invented night to try things out",
    },
    "Record and assess": {
        "check-recorder": "Can this recorder or phone do the job?",
        "calibrate": "Keep a recorder's calibration for later nights",
        "assess": "One night's recording: levels, events, verdicts, first plan",
        "assess-log": "One night from an instrument's table of levels",
    },
    "Find how the sound gets in": {
        "test-sound": "Write noise for a door test, sweeps for reverberation",
        "door-test": "What each change at a door gained",
        "two-microphones": "What noise outside loses on its way to the pillow",
        "reverberation": "How long sound stays in a room",
        "insulation": "DnT,w, R'w and their kin from a measurement",
        "paths": "Which way sound gets in, and what would help",
    },
    "Decide what to do": {
        "plan": "Isolation and masking together, with costs and certainty",
        "design-masker": "The quietest masking sound for a night's events",
        "speech-privacy": "Is talk next door understood, or heard?",
    },
    "Prove it": {
        "hear-plan": "Hear a night as a plan promises it",
        "check-plan": "Was what a plan promised kept?",
        "check-masker": "Is a masker at the pillow what was designed?",
    },
    "Keep a case; many bedrooms": {
        "dossier": "One bedroom's case over weeks, with a journal",
        "assess-many": "Folders of nights on all processors, or a cluster",
        "survey": "Rank many bedrooms, find the sources they share",
    },
    "Around it": {
        "profiles": "Guidelines, treatments, constructions and their sources",
        "documents": "What the program's JSON documents hold, as schemas",
        "completion": "Let the Tab key complete commands and names",
    },
}
"""Commands under headings, in the order of the work, each with what it is for in a line."""

COMMANDS = tuple(name for commands in SECTIONS.values() for name in commands)
"""All commands; each is ``command`` in a module of its name, but for:"""

PLACES = {
    **{name: f"reading.{name}" for name in ("explain", "guide", "completion")},
    "documents": "profiles.documents",
}
"""Commands that share a module."""

AS_DATA = ("json", "as_json")
"""Options by which a command prints data: then nothing else is wanted."""

CANNOT, INTERRUPTED = 2, 130
"""Exit statuses: usage or input; interrupted. Chosen: 130 is what shells report for an interrupted command
(common practice, no source)."""

AGAIN_S = 0.02
"""After what time an interrupt that went unheard comes again, s. Chosen: nobody notices it."""


class Program(click.Group):
    """The program: what a command returns is its exit status, and errors become complaints."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of a command and return what it holds."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = PLACES.get(cmd_name, cmd_name.replace("-", "_")).partition(".")
        command: click.Command = getattr(import_module(f"sleepnoise.cli.{module}"), name or "command")
        return finished(command, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands under their headings, without importing any."""
        for heading, commands in SECTIONS.items():
            with formatter.section(heading):
                formatter.write_dl(list(commands.items()))

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; no traceback for anything that a user can cause."""
        try:
            status = super().invoke(ctx)
            sys.stdout.flush()
        except SleepNoiseError as error:
            from sleepnoise.screens.terminal import show_error

            show_error(error)
            ctx.exit(CANNOT)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as error:
            from sleepnoise.screens.terminal import plain

            # It repeats what was typed, which a shell may have filled in with a file's name.
            raise click.UsageError(plain(error.format_message()), error.ctx) from None
        except KeyboardInterrupt:
            # Whoever presses twice shall not disturb the leaving.
            _hear_interrupts(signal.SIG_IGN)
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            # Whoever was reading has read enough; the interpreter must not complain on leaving.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(0)
        except (OSError, MemoryError) as error:
            from sleepnoise.screens.terminal import show_error

            show_error(refused_by_the_machine(error))
            ctx.exit(CANNOT)
        ctx.exit(status or 0)


def refused_by_the_machine(error: OSError | MemoryError) -> SleepNoiseError:
    """Return what to say of an error that no room expected where it came up."""
    if isinstance(error, MemoryError):
        return SleepNoiseError(
            "this machine: its memory does not suffice.",
            remedy="Close other programs, or give fewer and shorter recordings at a time.",
        )
    return SleepNoiseError(
        f"{error.filename or 'this machine'}: {error.strerror or error}.",
        remedy="Check the path, the space left, and who may read and write there.",
    )


def finished(command: click.Command, path: str) -> click.Command:
    """Return a command, and all below it, with its examples and with what comes next after its work.

    Parameters
    ----------
    command : Command
        Changed in place; nothing happens the second time.
    path : str
        How it is called, such as ``"dossier add-night"``.
    """
    if isinstance(command, click.Group):
        for name, below in command.commands.items():
            finished(below, f"{path} {name}")
    for parameter in command.params:
        named = COMPLETED.get(f"{path} {parameter.name}", COMPLETED.get(parameter.name or ""))
        if named is not None and parameter.type is click.STRING:
            parameter.type = named
    if path in EXAMPLES and command.epilog is None:
        command.epilog = "\n".join(["\b", "Examples:", *(f"  {line}" for line in EXAMPLES[path])])
        # Docstrings with backslashes are raw, and click's own sign for "as it stands" is one character.
        command.help = (command.help or "").replace("\\b\n", "\b\n")
        if command.callback is not None:
            command.callback = _with_next(command.callback, path)
    return command


def _with_next(callback: Callable[..., Any], path: str) -> Callable[..., Any]:
    @wraps(callback)
    def called(*arguments: Any, **options: Any) -> Any:
        status = callback(*arguments, **options)
        given = click.get_current_context().params
        if asking.somebody_watches() and not any(given.get(name) for name in AS_DATA):
            from sleepnoise.wording.what_next import steps_after

            for step in steps_after(path, given):
                click.echo(f"Next: {step}", err=True)
        return status

    return called


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

    New here? 'sleepnoise start' asks what you have, says what it is good for, and sets up the
    first assessment.
    """


def main() -> None:
    """Run the command line."""
    _hear_interrupts(signal.default_int_handler)
    sys.unraisablehook = _raise_again
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    _make_printing_safe()
    try:
        app(prog_name="sleepnoise")
    except OSError as error:
        # Help, or the last complaint itself, found no room where it is printed.
        with suppress(OSError):
            sys.stderr.write(f"Cannot go on: {error.strerror or error}.\n")
        sys.exit(CANNOT)


def _make_printing_safe() -> None:
    """Let what is printed go nowhere if whoever started this closed the place for it.

    Otherwise the first file that is opened would take that place, and get what is printed.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            handle = os.open(os.devnull, os.O_RDWR)
            if handle != number:
                os.dup2(handle, number)
            setattr(sys, name, open(number, "r" if number == 0 else "w", encoding="utf-8"))  # noqa: PTH123, SIM115
    for stream in (sys.stdout, sys.stderr):
        # Where no locale is set, a name from elsewhere is still shown, if by its numbers.
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _raise_again(lost: Any) -> None:
    """Interrupt once more when an interrupt fell where nothing can be raised, and would go unheard."""
    if issubclass(lost.exc_type, KeyboardInterrupt):
        # Somewhat later: nothing can be raised from here either.
        again = Timer(AGAIN_S, _interrupt_main)
        again.daemon = True
        again.start()
    else:
        sys.__unraisablehook__(lost)


def _interrupt_main() -> None:
    if hasattr(signal, "pthread_kill"):
        # A signal proper also ends a wait.
        signal.pthread_kill(main_thread().ident or 0, signal.SIGINT)
    else:
        interrupt_main()


def _hear_interrupts(how: Any) -> None:
    # A program that was started in the background does not hear them, and stays so.
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN and current_thread() is main_thread():
        signal.signal(signal.SIGINT, how)


def _end(number: int, _frame: FrameType | None) -> None:
    """Leave by way of every clean-up, as an interrupt does, when the machine asks to end."""
    signal.signal(number, signal.SIG_IGN)
    sys.exit(128 + number)
