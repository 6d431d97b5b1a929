"""The whole folder of an assessment: data files, page and manifest, written in one step."""

from pathlib import Path

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.folder import fresh_folder, write_manifest, write_results
from sleepnoise.report.html import night_page


def write_assessment(record: NightRecord, out: str | Path, *, force: bool = False) -> None:
    """Write everything about one night into a folder, or nothing at all.

    Parameters
    ----------
    record : NightRecord
    out : str or Path
        Folder to make. Its parent must exist.
    force : bool, optional
        Replace an earlier assessment there.

    Raises
    ------
    OutputError
        If the folder is there already, or cannot be written.
    """
    page = night_page(record)
    with fresh_folder(Path(out), force=force) as folder:
        write_results(record, folder)
        (folder / "report.html").write_text(page, encoding="utf-8", newline="\n")
        write_manifest(record, folder)
