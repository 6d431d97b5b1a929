"""The commands ``profiles list``, ``show`` and ``check``."""

from pathlib import Path

import click


@click.group("profiles")
def command() -> None:
    """Guidelines, isolation steps and maskers, each a file that names its sources."""


@command.command("list")
def list_profiles() -> None:
    """List every profile that comes with the program."""
    from sleepnoise.profiles.files import shipped_profiles
    from sleepnoise.screens import terminal

    terminal.show_lines(
        [(profile.name, f"{profile.title} ({profile.kind})") for profile in shipped_profiles()]
    )


@command.command("show")
@click.argument("name")
def show_profile(name: str) -> None:
    """Print the profile called NAME: its values, rules and sources."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.screens import terminal

    terminal.show_profile(read_profile(name))


@command.command("check")
@click.argument("file", type=click.Path(path_type=Path))
def check_profile(file: Path) -> None:
    """Check the profile in FILE and name every mistake with its key."""
    from sleepnoise.profiles.files import read_profile
    from sleepnoise.screens import terminal

    profile = read_profile(file)
    terminal.show_text(f"{file.name}: a valid {profile.kind} profile, {profile.title!r}.")
