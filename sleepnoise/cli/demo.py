"""The command ``demo``: the invented night, its calibration tone and its truth."""

from pathlib import Path

import click


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--hours",
    type=float,
    default=8.0,
    show_default=True,
    metavar="H",
    help="Length, up to 8, from 22:55 on; less than 0.125 begins at 04:05.",
)
@click.option(
    "--seed", type=int, default=1, show_default=True, metavar="N", help="Which of many such nights."
)
@click.option("--rate", type=int, default=48_000, show_default=True, metavar="HZ", help="Sampling rate.")
@click.option("--force", is_flag=True, help="Replace an earlier demo in that folder.")
def command(folder: Path, hours: float, seed: int, rate: int, force: bool) -> None:
    """Write an invented night, its calibration tone and its truth into FOLDER.

    Larch Court, flat 3, over a bakery's loading lane. Everything in it is invented.
    """
    from sleepnoise.demo.writing import write_demo
    from sleepnoise.screens import terminal

    with terminal.progress("the invented night", "Writing") as on_progress:
        night = write_demo(
            folder, hours=hours, seed=seed, sample_rate_hz=rate, force=force, on_progress=on_progress
        )
    terminal.show_text(f"Written to {folder}. Everything in it is invented. Assess it with:")
    out = folder.parent / f"{folder.name}-assessed"
    terminal.show_text(
        f"sleepnoise assess {night.recording} --tone {night.calibration_tone} "
        f"--zone {night.truth.zone} --out {out}"
    )
