"""The whole folder of an assessment: data files, page and manifest, written in one step."""

from pathlib import Path

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.folder import fresh_folder, write_manifest, write_results
from sleepnoise.report.clips import ClipKind, event_clips
from sleepnoise.report.drawings import map_figure, spectra_figure, standalone, trace_figure
from sleepnoise.report.html import night_page
from sleepnoise.report.pdf import drawing_png, night_pdf
from sleepnoise.report.sections import Reader


def write_assessment(
    record: NightRecord,
    out: str | Path,
    *,
    force: bool = False,
    reader: Reader = "consultant",
    clips: ClipKind | None = None,
    paper: bool = False,
) -> None:
    """Write everything about one night into a folder, or nothing at all.

    Parameters
    ----------
    record : NightRecord
    out : str or Path
        Folder to make. Its parent must exist.
    force : bool, optional
        Replace an earlier assessment there.
    reader : Reader, optional
        Whom the page speaks to when it is opened, and the PDF throughout.
    clips : {"blurred", "full", "full-with-voices"}, optional
        Put sounds of the loudest events into the page. None unless asked for: a page that is
        handed on shall not hand on voices; what is like speech is blurred unless voices are named.
    paper : bool, optional
        Write report.pdf as well, and the drawings as SVG and PNG.

    Raises
    ------
    OutputError
        If the folder is there already, or cannot be written, or what sets PDF is not installed.
    RecordingError
        If clips are asked for and the recording can no longer be read.
    """
    sounds = event_clips(record, clips) if clips else None
    page = night_page(record, reader=reader, clips=sounds)
    sheets = night_pdf(record, reader=reader) if paper else None
    with fresh_folder(Path(out), force=force) as folder:
        write_results(record, folder)
        (folder / "report.html").write_text(page, encoding="utf-8", newline="\n")
        if sheets is not None:
            (folder / "report.pdf").write_bytes(sheets)
            _write_drawings(record, folder)
        write_manifest(record, folder)


def _write_drawings(record: NightRecord, folder: Path) -> None:
    figures = {
        "night": trace_figure(record),
        "spectra": spectra_figure(record),
        "third_octaves": map_figure(record),
    }
    for name, figure in figures.items():
        svg = standalone(figure)
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8", newline="\n")
        (folder / f"{name}.png").write_bytes(drawing_png(svg))
