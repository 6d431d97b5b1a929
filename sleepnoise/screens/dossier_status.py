"""A dossier on the terminal: what is missing, how nights compare, whether everything is as it was."""

from collections.abc import Sequence
from dataclasses import replace

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.casework.comparing import Change, NightsCompared
from sleepnoise.casework.dossier import PAPERS, Dossier
from sleepnoise.casework.missing import Point
from sleepnoise.casework.verifying import NUMBERS_SHOWN, Verification
from sleepnoise.screens.terminal import Screen, heading, plain, show_points, show_table
from sleepnoise.wording.comparison_words import (
    INTERVAL_METHOD,
    change_sentences,
    change_table,
    exceedance_table,
    group_sentences,
    group_table,
    nights_table,
    week_table,
)
from sleepnoise.wording.tables import Table, plain_column

STATES = {"there": "there", "weak": "in part", "missing": "missing"}
"""How a point stands, in words."""

LAST_ENTRIES = 10
"""Entries of the journal that are shown. Chosen: a screenful less the rest."""


def show_status(dossier: Dossier, points: Sequence[Point]) -> None:
    """Print what a dossier has and lacks."""
    screen = Screen()
    _title(screen, dossier)
    _points(screen, points)
    lacking = [point for point in points if point.state != "there"]
    if lacking:
        heading(screen, "What to do next")
        show_points(screen, (f"{point.what}: {point.remedy}" for point in lacking))
    else:
        screen.print(Text("Nothing is missing for a sound judgement."))


def show_compared(compared: NightsCompared, value_db: float | None = None) -> None:
    """Print nights compared, and whether their means lie above a value of LAeq."""
    _compared(Screen(), compared, value_db)


def show_case(dossier: Dossier, points: Sequence[Point], compared: NightsCompared) -> None:
    """Print the whole case."""
    screen = Screen()
    _title(screen, dossier)
    if dossier.about.place:
        screen.print(Text(plain(dossier.about.place)))
    _points(screen, points)
    _compared(screen, compared)
    heading(screen, "Kept beside the nights")
    kept = {"door tests": [folder.name for folder in dossier.door_tests]}
    kept |= {folder: [path.name for path in dossier.papers(kind)] for kind, folder in PAPERS.items()}
    show_points(screen, (f"{name}: {', '.join(names) or 'none'}" for name, names in kept.items()))
    heading(screen, f"Journal: {len(dossier.entries)} entries, the last of them")
    last = dossier.entries[-LAST_ENTRIES:]
    show_points(screen, (f"{entry.time_utc} {entry.did}: {entry.about}" for entry in last))
    screen.print(Text(f"Seal of the journal (SHA-256): {dossier.entries[-1].sha256}"), soft_wrap=True)


def show_verification(found: Verification) -> None:
    """Print what verifying found."""
    screen = Screen()
    for finding in found.findings:
        screen.print(Text(plain(f"{finding.path}: {finding.word}")), soft_wrap=True)
    for each in found.again:
        if each.trouble:
            line = f"cannot be worked out again: {each.trouble}"
        elif each.different:
            line = f"{len(each.different)} of {each.numbers} numbers differ"
        else:
            line = f"all {each.numbers} numbers come out again"
            line += ", every byte too" if each.same_bytes else "; texts or versions differ"
        if each.other_code:
            line += "; other code of this version made what is kept"
        screen.print(Text(plain(f"{each.what}: {line}")), soft_wrap=True)
        show_points(screen, each.different[:NUMBERS_SHOWN])
    verdict = "Everything is as it was put there" if found.sound else "Not everything is as it was put there"
    missing = sum(finding.word == "recording not here" for finding in found.findings)
    lost = f", {missing} not here (--sounds-in FOLDER says where they lie now)" if missing else ""
    screen.print(
        Text(f"{verdict}. Files: {found.files}, recordings outside: {found.recordings} looked at{lost}.")
    )


def _title(screen: Screen, dossier: Dossier) -> None:
    nights = len(dossier.nights)
    count = f"{nights} night{'' if nights == 1 else 's'}"
    screen.print(Text(plain(f"{dossier.about.title}: {count}"), style="bold"))


def _points(screen: Screen, points: Sequence[Point]) -> None:
    shown = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("For a sound judgement", "Stands", "Found"):
        shown.add_column(head)
    for point in points:
        shown.add_row(Text(point.what), Text(STATES[point.state]), Text(plain(point.found)))
    screen.print(shown)


def _compared(screen: Screen, compared: NightsCompared, value_db: float | None = None) -> None:
    if compared.not_assessed:
        screen.print(
            Text(plain(f"Not assessed as things stand, so in no figure: {', '.join(compared.not_assessed)}."))
        )
    if not compared.nights:
        screen.print(Text("No night has been assessed yet."))
        return
    _show(screen, nights_table("Nights", compared.nights))
    for group in compared.groups:
        show_points(screen, group_sentences(group, value_db))
        if len(group.nights) > 1:
            for table in (group_table(group), exceedance_table(group), week_table(group)):
                _show(screen, table)
    for change in compared.changes:
        _change(screen, change)
    if compared.windows is not None:
        table = change_table(compared.windows)
        heads = {"Before": "Open", "After": "Closed"}
        columns = tuple(
            plain_column(heads.get(each.text, each.text), number=each.number) for each in table.columns
        )
        _show(screen, replace(table, title="Windows open and closed", columns=columns))
    screen.print()
    screen.print(Text(INTERVAL_METHOD))


def _change(screen: Screen, change: Change) -> None:
    since = change.first_evening
    if not change.by_windows:
        show_points(screen, [f"{change.title}: no nights before and from {since} on with the windows alike."])
    for state, found in change.by_windows.items():
        title = f"{change.title}: before and from {since} on, windows {state or 'not noted'}"
        _show(screen, replace(change_table(found), title=plain(title)))
        show_points(screen, change_sentences(found))


def _show(screen: Screen, table: Table) -> None:
    if table.rows:
        show_table(screen, table)
