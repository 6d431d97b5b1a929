"""The commands ``dossier verify``, ``export`` and ``import``."""

from pathlib import Path

import click

from sleepnoise.cli.dossier_add import FOLDER
from sleepnoise.cli.dossier_results import FAILED, JSON, print_document
from sleepnoise.cli.options import FILE


@click.command("verify")
@FOLDER
@click.option("--again", is_flag=True, help="Work every result out again and compare every number.")
@click.option(
    "--sounds-in", type=FILE, metavar="FOLDER", help="Look here for recordings that are not where they were."
)
@JSON
def verify(folder: Path, again: bool, sounds_in: Path | None, as_json: bool) -> int:
    """Check that every file is what was put there; status 1 if not."""
    from sleepnoise.casework.verifying import verify_dossier
    from sleepnoise.report.folder import write_assessment

    found = verify_dossier(folder, again=write_assessment if again else None, sounds_in=sounds_in)
    if as_json:
        print_document({"sound": found.sound, "verification": found})
    else:
        from sleepnoise.screens.dossier_status import show_verification

        show_verification(found)
    return 0 if found.sound else FAILED


@click.command("export")
@FOLDER
@click.argument("out", type=FILE, metavar="FILE.zip")
def export(folder: Path, out: Path) -> None:
    """Write DOSSIER into one archive; the same dossier gives the same bytes.

    Recordings that lie outside the dossier are not in it; their SHA-256 is.
    """
    from sleepnoise.casework.archive import export_dossier
    from sleepnoise.screens.terminal import show_text

    mark = export_dossier(folder, out)
    show_text(f"Wrote {out}, {mark.size_bytes} bytes, SHA-256 {mark.sha256}")


@click.command("import")
@click.argument("archive", type=FILE, metavar="FILE.zip")
@click.argument("folder", type=FILE)
def unpack(archive: Path, folder: Path) -> None:
    """Unpack an archive that 'export' wrote into FOLDER, which is made."""
    from sleepnoise.casework.archive import import_dossier
    from sleepnoise.screens.terminal import show_text

    show_text(f"{folder}: {import_dossier(archive, folder)} files, each as it was exported.")
