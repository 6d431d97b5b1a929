"""The commands ``dossier add-night``, ``add-door-test``, ``add-words``, ``add-file`` and ``accept``."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

KNOWN, SOUND, GAIN = "What is known of the night", "Recording", "Calibration (without one: the dossier's)"

NOT_CALIBRATED = (
    "No calibration: this night has none of its own and the dossier has none, so its levels will be relative "
    "and give no verdict. Add one with 'sleepnoise dossier add-file {folder} calibration FILE.toml'; "
    "'sleepnoise guide calibrate' says how it is made."
)
"""Said of a night whose levels nobody will be able to judge."""

FOLDER = click.argument("folder", type=FILE, metavar="DOSSIER")


@click.command("add-night", cls=Grouped)
@FOLDER
@click.argument("recording", type=FILE, nargs=-1, required=True)
@option(KNOWN, "--windows", click.Choice(["open", "tilted", "closed"]), None, "How the windows stood.")
@option(KNOWN, "--day", str, "TEXT", "What kind of day it was, if that matters: such as 'holiday'.")
@option(KNOWN, "--note", str, "TEXT", "Whatever else is to be remembered.")
@option(SOUND, "--start", str, "TIME", "When the recording began, local time. [default: from the file]")
@option(
    SOUND, "--clock", str, "SHOWN=TRUE", "What its clock showed at a true time. [repeatable]", multiple=True
)
@option(SOUND, "--channel", int, "N", "Which channel holds the microphone. [default: 1]")
@option(SOUND, "--copy", bool, None, "Copy the recordings into the dossier. [default: keep their SHA-256]")
@option(GAIN, "--tone", FILE, "FILE", "Recording of a calibrator.")
@option(GAIN, "--tone-after", FILE, "FILE", "Another one, made after the night.")
@option(GAIN, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(GAIN, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(GAIN, "--full-scale-level", float, "DB", "Level, re 20 µPa, of a sine that just reaches full scale.")
def add_night(folder: Path, recording: tuple[Path, ...], copy: bool, **known: Any) -> None:
    """Add the night that RECORDING holds: a file, a folder, or the parts of one night."""
    from sleepnoise.casework import adding
    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.screens.terminal import show_note, show_text

    tones = [known.pop("tone"), known.pop("tone_after")]
    if tones[1] is not None and tones[0] is None:
        raise click.UsageError("--tone-after needs the tone before the night, --tone.")
    longer = {
        "tone_level": "tone_level_db",
        "tone_frequency": "tone_frequency_hz",
        "full_scale_level": "full_scale_level_db",
    }
    about = {longer.get(name, name): value for name, value in known.items() if value not in (None, ())}
    if "clock" in about:
        about["clock"] = list(about["clock"])
    name = adding.add_night(
        folder,
        recording,
        about,
        datetime.now(UTC),
        tones=[tone for tone in tones if tone is not None],
        copy=copy,
    )
    show_text(f"Added the night of {name}. Next: sleepnoise dossier assess {folder}")
    if not read_dossier(folder).calibrated(name):
        show_note(NOT_CALIBRATED.format(folder=folder))


@click.command("add-door-test")
@FOLDER
@click.argument("file", type=FILE, metavar="FILE.toml")
@click.option("--name", metavar="NAME", default="", help="What to call it.  [default: as the file]")
def add_door_test(folder: Path, file: Path, name: str) -> None:
    """Add a door test with its recordings; FILE.toml is as for 'door-test'."""
    from sleepnoise.casework import adding
    from sleepnoise.screens.terminal import show_text

    show_text(f"Added the door test {adding.add_door_test(folder, file, datetime.now(UTC), name)}.")


@click.command("add-words")
@FOLDER
@click.argument("night")
@click.option("--labels", type=FILE, metavar="FILE", help="CSV: what sounds are, and whose, as for 'assess'.")
@click.option("--diary", type=FILE, metavar="FILE", help="A resident's noise diary, as for 'assess'.")
def add_words(folder: Path, night: str, labels: Path | None, diary: Path | None) -> None:
    """Add labels or a diary to the NIGHT of an evening, such as 2026-02-10."""
    if labels is None and diary is None:
        raise click.UsageError("Give --labels or --diary.")
    from sleepnoise.casework import adding
    from sleepnoise.screens.terminal import show_text

    adding.add_words(folder, night, datetime.now(UTC), labels=labels, diary=diary)
    show_text(f"Added words to the night of {night}; assess it again.")


@click.command("add-file")
@FOLDER
@click.argument("kind", type=click.Choice(["room", "calibration", "plan", "proof", "report"]))
@click.argument("file", type=FILE)
def add_file(folder: Path, kind: str, file: Path) -> None:
    """Add the room's file, a calibration, or keep a plan, a proof or a report."""
    from sleepnoise.casework import adding
    from sleepnoise.screens.terminal import show_text

    kept = adding.add_file(folder, kind, file, datetime.now(UTC))
    show_text(f"Kept {kept}.")


@click.command("accept")
@FOLDER
@click.argument("why")
def accept(folder: Path, why: str) -> None:
    """Write into the journal that files were changed by hand, and WHY, in your own words."""
    from sleepnoise.casework import adding
    from sleepnoise.screens.terminal import show_text

    changed = adding.accept_changes(folder, datetime.now(UTC), why)
    show_text(f"Accepted: {', '.join(changed)}." if changed else "Nothing was changed by hand.")


@click.command("upgrade")
@FOLDER
def upgrade(folder: Path) -> None:
    """Bring the files of an earlier version up to date; the earlier ones stay in earlier/."""
    from sleepnoise.casework import adding
    from sleepnoise.screens.terminal import show_text

    changed = adding.upgrade_dossier(folder, datetime.now(UTC))
    show_text(f"Brought up to date: {', '.join(changed)}." if changed else "Everything is up to date.")
