"""A door test as a ladder, in 80 columns: what each step gained, and what all of them did together."""

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.dossier.kept_door_test import KeptDoorTest, door_test_from
from sleepnoise.screens.terminal import Screen, heading, plain
from sleepnoise.trials.door_test import CAUTIONS, DoorTestResult
from sleepnoise.wording.door_words import (
    band_table,
    door_sentences,
    ladder_table,
    reading_table,
    scale_sentences,
    shares_sentence,
)
from sleepnoise.wording.tables import Table

STEPS_ABREAST = 8
"""Steps side by side in the table of bands. Chosen: they fit 80 columns."""


def show_door_test(result: DoorTestResult, *, bands: bool) -> None:
    """Print a door test on standard output, with every band if asked to."""
    screen, test = Screen(), door_test_from(door_test_document(result), result.title)
    screen.print(Text(plain(test.title), style="bold"))
    for sentence in door_sentences(test):
        screen.print(Text(plain(sentence)))
    screen.print()
    screen.print(_shown(ladder_table(test)))
    screen.print()
    screen.print(Text(plain(shares_sentence(test))))
    heading(screen, "What was read")
    screen.print(_shown(reading_table(test)))
    for sentence in (*scale_sentences(test), *test.remarks):
        screen.print(Text(plain(sentence)))
    if bands:
        _show_bands(screen, test)
    heading(screen, "Cautions")
    for caution in CAUTIONS:
        screen.print(Text(f"– {caution}", style="dim"))


def _shown(table: Table) -> ScreenTable:
    """Return a table for the screen, without its title."""
    shown = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for column in table.columns:
        shown.add_column(
            column.text,
            justify="right" if column.number else "left",
            overflow="fold",
            no_wrap=column.number,
        )
    for row in table.rows:
        shown.add_row(*(Text(plain(cell)) for cell in row))
    return shown


def _show_bands(screen: Screen, test: KeptDoorTest) -> None:
    if not test.nominal_hz:
        screen.print("There are no bands that every reading has.")
        return
    for first in range(1, len(test.steps), STEPS_ABREAST):
        table = band_table(test, range(first, min(first + STEPS_ABREAST, len(test.steps))))
        heading(screen, table.title)
        screen.print(_shown(table))
