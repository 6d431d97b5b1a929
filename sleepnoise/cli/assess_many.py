"""The command ``assess-many``: many nights at once, here or on a cluster."""

import os
from pathlib import Path
from typing import Any

import click

from sleepnoise.cli.options import FILE, Grouped, option

FAILED = 1
"""Exit status when a night could not be assessed. Chosen: 2 is usage or input; here the rest is done."""

RESULT, WORK, NIGHT = "Result", "Who does the work", "What holds for every night (a list may say otherwise)"


@click.command("assess-many", cls=Grouped)
@click.argument("nights", nargs=-1, required=True)
@option(RESULT, "--out", FILE, "FOLDER", "Folder for the results. What is finished there is not done again.")
@option(WORK, "--workers", int, "N", "Nights heard at once on this machine. [default: all processors]")
@option(WORK, "--memory", float, "MB", "Most memory of each worker; a night that needs more fails (Linux).")
@option(
    WORK, "--cluster", str, "ADDRESS", "Instead: a Dask cluster that sees the same files (extra 'cluster')."
)
@option(NIGHT, "--zone", str, "NAME", "Time zone of the place, such as Europe/Vienna.")
@option(NIGHT, "--window", str, "FROM-TO", "Local clock hours that count as night. [default: 23:00-07:00]")
@option(NIGHT, "--channel", int, "N", "Which channel holds the microphone. [default: 1]")
@option(NIGHT, "--calibration", FILE, "FILE", "A calibration kept by 'calibrate'.")
@option(NIGHT, "--tone", FILE, "FILE", "Recording of a calibrator, made with the same gain.")
@option(NIGHT, "--full-scale-level", float, "DB", "Level, re 20 µPa, of a sine that just reaches full scale.")
@option(
    NIGHT,
    "--guideline",
    str,
    "NAME",
    "Judge by this document, as in 'assess'. [repeatable] [default: international]",
    multiple=True,
)
def command(
    nights: tuple[str, ...],
    out: Path | None,
    workers: int | None,
    memory: float | None,
    cluster: str | None,
    **chosen: Any,
) -> int:
    """Assess many NIGHTS; run the same again to do what is left.

    NIGHTS are folders of bedrooms (each file or folder in one is a night), a folder that holds such
    folders, sound files, patterns in quotes, addresses such as s3://nights/flat-3, or lists: .csv with the
    columns bedroom and recording, and if wanted night, start, zone, clock, channel, window, calibration,
    tone, full_scale_level, labels, diary.
    """
    if out is None:
        raise click.UsageError("Say where the results go with --out FOLDER.")
    if cluster is not None and (workers is not None or memory is not None):
        raise click.UsageError("--cluster brings its own workers: leave out --workers and --memory.")
    from sleepnoise.portfolio.crews import cluster_crew, local_crew
    from sleepnoise.portfolio.gathering import gather
    from sleepnoise.portfolio.ledger import check_portfolio_folder
    from sleepnoise.portfolio.running import assess_nights
    from sleepnoise.report.folder import write_assessment
    from sleepnoise.screens.many_nights import nights_progress, show_found, show_outcomes

    tasks = gather(nights, _settings(chosen))
    check_portfolio_folder(out)
    crew = cluster_crew(cluster) if cluster else local_crew(workers or os.cpu_count() or 1, memory)
    counts: dict[str, int] = {}
    show_found(tasks)
    with nights_progress(len(tasks)) as done:
        for outcome in assess_nights(tasks, out, write_assessment, crew):
            counts[outcome.state] = counts.get(outcome.state, 0) + 1
            done(outcome)
    show_outcomes(counts, str(out))
    return FAILED if counts.get("failed") else 0


NAMES = {
    "full_scale_level": "full_scale_level_db",
    "guideline": "guidelines",
    "calibration": "calibration_file",
}
"""Settings whose name in code is longer than the option's."""


def _settings(chosen: dict[str, Any]) -> Any:
    from sleepnoise.assessing.record import AssessSettings

    given = {NAMES.get(name, name): value for name, value in chosen.items() if value not in (None, ())}
    # Workers may stand in another folder.
    files = ("calibration_file", "tone")
    return AssessSettings(
        **{name: value.resolve() if name in files else value for name, value in given.items()}
    )
