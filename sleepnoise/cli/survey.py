"""The command ``survey``: many assessed bedrooms ranked, and what they hear in common."""

from pathlib import Path

import click

from sleepnoise.cli.options import FILE, Grouped, option

ASKED, RESULT = "What is asked", "Result"


@click.command("survey", cls=Grouped)
@click.argument("folders", type=FILE, nargs=-1, required=True, metavar="FOLDER...")
@option(
    ASKED,
    "--criterion",
    str,
    "ID",
    "Published value to rank by, as its id in a guideline file. [default: who1999_bedroom_laeq]",
)
@option(ASKED, "--plans", FILE, "FOLDER", "Plans, BEDROOM.json each, as 'plan --json' prints them.")
@option(
    ASKED,
    "--neighbours",
    FILE,
    "FILE",
    "CSV: two bedrooms in each line that lie beside each other. [default: all pairs]",
)
@option(ASKED, "--tolerance", float, "S", "How far apart a common sound may begin. [default: 5]")
@option(RESULT, "--csv", FILE, "FILE", "Write the ranking, unrounded.")
@option(RESULT, "--page", FILE, "FILE", "Write everything as one HTML page.")
@option(RESULT, "--tables", FILE, "NEW_FOLDER", "Keep the tables of everything as partitioned Parquet.")
@option(RESULT, "--force", bool, None, "Replace files that are there.")
def command(
    folders: tuple[Path, ...],
    criterion: str | None,
    plans: Path | None,
    neighbours: Path | None,
    tolerance: float | None,
    csv: Path | None,
    page: Path | None,
    tables: Path | None,
    force: bool,
) -> None:
    """Rank bedrooms by how far they exceed a value, and by what their plans gain; find sources they share.

    Each FOLDER is one that assess-many wrote, a dossier, or a folder of dossiers; the latest plan of a
    dossier counts. The tables behind it are partitioned Parquet: in FOLDER/tables for what assess-many
    wrote, and of everything together with --tables.
    """
    from sleepnoise.evidence.placing import check_file_place, placed_files
    from sleepnoise.portfolio.shared_sources import TOLERANCE_S
    from sleepnoise.portfolio.survey import DEFAULT_CRITERION, ranking_text, survey
    from sleepnoise.portfolio.tables import check_tables_place, keep_tables
    from sleepnoise.report.survey_page import survey_page
    from sleepnoise.screens.many_nights import show_survey

    if csv is not None and csv == page:
        raise click.UsageError("--csv and --page cannot be one file.")
    asked = {path: text for path, text in ((csv, ranking_text), (page, survey_page)) if path is not None}
    for path in asked:
        check_file_place(path, force=force)
    if tables is not None:
        check_tables_place(tables, force=force)
    found = survey(
        folders,
        criterion=criterion or DEFAULT_CRITERION,
        plans=plans,
        neighbours=neighbours,
        tolerance_s=TOLERANCE_S if tolerance is None else tolerance,
    )
    if tables is not None:
        keep_tables(found.tables, tables, force=force)
    with placed_files(*asked, force=force) as unfinished:
        for place, text in zip(unfinished, asked.values(), strict=True):
            place.write_bytes(text(found).encode())
    show_survey(found)
