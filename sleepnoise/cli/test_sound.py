"""The command ``test-sound``: steady noise or sweeps for a loudspeaker, and how to play them safely."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE

if TYPE_CHECKING:
    from sleepnoise.trials.test_sound import Kind

NOISE_S, SWEEP_S = 60.0, 10.0
"""Lengths unless told otherwise, s. Chosen: repeats without tiring the ear; long enough for a living room."""


@click.command("test-sound")
@click.argument("kind", type=click.Choice(["pink", "white", "sweep"]))
@click.argument("file", type=FILE, metavar="FILE.wav")
@click.option("--seconds", type=float, metavar="S", help="Length. [default: 60; 10 for one sweep]")
@click.option("--sweeps", type=int, default=3, show_default=True, metavar="N", help="How many sweeps.")
@click.option(
    "--from", "low", type=float, default=40.0, show_default=True, metavar="HZ", help="Lowest frequency."
)
@click.option(
    "--to", "high", type=float, default=12_500.0, show_default=True, metavar="HZ", help="Highest frequency."
)
@click.option("--rate", type=int, default=48_000, show_default=True, metavar="HZ", help="Sampling rate.")
@click.option(
    "--seed", type=int, default=1, show_default=True, metavar="N", help="Which of many such noises."
)
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def command(
    kind: "Kind",
    file: Path,
    seconds: float | None,
    sweeps: int,
    low: float,
    high: float,
    rate: int,
    seed: int,
    force: bool,
) -> None:
    """Write steady noise for a door test, or sweeps for reverberation, as FILE.wav.

    Pink noise suits a door test: every octave gets the same power. Its end joins its beginning, so
    let the player repeat it. How to play it without harm is printed.
    """
    from sleepnoise.screens import terminal
    from sleepnoise.trials.test_sound import INSTRUCTIONS, TestSound, write_test_sound

    sound = TestSound(
        kind=kind,
        seconds=(SWEEP_S if kind == "sweep" else NOISE_S) if seconds is None else seconds,
        sweeps=sweeps,
        band_hz=(low, high),
        sample_rate_hz=rate,
        seed=seed,
    )
    with terminal.progress(file.name, "Writing") as on_progress:
        length_s = write_test_sound(sound, file, force=force, on_progress=on_progress)
    terminal.show_text(f"Written to {file}: {length_s:g} s, largest sample 6 dB below full scale.")
    terminal.show_lines(list(INSTRUCTIONS))
