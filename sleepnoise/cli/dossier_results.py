"""The commands ``dossier status``, ``assess``, ``compare`` and ``report``."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.assess import MOST_THREADS
from sleepnoise.cli.dossier_add import FOLDER
from sleepnoise.cli.options import FILE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sleepnoise.report.sections import Reader

FAILED = 1
"""Exit status when something that was asked for did not come about. Chosen: 2 is usage or input."""

PAGE = click.option("--page", type=FILE, metavar="FILE.html", help="Also write it as one page with figures.")
FORCE = click.option("--force", is_flag=True, help="Replace files of those names.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print everything, unrounded, as JSON.")


@click.command("status")
@FOLDER
@JSON
def status(folder: Path, as_json: bool) -> None:
    """Show what DOSSIER has and what is missing for a sound judgement."""
    from sleepnoise.casework.comparing import compare_nights
    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.casework.missing import points_of

    dossier = read_dossier(folder)
    points = points_of(dossier, compare_nights(dossier))
    if as_json:
        print_document({"dossier": dossier.about.title, "points": points})
        return
    from sleepnoise.screens.dossier_status import show_status

    show_status(dossier, points)


@click.command("assess")
@FOLDER
@click.option("--threads", type=click.IntRange(1), metavar="N", help="Threads; the result stays the same.")
def assess(folder: Path, threads: int | None) -> int:
    """Assess every night that has no result yet, or whose recording or settings have changed.

    A night that cannot be assessed does not stop the others. Earlier results stay.
    """
    import os

    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.casework.night_results import assess_night
    from sleepnoise.errors import SleepNoiseError
    from sleepnoise.report.folder import write_assessment
    from sleepnoise.screens import terminal

    dossier = read_dossier(folder)
    dossier.check_recorded()
    failed = 0
    for night in dossier.nights:
        try:
            with terminal.progress(night.name, "Listening to") as on_progress:
                done = assess_night(
                    folder,
                    night.name,
                    write=write_assessment,
                    now=lambda: datetime.now(UTC),
                    threads=threads or min(os.cpu_count() or 1, MOST_THREADS),
                    on_progress=on_progress,
                )
            terminal.show_text(f"{night.name}: {done.outcome}")
        except SleepNoiseError as error:
            failed += 1
            terminal.show_error(error)
    return FAILED if failed else 0


@click.command("plan", context_settings={"ignore_unknown_options": True})
@FOLDER
@click.argument("asked", nargs=-1, type=click.UNPROCESSED, metavar="[OPTION OF 'plan']...")
def plan(folder: Path, asked: tuple[str, ...]) -> None:
    """Plan isolation and masking from every assessed night, and keep the plan.

    What stands after DOSSIER goes to 'sleepnoise plan' as it is; its help tells what may be asked.
    """
    from tempfile import TemporaryDirectory

    from sleepnoise.casework.adding import add_file
    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.casework.night_results import current_results
    from sleepnoise.cli.plan import command as plan_command
    from sleepnoise.errors import SettingsError

    dossier = read_dossier(folder)
    dossier.check_recorded()
    if dossier.room is None:
        raise SettingsError(f"{folder}: has no room file.", remedy="Add it with 'dossier add-file'.")
    nights = map(str, current_results(dossier))
    with TemporaryDirectory() as scratch:
        out = Path(scratch) / f"plan-{len(dossier.papers('plan')) + 1}.json"
        told = [*nights, "--room", str(dossier.room), "--out", str(out), *asked]
        try:
            plan_command.main(told, prog_name="sleepnoise plan", standalone_mode=False)
        finally:
            # A reader who has seen enough of it does not undo it.
            if out.exists():
                add_file(folder, "plan", out, datetime.now(UTC))


@click.command("compare")
@FOLDER
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="First evening after a change: what did it do?",
)
@click.option(
    "--laeq", type=float, metavar="DB", help="LAeq to keep: does the mean of such nights lie above it?"
)
@PAGE
@FORCE
@JSON
def compare(
    folder: Path, since: datetime | None, laeq: float | None, page: Path | None, force: bool, as_json: bool
) -> None:
    """Compare nights: together, by day of the week, by how the windows stood, before and after a change."""
    from sleepnoise.casework.comparing import compare_nights, comparison_document
    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.evidence.placing import check_file_place, write_file

    if page is not None:
        check_file_place(page, force=force)
    compared = compare_nights(read_dossier(folder), None if since is None else since.date())
    if page is not None:
        from sleepnoise.report.finding_pages import nights_page

        write_file(page, nights_page(compared, laeq), force=force)
    if as_json:
        print_document(comparison_document(compared))
        return
    from sleepnoise.screens.dossier_status import show_compared

    show_compared(compared, laeq)


@click.command("report")
@FOLDER
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="As for 'compare'.")
@click.option("--out", type=FILE, metavar="FILE.json", help="Write it as a document, too.")
@PAGE
@click.option(
    "--reader",
    type=click.Choice(["resident", "landlord", "consultant"]),
    default="consultant",
    help="Whom the page speaks to when it is opened.  [default: consultant]",
)
@FORCE
def report(
    folder: Path, since: datetime | None, out: Path | None, page: Path | None, reader: "Reader", force: bool
) -> None:
    """Show the whole case from kept results: state, nights, comparisons, tests, plans, journal."""
    from sleepnoise.casework.case_document import case_document
    from sleepnoise.casework.comparing import compare_nights
    from sleepnoise.casework.dossier import read_dossier
    from sleepnoise.casework.missing import points_of
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.evidence.plain import document_text
    from sleepnoise.screens.dossier_status import show_case

    for place in filter(None, (out, page)):
        check_file_place(place, force=force)
    dossier = read_dossier(folder)
    compared = compare_nights(dossier, None if since is None else since.date())
    points = points_of(dossier, compared)
    if out is not None:
        write_file(out, document_text(case_document(dossier, points, compared)), force=force)
    if page is not None:
        from sleepnoise.report.case_page import case_page

        write_file(page, case_page(dossier, points, compared, reader=reader), force=force)
    show_case(dossier, points, compared)


def print_document(document: "Mapping[str, Any]") -> None:
    """Print a document, and nothing else, on standard output."""
    from sleepnoise.evidence.plain import document_text, plain_value

    sys.stdout.buffer.write(document_text(plain_value(document)).encode())
