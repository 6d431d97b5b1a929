"""The folder of one assessment: whole or not there at all.

A folder that an earlier assessment wrote may be replaced; one that holds anything else never is.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.level_table import write_level_table
from sleepnoise.dossier.listings import write_events, write_intervals
from sleepnoise.errors import OutputError
from sleepnoise.evidence.placing import check_writable, clear_abandoned, placed
from sleepnoise.evidence.plain import document_text
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.recognition.known_sounds import known_sounds_document

MANIFEST = "manifest.json"
"""Names every other file of the folder, so a folder that holds it can be told from any other."""

MANIFEST_SCHEMA = "sleepnoise/manifest"
"""What the manifest says of itself."""

MANIFEST_VERSION = 1
"""Version of the manifest's layout. Chosen: rises whenever a reader would have to change."""


def check_place(out: Path, *, force: bool) -> None:
    """Refuse a place that results could not be written to; leave nothing there.

    Parameters
    ----------
    out : Path
        Folder that is to hold the results.
    force : bool
        Whether an earlier assessment there may be replaced.

    Raises
    ------
    OutputError
        If something else is there, an assessment is there and *force* is false, or nothing
        can be written beside it.
    """
    out = out.resolve()
    clear_abandoned(out.parent)
    if out.exists():
        _check_replaceable(out, force=force)
    if not out.parent.is_dir():
        raise OutputError(
            f"{out}: the folder that is to hold it does not exist.",
            remedy=f"Make {out.parent} first, or choose another --out.",
        )
    check_writable(out)


@contextmanager
def fresh_folder(out: Path, *, force: bool) -> Iterator[Path]:
    """Give an empty folder to write into; it takes the place of *out* if nothing went wrong.

    Parameters
    ----------
    out : Path
    force : bool
        Whether an earlier assessment there may be replaced.

    Yields
    ------
    Path

    Raises
    ------
    OutputError
        As :func:`check_place`, or if writing fails. Nothing is then left behind, and an
        earlier assessment stays as it was.
    """
    check_place(out, force=force)
    with placed(out, replace=force) as (unfinished,):
        unfinished.mkdir()
        yield unfinished


def write_results(record: NightRecord, folder: Path) -> None:
    """Write the data files of an assessment, all but the page and the manifest."""
    text = document_text(assessment_document(record))
    (folder / "assessment.json").write_text(text, encoding="utf-8", newline="\n")
    write_level_table(record.history, folder / "levels.parquet")
    write_intervals(record, folder / "intervals.csv")
    write_events(record, folder / "events.csv")
    known = document_text(known_sounds_document(record.sounds.recognised.known))
    (folder / "known_sounds.json").write_text(known, encoding="utf-8", newline="\n")


def write_manifest(record: NightRecord, folder: Path) -> None:
    """Write SHA-256 of every input and of every file now in the folder, and the versions."""
    outputs = [file_mark(path, "output") for path in sorted(folder.iterdir())]
    manifest = {
        "schema": {"name": MANIFEST_SCHEMA, "version": MANIFEST_VERSION},
        "inputs": [asdict(mark) for mark in record.provenance.inputs],
        "outputs": [asdict(mark) for mark in outputs],
        "versions": record.provenance.versions,
    }
    (folder / MANIFEST).write_text(document_text(manifest), encoding="utf-8", newline="\n")


def _check_replaceable(out: Path, *, force: bool) -> None:
    if not force:
        raise OutputError(
            f"{out}: is there already, and nothing is overwritten unasked.",
            remedy="Choose another --out, or add --force to replace an earlier assessment.",
        )
    foreign = _foreign_files(out)
    if foreign:
        raise OutputError(
            f"{out}: only a folder that an assessment wrote is replaced, this one holds {foreign[0]!r}.",
            remedy="Choose another --out, or move what is there out of the way.",
        )


def _foreign_files(out: Path) -> list[str]:
    """Return what is there that no assessment wrote, by its own manifest."""
    if not out.is_dir():
        return [out.name]
    own = _names_in_manifest(out / MANIFEST)
    # Whoever wrote the manifest may have named a folder in it; an assessment has none.
    return sorted(
        path.name for path in out.iterdir() if path.name not in own or path.is_symlink() or not path.is_file()
    )


def _names_in_manifest(path: Path) -> set[str]:
    try:
        if not path.is_file():
            return set()
        manifest = json.loads(path.read_text(encoding="utf-8"))
        if manifest["schema"]["name"] != MANIFEST_SCHEMA:
            return set()
        return {MANIFEST, *(output["name"] for output in manifest["outputs"])}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return set()
