"""A survey of many bedrooms in sentences and tables, for the terminal and the page alike."""

import math
import re
from collections.abc import Iterator, Sequence

from sleepnoise.portfolio.ranking import LEAST_RECORDED, PlannedBedroom, RankedBedroom, Ranking
from sleepnoise.portfolio.shared_sources import SURE, SharedSource
from sleepnoise.portfolio.survey import Survey
from sleepnoise.wording.rounding import number_text, signed_text
from sleepnoise.wording.tables import Table, plain_column

MONEY = 1000.0
"""Gain is shown for this much money. Chosen: what building work is reckoned in."""

MOST_NAMED = 10
"""Bedrooms or nights named in a sentence. Chosen: more is a list, which the tables are."""

SMALLEST_CHANCE = 1e-6
"""Chance below which only that is said. Chosen: the reckoning is no better than that."""

SURVEY_CAUTIONS = (
    "Margins are of all sound in the bedroom, the sleeper's own included, unless the value says otherwise.",
    "A bedroom that stands above another is not surely worse: see the mark behind its margin.",
    "Sounds that coincide point to a common source; where that lies, they do not say. Recorders' clocks that "
    "differ by more than the tolerance hide it.",
    "Recordings of bedrooms hold private speech: keep them only as long as residents agreed to.",
    "Local codes and licensed practice come before any plan: escape, fire doors, ventilation, alarms.",
)
"""Said of every survey."""


def survey_sentences(found: Survey) -> tuple[str, ...]:
    """Return what matters most."""
    rooms = found.ranking.bedrooms
    words = [room.standing for room in rooms]
    shared = sum(pair.shared for pair in found.pairs)
    doubt = "" if found.ranking.verified else " The value is unverified, so nothing is judged by it."
    failed = f" Nights that could not be assessed: {len(found.failures)}." if found.failures else ""
    return (
        f"{found.nights} nights in {len(rooms)} bedrooms, {found.events} events.{failed}",
        f"Ranked by {found.ranking.title} ({found.ranking.guideline}): exceeded in {words.count('exceeded')} "
        f"bedrooms, kept in {words.count('kept')}, cannot tell in {words.count('cannot tell')}.{doubt}",
        f"{shared} of {found.compared} pairs of bedrooms that were recorded together hear common sources; "
        f"events that begin within {found.tolerance_s:g} s of each other count.",
        *_doubts(found),
    )


def _doubts(found: Survey) -> Iterator[str]:
    """Yield what keeps bedrooms from a rank, and what is counted more than once."""
    unranked = [room.bedroom for room in found.ranking.bedrooms if math.isnan(room.margin_db)]
    if unranked:
        yield (
            f"Without a rank, because no night of theirs counts: {_listed(unranked)}. A night counts if it "
            f"has a calibration and at least {100 * LEAST_RECORDED:.0f} % of its window can be used."
        )
    if found.repeated:
        same = [" = ".join(names) for names in found.repeated]
        yield (
            f"The same sound stands for several nights and counts several times: {_listed(same)}. Take "
            "copies out and survey again; until then neither ranks nor common sources of these hold."
        )


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return "; ".join(names[:MOST_NAMED]) + more


def ranking_table(ranking: Ranking) -> Table:
    """Return bedrooms, the worst first; ≈ marks those that the next may equal."""
    heads = (
        *("Rank", "Bedroom", "Over the value, dB", "± dB", "Together"),
        *("Nights", "Exceeded", "Kept", "Share of nights"),
    )
    numbers = {"Rank", "Over the value, dB", "± dB", "Nights", "Exceeded", "Kept"}
    rows = (_ranked(number, room) for number, room in enumerate(ranking.bedrooms, start=1))
    return Table(
        title=f"Bedrooms by {ranking.title}",
        columns=tuple(plain_column(head, number=head in numbers) for head in heads),
        rows=tuple(rows),
    )


