"""What is said already of events and groups, for the page in which they are named."""

from collections.abc import Iterable
from typing import Any

from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.plain import local_text
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event
from sleepnoise.recognition.labels import OWN_WORDS
from sleepnoise.recognition.own_sounds import SaidSpan


def naming_data(record: NightRecord, events: Iterable[Event]) -> dict[str, Any]:
    """Return groups with what is said of them, stretches that are no event, and labels that tell whose.

    Parameters
    ----------
    record : NightRecord
    events : iterable of Event
        Those on the page.
    """
    shown, zone = tuple(events), record.assessment.window.zone
    recognised = record.sounds.recognised
    return {
        "own_words": [[whose, words.pattern] for whose, words in OWN_WORDS.items()],
        "groups": [
            {
                "name": group.sound.name,
                "label": group.sound.label,
                "whose": group.sound.whose,
                "typical": group.typical,
            }
            for group in recognised.grouped.groups
        ],
        # They would be lost from a labels file that the page writes.
        "other_spans": [
            {
                "start": local_text(span.start, zone),
                "end": local_text(span.end, zone),
                "label": span.label,
                "whose": span.whose,
            }
            for span in recognised.said
            if not span.by_group and not any(_is_of(span, event, record.history) for event in shown)
        ],
    }


def said_of_event(event: Event, record: NightRecord) -> dict[str, Any]:
    """Return what is said of an event by itself, and of a stretch of time or a label that it lies in."""
    spans = [
        span for span in record.sounds.recognised.said if not span.by_group and event.number in span.events
    ]
    own = [span for span in spans if _is_of(span, event, record.history)]
    label = own[-1].label if own else ""
    group = record.sounds.recognised.grouped.group_of(event.number)
    by_group = group.sound.label if group is not None else ""
    return {
        "label": label,
        "whose": own[-1].whose if own else "",
        "told": event.label if event.label not in (label, by_group) else "",
        "told_whose": [span.whose for span in spans if span not in own],
    }


def _is_of(span: SaidSpan, event: Event, history: LevelHistory) -> bool:
    """Return whether a stretch is just an event: one that was named in the page."""
    ticks = history.tick_of(span.start), history.tick_of(span.end)
    return ticks == (event.first_tick, event.last_tick)
