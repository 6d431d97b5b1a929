"""The command ``speech-privacy``: whether talk from next door is understood, or heard."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE

if TYPE_CHECKING:
    from sleepnoise.hearing.speech import Effort


@click.command("speech-privacy")
@click.argument("night", type=FILE, metavar="FOLDER")
@click.option("--through", required=True, metavar="KEY", help="Element, see 'profiles show doors'.")
@click.option(
    "--effort",
    type=click.Choice(["normal", "raised", "loud", "shout"]),
    default="raised",
    show_default=True,
    help="How loud the talk is.",
)
@click.option("--masker", default="pink", show_default=True, metavar="NAME", help="Shape of a masker.")
@click.option("--level", type=float, metavar="DB", help="Look at that masker at this level, dB(A).")
@click.option("--cap", type=float, default=40.0, show_default=True, metavar="DB", help="Loudest one, dB(A).")
@click.option("--age", type=float, metavar="YEARS", help="Of the listener. [default: a young adult]")
@click.option("--json", is_flag=True, help="Print everything, unrounded, as JSON.")
def command(
    night: Path,
    through: str,
    effort: "Effort",
    masker: str,
    level: float | None,
    cap: float,
    age: float | None,
    json: bool,
) -> None:
    """Tell whether talk next door is understood or heard, over the background of an assessed night.

    FOLDER is what 'assess' wrote. The index is that of ANSI S3.5.
    """
    from sleepnoise.hearing.ageing import Listener
    from sleepnoise.trials.talk_study import study_talk

    listener = None if age is None else Listener(age_years=age)
    study = study_talk(
        night, through, effort=effort, shape=masker, level_dba=level, cap_dba=cap, listener=listener
    )
    if json:
        from sleepnoise.evidence.plain import document_text, plain_value

        sys.stdout.buffer.write(document_text(plain_value(study)).encode())
        return
    from sleepnoise.screens.talk_sheet import show_talk

    show_talk(study)