def _ranked(number: int, room: RankedBedroom) -> tuple[str, ...]:
    share = "not known"
    if not math.isnan(room.share_low):
        share = f"{100 * room.share_low:.0f} to {100 * room.share_high:.0f} %"
    return (
        "–" if math.isnan(room.margin_db) else str(number),
        room.bedroom,
        signed_text(room.margin_db) + (" ≈" if room.as_next else ""),
        number_text(room.uncertainty_db, 1),
        room.standing,
        f"{room.counted} of {room.nights}",
        str(room.exceeded),
        str(room.kept),
        share,
    )


def gain_table(plans: tuple[PlannedBedroom, ...]) -> Table:
    """Return planned bedrooms by what money brings."""
    heads = ("Bedroom", "Events", "Still audible", "Costs", f"Silenced for {MONEY:.0f}", "Remarks")
    return Table(
        title="Bedrooms by gain for money",
        columns=tuple(plain_column(head, number=head not in ("Bedroom", "Remarks")) for head in heads),
        rows=tuple(_planned(plan) for plan in plans),
    )


def gain_text(plan: PlannedBedroom) -> str:
    """Return what a plan silences for its price.

    Examples
    --------
    >>> gain_text(
    ...     PlannedBedroom(
    ...         bedroom="a", events=8, audible=2, money=500.0, currency="EUR", per_money=0.012, guessed=False
    ...     )
    ... )
    '6 of 8 for 500 EUR'
    """
    price = f"for {plan.money:.0f} {plan.currency}".rstrip() if plan.money else "at no cost"
    return f"{plan.events - plan.audible} of {plan.events} {price}"


def _planned(plan: PlannedBedroom) -> tuple[str, ...]:
    gain = "no cost" if math.isinf(plan.per_money) else f"{plan.per_money * MONEY:.1f}"
    return (
        plan.bedroom,
        str(plan.events),
        str(plan.audible),
        f"{plan.money:.0f} {plan.currency}".rstrip(),
        gain,
        "a price or effect in it is a guess" if plan.guessed else "",
    )


def shared_table(pairs: tuple[SharedSource, ...]) -> Table:
    """Return pairs of bedrooms whose events coincide, the surest first."""
    heads = ("Bedrooms", "Together", "By chance", "Probability", "Later by, s", "Mostly", "Common source")
    numbers = {"Together", "By chance", "Probability", "Later by, s"}
    return Table(
        title="Sounds heard in two bedrooms at once",
        columns=tuple(plain_column(head, number=head in numbers) for head in heads),
        rows=tuple(_pair(pair) for pair in pairs),
    )


def _pair(pair: SharedSource) -> tuple[str, ...]:
    chance = f"{pair.chance:.2g}" if pair.chance >= SMALLEST_CHANCE else f"under {SMALLEST_CHANCE:g}"
    return (
        " and ".join(pair.bedrooms),
        str(pair.together),
        f"{pair.expected:.1f}",
        chance,
        signed_text(pair.lag_s),
        pair.sound,
        "yes" if pair.shared else "cannot tell",
    )


def _without_folders(complaint: str) -> str:
    """Keep the names of files alone: readers of a survey need not know where they are kept."""
    return re.sub(r"(?<!\w)(?:[A-Za-z]:)?[/\\](?:[^/\\:\n]+[/\\])+", "", complaint)


def failure_table(found: Survey) -> Table:
    """Return the nights that could not be assessed."""
    return Table(
        title="Nights that could not be assessed",
        columns=tuple(map(plain_column, ("Bedroom", "Night", "Why"))),
        rows=tuple((each.bedroom, each.night, _without_folders(each.complaint)) for each in found.failures),
    )


def survey_tables(found: Survey) -> tuple[Table, ...]:
    """Return every table that has a row."""
    tables = (
        ranking_table(found.ranking),
        gain_table(found.plans),
        shared_table(found.pairs),
        failure_table(found),
    )
    return tuple(table for table in tables if table.rows)


SHARED_NOTE = (
    "Chance is reckoned from clocks shifted by minutes, and over all pairs compared; "
    f"below {SURE:g} a source is called common."
)
"""Said below coincidences."""
