"""Recurring sounds, own sounds, suggestions and a diary in words, for the terminal and the page alike."""

import math
from collections.abc import Iterable
from datetime import tzinfo
from itertools import pairwise
from statistics import median

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.night.events import Event
from sleepnoise.recognition.diary_match import DiaryMatch, EntryMatch
from sleepnoise.recognition.groups import GroupedEvents, RecurringSound
from sleepnoise.recognition.own_sounds import SaidSpan, WithAndWithout
from sleepnoise.recognition.suggestions import Suggestion
from sleepnoise.wording.rounding import clock_text, duration_text, level_text
from sleepnoise.wording.tables import Table, column, plain_column

WHOSE = {"": "not said", "outside": "from outside", "room": "the room's own", "sleeper": "the sleeper's own"}
"""Whose a sound is, for people."""

COMPARED = ("laeq", "lafmax", "la10", "la50", "la90")
"""Figures that are given with own sounds and without."""


def group_table(title: str, grouped: GroupedEvents, events: Iterable[Event], zone: tzinfo) -> Table:
    """Return recurring sounds, one a row, in order of their first event."""
    columns = (
        plain_column("Sound"), plain_column("What it is"), plain_column("Whose"),
        plain_column("Times", number=True), plain_column("From"), plain_column("To"),
        plain_column("Usually apart", number=True), plain_column("Typical event", number=True),
        column("lafmax"), plain_column("Met before"),
    )  # fmt: skip
    by_number = {event.number: event for event in events}
    rows = (_group_row(group, by_number[group.typical], zone) for group in grouped.groups)
    return Table(title=title, columns=columns, rows=tuple(rows))


def _group_row(group: RecurringSound, typical: Event, zone: tzinfo) -> tuple[str, ...]:
    gaps = [(later - earlier).total_seconds() for earlier, later in pairwise(group.times)]
    sound = group.sound
    nights_before = sound.nights - 1
    return (
        sound.name,
        sound.label or "–",
        WHOSE[sound.whose],
        str(len(group.events)),
        clock_text(group.times[0], zone, seconds=True),
        clock_text(group.times[-1], zone, seconds=True),
        duration_text(median(gaps)) if gaps else "–",
        str(group.typical),
        level_text(typical.lafmax),
        f"{nights_before} night{'' if nights_before == 1 else 's'}" if group.known_before else "no",
    )


def group_sentences(grouped: GroupedEvents) -> tuple[str, ...]:
    """Return in short what recurs, and how it was told."""
    members = sum(len(group.events) for group in grouped.groups)
    count = members + len(grouped.singles)
    if not count:
        return ()
    if not members:
        return ("No sound that stood out was like another.",)
    kinds = f"{len(grouped.groups)} recurring sound{'' if len(grouped.groups) == 1 else 's'}"
    told = "by their spectrum, their course and the sound itself"
    if not grouped.listened:
        told = "by their levels, since the sound was not at hand for all of them"
    return (
        f"Of {count} events, {members} belong to {kinds}; {len(grouped.singles)} are like no other.",
        f"They were compared {told}. A group is what sounds alike, not proof of one source.",
    )


def own_table(title: str, both: WithAndWithout) -> Table:
    """Return the key figures with the sleeper's and the room's own sounds and without, one a row."""
    columns = (
        plain_column("Level"),
        plain_column("Everything", number=True),
        plain_column("Without own sounds", number=True),
    )
    rows = (
        (
            SYMBOLS[name].text,
            level_text(getattr(both.everything, name)),
            level_text(getattr(both.others_only, name)),
        )
        for name in COMPARED
    )
    return Table(title=title, columns=columns, rows=tuple(rows))


def reason_table(title: str, reasons: Iterable[SaidSpan], zone: tzinfo) -> Table:
    """Return what does not count and why, one stretch a row."""
    names = ("From", "Lasts", "What it is", "Whose", "Said by", "Events")
    rows = (
        (
            clock_text(reason.start, zone, seconds=True),
            duration_text((reason.end - reason.start).total_seconds()),
            reason.label,
            WHOSE[reason.whose],
            reason.said_by,
            ", ".join(map(str, reason.events)) or "–",
        )
        for reason in reasons
    )
    return Table(title=title, columns=tuple(map(plain_column, names)), rows=tuple(rows))


def own_sentences(both: WithAndWithout) -> tuple[str, ...]:
    """Return in short how much does not count, and what it changes."""
    if not both.reasons:
        return ("Nothing was said to be the sleeper's or the room's own; all sounds count.",)
    with_db, without_db = (level_text(each.laeq) for each in (both.everything, both.others_only))
    recorded_s = both.everything.seconds - both.everything.left_out_s
    share = f"{100 * both.own_s / recorded_s:.0f} %" if recorded_s else "none"
    return (
        f"{duration_text(both.own_s)} ({share} of what was recorded) are said to be the sleeper's or the "
        f"room's own: LAeq is {with_db} dB with it and {without_db} dB without it.",
        "What was to be heard from outside meanwhile is left out with it, unless it has a label of its own.",
    )


def suggestion_sentences(found: Iterable[Suggestion], zone: tzinfo) -> tuple[str, ...]:
    """Return what regular sounds may be; each sentence says that it is no more than a suggestion."""
    return tuple(
        f"Suggestion, nothing was left out for it: from {clock_text(each.start, zone)} to "
        f"{clock_text(each.end, zone)} perhaps {each.kind}, every {each.period_s:.1f} s. {each.because} "
        "If it is so, give it a label."
        for each in found
    )


def diary_table(title: str, matched: DiaryMatch, zone: tzinfo) -> Table:
    """Return the diary's entries of the night, one a row, those without an event among them."""
    columns = (
        plain_column("Line", number=True), plain_column("Time"), plain_column("Words"),
        plain_column("Event", number=True), plain_column("How near"),
    )  # fmt: skip
    rows = (
        (
            str(match.entry.line),
            clock_text(match.entry.time, zone, seconds=True),
            match.entry.words,
            "none" if match.event is None else str(match.event),
            _how_near(match),
        )
        for match in matched.matches
    )
    return Table(title=title, columns=columns, rows=tuple(rows))


def _how_near(match: EntryMatch) -> str:
    if math.isnan(match.apart_s):
        return "–"
    if match.apart_s == 0:
        return "under way"
    return f"{duration_text(abs(match.apart_s))} {'later' if match.apart_s > 0 else 'earlier'}"


def diary_sentences(matched: DiaryMatch) -> tuple[str, ...]:
    """Return in short how many entries match, and what that is worth."""
    count, elsewhere = len(matched.matches), len(matched.not_recorded)
    aside = (f"{_entries(elsewhere)} of other times {'was' if elsewhere == 1 else 'were'} set aside.",)
    if not count:
        return ("No entry of the diary was made while it was recorded.", *(aside if elsewhere else ()))
    tolerance = duration_text(matched.tolerance_s)
    chance = f"by chance {100 * matched.share_by_chance:.0f} % would"
    elsewhere_share = f"{100 * matched.as_many_by_chance:.1f} % of other times of the night"
    if matched.more_than_chance:
        worth = f"So many would match at {elsewhere_share}."
    else:
        worth = (
            f"As many would match at {elsewhere_share}, so this diary cannot tell whether the events were "
            "what was noted."
        )
    return (
        f"{matched.matched} of {_entries(count)} ({100 * matched.share:.0f} %) have an event within "
        f"{tolerance}; {chance}.",
        worth,
        *(aside if elsewhere else ()),
    )


def _entries(count: int) -> str:
    return f"{count} entr{'y' if count == 1 else 'ies'}"
