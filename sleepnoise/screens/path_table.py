"""A studied room on one screen of 80 columns: how sound gets in, what helps, what is not advised."""

from rich.text import Text

from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs, show_table
from sleepnoise.wording.path_words import paths_table, silent_sides
from sleepnoise.wording.room_words import (
    advice_sentences,
    advice_table,
    refused_sentences,
    room_cautions,
    room_sentences,
)


def show_room(study: RoomStudy) -> None:
    """Print a studied room on standard output."""
    screen, advice = Screen(), study.advice
    screen.print(Text(plain(study.bedroom.title), style="bold"))
    for sentence in room_sentences(study):
        screen.print(Text(plain(sentence)))
    show_table(screen, paths_table(advice.now))
    if silent := silent_sides(advice.now):
        screen.print(Text(silent))
    treatments = advice_table(advice, study.bedroom.currency)
    if treatments.rows:
        show_table(screen, treatments)
    else:
        heading(screen, treatments.title)
    for sentence in advice_sentences(advice):
        screen.print(Text(plain(sentence)))
    for title, lines in (
        ("Not advised", refused_sentences(advice)),
        ("Before anything is done", room_cautions(advice)),
    ):
        if lines:
            heading(screen, title)
            show_paragraphs(screen, (Text(plain(line)) for line in lines))
