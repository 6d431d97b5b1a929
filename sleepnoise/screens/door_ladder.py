"""A door test as a ladder, in 80 columns: what each step gained, and what all of them did together."""

from rich.text import Text

from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.dossier.kept_door_test import KeptDoorTest, door_test_from
from sleepnoise.screens.terminal import Screen, drawn_table, heading, plain
from sleepnoise.trials.door_test import CAUTIONS, DoorTestResult
from sleepnoise.wording.door_words import (
    band_table,
    door_sentences,
    ladder_table,
    reading_table,
    scale_sentences,
    shares_sentence,
)

STEPS_ABREAST = 8
"""Steps side by side in the table of bands. Chosen: they fit 80 columns."""


def show_door_test(result: DoorTestResult, *, bands: bool) -> None:
    """Print a door test on standard output, with every band if asked to."""
    screen, test = Screen(), door_test_from(door_test_document(result), result.title)
    screen.print(Text(plain(test.title), style="bold"))
    for sentence in door_sentences(test):
        screen.print(Text(plain(sentence)))
    screen.print()
    screen.print(drawn_table(ladder_table(test)))
    screen.print()
    screen.print(Text(plain(shares_sentence(test))))
    heading(screen, "What was read")
    screen.print(drawn_table(reading_table(test)))
    for sentence in (*scale_sentences(test), *test.remarks):
        screen.print(Text(plain(sentence)))
    if bands:
        _show_bands(screen, test)
    heading(screen, "Cautions")
    for caution in CAUTIONS:
        screen.print(Text(f"– {caution}", style="dim"))


def _show_bands(screen: Screen, test: KeptDoorTest) -> None:
    if not test.nominal_hz:
        screen.print("There are no bands that every reading has.")
        return
    for first in range(1, len(test.steps), STEPS_ABREAST):
        table = band_table(test, range(first, min(first + STEPS_ABREAST, len(test.steps))))
        heading(screen, table.title)
        screen.print(drawn_table(table))
