"""The command ``door-test``: what each change at a door took off, step by step."""

import os
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from sleepnoise.profiles.door_test import DoorTestProfile

READ, SCALE, RESULT = "Readings", "Scale (gains need none)", "Result"


@click.command("door-test", cls=Grouped)
@click.argument("steps", nargs=-1, required=True, metavar="STEP...")
@option(
    READ, "--background", str, "WHAT", "Recording or dB(A) with the noise off. [repeatable]", multiple=True
)
@option(
    READ, "--source", str, "WHAT", "Reading beside the noise, one for each step. [repeatable]", multiple=True
)
@option(READ, "--channel", int, "N", "Channel of the recordings. [default: 1]")
@option(
    READ, "--source-channel", int, "N", "Channel that recorded beside the noise, if they have both sides."
)
@option(READ, "--octaves", bool, None, "Octaves instead of third octaves.")
@option(SCALE, "--tone", FILE, "FILE", "Recording of a calibrator.")
@option(SCALE, "--tone-level", float, "DB", "Level of the calibrator. [default: 94]")
@option(SCALE, "--tone-frequency", float, "HZ", "Its frequency. [default: 1000]")
@option(SCALE, "--full-scale-level", float, "DB", "Instead: level of a sine that just reaches full scale.")
@option(
    RESULT,
    "--since",
    int,
    "N",
    "Step from which totals count. [default: 2, the closed door, of three or more]",
)
@option(RESULT, "--bands", bool, None, "Print the gain in every band, too.")
@option(RESULT, "--page", FILE, "FILE.html", "Also write it as one page with figures.")
@option(RESULT, "--force", bool, None, "Replace a file of that name.")
@option(
    RESULT,
    "--for-room",
    str,
    "PART",
    "Print what a room file needs of it, to be put there: PART is the door's key in that file.",
)
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
def command(
    steps: tuple[str, ...],
    bands: bool,
    page: Path | None,
    force: bool,
    json: bool,
    for_room: str | None,
    **chosen: Any,
) -> None:
    """Compare steady noise behind a door, one STEP after another: open, closed, sealed ...

    Each STEP is a recording, a folder of repeats, or TITLE=WHAT with a recording or a level in
    dB(A); a title given again is a repeat. Or give one door-test file, FILE.toml, alone.
    """
    from sleepnoise.dossier.door_test_document import door_test_document, room_file_block
    from sleepnoise.dossier.kept_door_test import door_test_from
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.screens import terminal
    from sleepnoise.trials.door_test import study_door_test

    if page is not None:
        check_file_place(page, force=force)
    profile, folder = _asked(steps, {key: value for key, value in chosen.items() if value})
    with terminal.progress(profile.title, "Listening to") as on_progress:
        result = study_door_test(profile, folder, on_progress)
    if page is not None:
        from sleepnoise.report.finding_pages import door_test_page

        test = door_test_from(door_test_document(result), result.title)
        write_file(page, door_test_page(test), force=force)
    if for_room is not None:
        sys.stdout.write(room_file_block(result, for_room))
        return
    if json:
        from sleepnoise.evidence.plain import document_text

        sys.stdout.buffer.write(document_text(door_test_document(result)).encode())
        return
    from sleepnoise.screens.door_ladder import show_door_test

    show_door_test(result, bands=bands)


def _asked(steps: Sequence[str], chosen: dict[str, Any]) -> "tuple[DoorTestProfile, Path]":
    """Return the door test that was asked for, and the folder its sound files are named from."""
    from sleepnoise.profiles.files import door_test_from, read_door_test

    if not any(word.lower().endswith(".toml") for word in steps):
        return door_test_from(_table(steps, chosen)), Path()
    if len(steps) > 1 or chosen:
        raise SettingsError(
            "door test: a door-test file says everything itself and goes with no other step or option but "
            "--bands, --page, --for-room, --force and --json.",
            remedy="Give the file alone, and write the rest into it.",
        )
    return read_door_test(steps[0]), Path(steps[0]).parent


def _table(steps: Sequence[str], chosen: dict[str, Any]) -> dict[str, object]:
    """Return what a file would say that asks for the same."""
    by_title: dict[str, list[str]] = {}
    for word in steps:
        title, what = _titled(word)
        by_title.setdefault(title, []).extend(_repeats(what))
    entries: list[dict[str, object]] = [
        {"title": title, **_readings(words)} for title, words in by_title.items()
    ]
    _add_sources(entries, chosen.get("source", ()))
    gain = {"tone_level_db": "tone_level", "tone_frequency_hz": "tone_frequency"}
    gain |= {"tone": "tone", "full_scale_level_db": "full_scale_level"}
    table: dict[str, object] = {
        "kind": "door-test",
        "title": "Door test",
        "bands": "octave" if chosen.get("octaves") else "third-octave",
        "calibration": {key: _plain(chosen[name]) for key, name in gain.items() if name in chosen},
        "step": entries,
    }
    table |= {key: chosen[key] for key in ("since", "channel", "source_channel") if key in chosen}
    if "background" in chosen:
        table["background"] = _readings([each for what in chosen["background"] for each in _repeats(what)])
    return table


def _titled(word: str) -> tuple[str, str]:
    """Return title and reading; a file may have an equals sign in its name."""
    title, equals, what = word.partition("=")
    if not equals or os.path.exists(word):  # noqa: PTH110
        return Path(word).stem, word
    return title.strip(), what.strip()


def _repeats(what: str) -> list[str]:
    """Return the files of a folder of repeats, or what was given."""
    # Unlike those of a Path, these do not stumble over what is too long for a name.
    if not os.path.isdir(what):  # noqa: PTH112
        return [what]
    files = sorted(path for path in Path(what).iterdir() if path.is_file() and path.name[0] != ".")
    if not files:
        raise SettingsError(f"{what}: holds no recording.", remedy="Give a folder of repeats of one step.")
    return [str(path) for path in files]


def _readings(words: Iterable[str], side: str = "") -> dict[str, object]:
    """Return levels and recordings under their keys."""
    levels: list[float] = []
    recordings: list[str] = []
    for word in words:
        try:
            levels.append(float(word))
        except ValueError:
            recordings.append(word)
    found = {f"{side}recordings": recordings, f"{side}laeq": levels}
    return {key: values for key, values in found.items() if values}


def _add_sources(entries: list[dict[str, object]], sources: Sequence[str]) -> None:
    if not sources:
        return
    if len(sources) != len(entries):
        raise SettingsError(
            f"door test: there must be one reading beside the noise (--source) for each of {len(entries)} "
            f"steps, got {len(sources)}.",
            remedy="Give them in the order of the steps.",
        )
    for entry, what in zip(entries, sources, strict=True):
        entry.update(_readings(_repeats(what), "source_"))


def _plain(value: object) -> object:
    return str(value) if isinstance(value, Path) else value
