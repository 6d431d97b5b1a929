"""The program: its commands, and what becomes of an error.

A command's module is imported only when the command is asked for, and its rooms only inside the
command, so that help is instant.
"""

import os
import signal
import sys
from importlib import import_module
from types import FrameType
from typing import Any

import click

from sleepnoise import __version__
from sleepnoise.errors import SleepNoiseError

COMMANDS = {
    "check-recorder": "check_recorder",
    "calibrate": "calibrate",
    "assess": "assess",
    "assess-log": "assess_log",
    "assess-many": "assess_many",
    "survey": "survey",
    "two-microphones": "two_microphones",
    "test-sound": "test_sound",
    "door-test": "door_test",
    "reverberation": "reverberation",
    "insulation": "insulation",
    "paths": "paths",
    "plan": "plan",
    "hear-plan": "hear_plan",
    "check-plan": "check_plan",
    "design-masker": "design_masker",
    "check-masker": "check_masker",
    "speech-privacy": "speech_privacy",
    "dossier": "dossier",
    "demo": "demo",
    "profiles": "profiles",
}
"""Commands, in the order of the work, and the modules that hold them."""

CANNOT, INTERRUPTED = 2, 130
"""Exit statuses: usage or input; interrupted. Chosen: 130 is what shells report for an interrupted command
(common practice, no source)."""


class Program(click.Group):
    """The program: what a command returns is its exit status, and errors become complaints."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of a command and return what it holds."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"sleepnoise.cli.{COMMANDS[cmd_name]}").command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; no traceback for anything that a user can cause."""
        try:
            status = super().invoke(ctx)
            sys.stdout.flush()
        except SleepNoiseError as error:
            from sleepnoise.screens.terminal import show_error

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


def main() -> None:
    """Run the command line."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    app(prog_name="sleepnoise")


def _end(number: int, _frame: FrameType | None) -> None:
    """Leave by way of every clean-up, as an interrupt does, when the machine asks to end."""
    sys.exit(128 + number)
