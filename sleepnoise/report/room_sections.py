"""A door test and a room as parts of a page, wherever they stand."""

from sleepnoise.dossier.kept_door_test import KeptDoorTest
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.report.ladder_plot import bands_figure, ladder_figure
from sleepnoise.report.path_plot import levels_figure, shares_figure
from sleepnoise.report.sections import Figure, Section
from sleepnoise.wording.door_words import (
    door_sentences,
    ladder_table,
    reading_table,
    scale_sentences,
    shares_sentence,
    since_band_table,
)
from sleepnoise.wording.path_words import heard_paths, lead_sentence, paths_table, shares_table, silent_sides
from sleepnoise.wording.room_words import (
    advice_sentences,
    advice_table,
    refused_sentences,
    room_cautions,
    room_sentences,
)
from sleepnoise.wording.tables import Table, plain_column

TABLED_PATHS = 9
"""Paths in the table of shares. Chosen: fits a page beside the bands; weaker ones bring next to nothing."""


def door_section(test: KeptDoorTest, key: str, title: str = "Door test") -> Section:
    """Return a door test: the ladder, what every band gained, and what was read."""
    ladder, bands = ladder_figure(test, f"{key}-ladder"), bands_figure(test, f"{key}-bands")
    figures: tuple[Figure, ...] = (ladder,) if bands is None else (ladder, bands)
    since = since_band_table(test)
    return Section(
        key=key, title=title, sentences=tuple(door_sentences(test)), figures=figures,
        tables=(ladder_table(test),),
        folded=(*((since,) if bands is not None else ()), reading_table(test), _done_table(test)),
        notes=(shares_sentence(test), *scale_sentences(test), *test.remarks), template="exhibits.html",
    )  # fmt: skip


def _done_table(test: KeptDoorTest) -> Table:
    """Return what was done at each step, where somebody wrote it down."""
    rows = tuple(
        (str(number), step.title, step.done) for number, step in enumerate(test.steps, start=1) if step.done
    )
    columns = (plain_column("Step", number=True), plain_column("Title"), plain_column("What was done"))
    return Table(title="What was done at each step", columns=columns, rows=rows)


def door_sources(test: KeptDoorTest) -> Table:
    """Return the files that a door test was made from."""
    columns = (
        plain_column("File"), plain_column("Used as"), plain_column("Bytes", number=True),
        plain_column("SHA-256"),
    )  # fmt: skip
    rows = tuple((each.name, each.role, str(each.size_bytes), each.sha256) for each in test.inputs)
    return Table(title="Files that this test was made from", columns=columns, rows=rows)


def paths_section(study: RoomStudy, key: str, title: str = "How the sound gets in") -> Section:
    """Return the paths of a room: which one leads, and every share."""
    now = study.advice.now
    silent = silent_sides(now)
    return Section(
        key=key, title=title, sentences=(*room_sentences(study), lead_sentence(now)),
        figures=(levels_figure(now, f"{key}-levels"), shares_figure(now, f"{key}-shares")),
        tables=(paths_table(now),),
        folded=(shares_table(now, heard_paths(now)[:TABLED_PATHS]),),
        notes=(
            "Each path's uncertainty is that of its construction or gap; a measured door beats the tables. "
            "Shares hold for the sounds named above: another sound takes other paths.",
            *((silent,) if silent else ()),
        ),
        template="exhibits.html",
    )  # fmt: skip


def advice_sections(study: RoomStudy, key: str) -> tuple[Section, ...]:
    """Return what may be done in a room, what is not advised and why, and what comes before all of it."""
    advice = study.advice
    return (
        Section(
            key=key, title="What may be done", sentences=advice_sentences(advice),
            tables=(advice_table(advice, study.bedroom.currency),),
            notes=("Each gain is that of one treatment by itself, with its uncertainty (k = 2).",),
            template="exhibits.html",
        ),
        Section(key=f"{key}-not", title="Not advised", points=refused_sentences(advice)),
    )  # fmt: skip


def room_caution_points(study: RoomStudy) -> tuple[str, ...]:
    """Return what has to be seen to before any treatment of a room."""
    return room_cautions(study.advice)
