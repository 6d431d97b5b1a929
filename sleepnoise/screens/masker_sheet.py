"""A designed masker, and its check at the pillow, in 80 columns."""

from collections.abc import Iterable

from rich.text import Text

from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs, show_points, show_table
from sleepnoise.trials.masker_check import MaskerCheck
from sleepnoise.trials.masker_study import MaskerStudy
from sleepnoise.wording.masking_words import (
    GENERIC_ALARM,
    LEVEL_SETTING,
    NO_ALL_CLEAR,
    alarm_tables,
    answers,
    check_answers,
    check_table,
    night_sentences,
    rule_sentences,
    shape_table,
    spectrum_columns,
    uncovered_table,
)


def show_masker(study: MaskerStudy, written: Iterable[str]) -> None:
    """Print a designed masker on standard output, and what was written where."""
    screen = Screen()
    screen.print(Text(plain(f"Masker for {study.night}, behind: {study.step.title}"), style="bold"))
    _sentences(screen, answers(study))
    if study.design.level_dba > float("-inf"):
        show_table(screen, shape_table(study.design), gap=1)
        show_table(screen, spectrum_columns(study.design), gap=1)
    uncovered = uncovered_table(study)
    if uncovered.rows:
        show_table(screen, uncovered, gap=1)
    heading(screen, "What it does to the night")
    _sentences(screen, night_sentences(study))
    if study.alarms:
        for table in alarm_tables(study.alarms):
            show_table(screen, table, gap=1)
        _sentences(screen, (*rule_sentences(study.alarms[0]), GENERIC_ALARM, NO_ALL_CLEAR))
    if study.remarks:
        heading(screen, "Remarks")
        show_points(screen, study.remarks)
    written = list(written)
    if written:
        heading(screen, "Setting the level")
        _sentences(screen, written)
        show_paragraphs(screen, map(Text, LEVEL_SETTING))
    heading(screen, "Cautions")
    show_paragraphs(screen, (Text(caution, style="dim") for caution in study.cautions))


def show_masker_check(check: MaskerCheck) -> None:
    """Print what a recording at the pillow says of a masker."""
    screen = Screen()
    _sentences(screen, check_answers(check))
    show_table(screen, check_table(check), gap=1)
    if check.remarks:
        heading(screen, "Remarks")
        show_points(screen, check.remarks)


def _sentences(screen: Screen, sentences: Iterable[str]) -> None:
    for sentence in sentences:
        screen.print(Text(plain(sentence)))
