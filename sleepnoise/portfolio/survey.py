"""Everything that a survey of many bedrooms says, and its ranking as a list for spreadsheets."""

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import pyarrow as pa

from sleepnoise.dossier.listings import harmless
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.reading import few_bytes
from sleepnoise.portfolio.cases import Bedrooms, bedrooms_in
from sleepnoise.portfolio.gathering import LARGEST_LIST_BYTES
from sleepnoise.portfolio.ledger import Outcome
from sleepnoise.portfolio.ranking import PlannedBedroom, RankedBedroom, Ranking, by_gain, rank, read_plans
from sleepnoise.portfolio.shared_sources import LEAST_EVENTS, TOLERANCE_S, SharedSource, find_shared
from sleepnoise.portfolio.tables import tables_of, write_tables

DEFAULT_CRITERION = "who1999_bedroom_laeq"
"""Value that bedrooms are ranked by unless another is asked for: LAeq of the night, whatever its source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What a survey says.

    Attributes
    ----------
    nights, events : int
        Finished nights, and events in them.
    failures : tuple of Outcome
        Nights that could not be assessed, with their complaints.
    ranking : Ranking
    plans : tuple of PlannedBedroom
    compared : int
        Pairs of bedrooms that were recorded together for long enough to be compared.
    pairs : tuple of SharedSource
        Bedrooms whose events coincide at least a few times, whether or not chance explains it.
    tolerance_s : float, s
    repeated : tuple of tuple of str
        Nights that hold the very same sound, each as bedroom and name: files copied twice.
    tables : mapping of str to Table
        What all this was reckoned from; see :mod:`sleepnoise.portfolio.tables`.
    """

    nights: int
    events: int
    failures: tuple[Outcome, ...]
    ranking: Ranking
    plans: tuple[PlannedBedroom, ...]
    compared: int
    pairs: tuple[SharedSource, ...]
    tolerance_s: float
    repeated: tuple[tuple[str, ...], ...]
    tables: Mapping[str, pa.Table]


def survey(
    folders: Iterable[Path],
    *,
    criterion: str = DEFAULT_CRITERION,
    plans: Path | None = None,
    neighbours: Path | None = None,
    tolerance_s: float = TOLERANCE_S,
) -> Survey:
    """Return what bedrooms say together; folders of results get their tables, too.

    Parameters
    ----------
    folders : iterable of Path
        Folders of results, dossiers, and folders of dossiers.
    criterion : str
        Id of the value to rank by.
    plans : Path, optional
        Folder of plans, one ``BEDROOM.json`` each; they take the place of those that dossiers keep.
    neighbours : Path, optional
        Lists two bedrooms in each line that lie beside each other; any two may when left out.
    tolerance_s : float, s
        How far apart the same sound may begin in two bedrooms.

    Raises
    ------
    SleepNoiseError
        If there is nothing to survey, or an option makes no sense.
    """
    if not (math.isfinite(tolerance_s) and tolerance_s > 0):
        raise SettingsError(
            f"tolerance: must be more than 0 s, got {tolerance_s:g}.", remedy="Give for example 5."
        )
    folders = tuple(folders)
    bedrooms = bedrooms_in(folders)
    made = tables_of(bedrooms.entries)
    for folder in folders:
        if (folder / "ledger").is_dir():
            write_tables(folder)
    tables = {name: table.to_pylist() for name, table in made.items()}
    ranking = rank(tables["nights"], tables["verdicts"], criterion)
    rooms = sorted({line["bedroom"] for line in tables["nights"]})
    pairs = find_shared(
        tables["nights"],
        tables["events"],
        neighbours=None if neighbours is None else _neighbours(neighbours, rooms),
        tolerance_s=tolerance_s,
    )
    return Survey(
        nights=len(tables["nights"]),
        events=len(tables["events"]),
        failures=tuple(each.outcome for each in bedrooms.entries if each.outcome.state == "failed"),
        ranking=ranking,
        plans=_plans(bedrooms, () if plans is None else read_plans(plans, rooms)),
        compared=len(pairs),
        pairs=tuple(pair for pair in pairs if pair.together >= LEAST_EVENTS),
        tolerance_s=tolerance_s,
        repeated=_repeated(tables["nights"]),
        tables=made,
    )


SAME_IN = ("LAeq_dB", "LCeq_dB", "LAFmax_dB", "LA90_dB", "recorded_s")
"""What two nights share only if they hold the same sound. Chosen: unrounded, no two nights agree in all."""


def _repeated(nights: Iterable[Mapping[str, Any]]) -> tuple[tuple[str, ...], ...]:
    """Return nights with the very same sound, whatever their files are called."""
    alike: dict[tuple[Any, ...], list[str]] = {}
    for line in nights:
        key = tuple(line[name] for name in SAME_IN)
        # Silence is like silence.
        if all(value is not None and math.isfinite(value) for value in key):
            alike.setdefault(key, []).append(f"{line['bedroom']} {line['night']}")
    return tuple(tuple(names) for names in alike.values() if len(names) > 1)


def _plans(bedrooms: Bedrooms, given: Sequence[PlannedBedroom]) -> tuple[PlannedBedroom, ...]:
    named = {plan.bedroom: plan for plan in (*bedrooms.plans, *given)}
    return by_gain(named.values())


def _neighbours(path: Path, rooms: Sequence[str]) -> list[tuple[str, str]]:
    remedy = "Write two assessed bedrooms in each line, with a comma between them."
    raw = few_bytes(path, LARGEST_LIST_BYTES, what="list of neighbours", remedy=remedy)
    try:
        lines = [line for line in csv.reader(raw.decode("utf-8-sig").splitlines()) if line]
    except (UnicodeDecodeError, csv.Error) as error:
        raise RecordingError(
            f"{path}: cannot be read as a list of neighbours ({error!s:.200}).", remedy=remedy
        ) from None
    found = []
    for number, line in enumerate(lines, start=1):
        pair = [cell.strip() for cell in line]
        if len(pair) != 2 or pair[0] == pair[1] or not set(pair) <= set(rooms):
            raise SettingsError(
                f"{path}, line {number}: must name two assessed bedrooms, got {', '.join(line)!r:.80}.",
                remedy=remedy,
            )
        found.append((pair[0], pair[1]))
    return found


def ranking_text(found: Survey) -> str:
    """Return the ranking of a survey as CSV, numbers unrounded, an empty cell for what is not known."""
    ranking, names = found.ranking, [field.name for field in fields(RankedBedroom)]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(["rank", "criterion", *names])
    for number, room in enumerate(ranking.bedrooms, start=1):
        writer.writerow([number, ranking.criterion, *(_cell(getattr(room, name)) for name in names)])
    return stream.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return "" if math.isnan(value) else value
    return harmless(value) if isinstance(value, str) else value
