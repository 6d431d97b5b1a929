"""Talk from next door in 80 columns."""

import math

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.trials.talk_study import TalkStudy
from sleepnoise.wording.hearing_words import SPEECH_SAID, privacy_sentence
from sleepnoise.wording.rounding import DOUBTS, level_text, signed_text


def show_talk(study: TalkStudy) -> None:
    """Print what gets across of somebody's talk on standard output."""
    screen = Screen()
    doubt = DOUBTS.get(study.through.source.how_known, "")
    title = f"{study.effort.capitalize()} talk behind: {study.through.title}{f' ({doubt})' if doubt else ''}"
    screen.print(Text(plain(title), style="bold"))
    show_paragraphs(
        screen,
        (
            Text(plain(f"Over {beside}: {privacy_sentence(found)}"))
            for beside, found in study.findings.items()
        ),
    )
    screen.print()
    screen.print(_table(study))
    heading(screen, f"Quietest {study.shape} masker")
    show_paragraphs(
        screen, (Text(plain(needed_text(study, target, dba))) for target, dba in study.needed_dba.items())
    )
    heading(screen, "What to know of it")
    show_paragraphs(screen, (Text(plain(each)) for each in (*study.remarks, SPEECH_SAID)))


def needed_text(study: TalkStudy, target: str, level_dba: float) -> str:
    """Return in a sentence how loud a masker must be for a target."""
    if math.isnan(level_dba) or level_dba == math.inf:
        return (
            f"For the talk to be {target}: none up to {study.cap_dba:g} dB(A) will do. Keep more of it out."
        )
    if level_dba == -math.inf:
        return f"For the talk to be {target}: no masker is needed."
    return f"For the talk to be {target}: {level_text(level_dba)} dB(A) at the pillow."


def _table(study: TalkStudy) -> ScreenTable:
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Beside it", overflow="fold")
    for head in ("Index (SII)", "Peaks over limit, dB"):
        table.add_column(head, justify="right", no_wrap=True)
    for beside, found in study.findings.items():
        index = "not known" if math.isnan(found.sii) else level_text(found.sii, 2)
        table.add_row(Text(plain(beside)), index, signed_text(found.peak_margin_db))
    return table
