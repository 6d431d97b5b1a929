"""Events that sound like speech in words, what that can tell, and what it asks of whoever recorded."""

from collections.abc import Sequence

from sleepnoise.night.events import Event
from sleepnoise.recognition.recognise import SPEECH_LIKE

MOST_NUMBERS = 12
"""Numbers of events in a sentence. Chosen: a line; the table of events has them all."""

SPEECH_LIMITS = (
    "It is told by the beat of syllables, a voice and its melody. That cannot tell people from television or "
    "radio; whispers, single words shorter than a second and talk hardly above the background go unnoticed, "
    "and some music and animals pass for speech."
)
"""What the flag can tell. Common practice, no source."""

SPEECH_CAUTION = (
    "People may be heard on this recording. In many places it may not be made, kept, played or handed on "
    "without the consent of everybody who can be heard: ask them first, keep it locked away, delete what is "
    "no longer needed, and hand on pages without clips or with blurred ones."
)
"""Said wherever speech may have been recorded. Common practice, no source."""


def speech_like_events(events: Sequence[Event]) -> tuple[Event, ...]:
    """Return the events that sound like speech, as their flags say."""
    return tuple(event for event in events if SPEECH_LIKE in event.flags)


def speech_sentence(events: Sequence[Event], *, listened: bool) -> str:
    """Return in short how many events sound like speech, and which.

    Parameters
    ----------
    events : sequence of Event
    listened : bool
        Whether the events were heard, or their levels alone were at hand.
    """
    found = speech_like_events(events)
    if not listened:
        return "Events were not heard again, so it is not known which of them sound like speech."
    if not found:
        return "No event sounds like speech as far as can be told."
    numbers = ", ".join(str(event.number) for event in found[:MOST_NUMBERS])
    more = f" and {len(found) - MOST_NUMBERS} more" if len(found) > MOST_NUMBERS else ""
    verb = "sounds" if len(found) == 1 else "sound"
    return f"{len(found)} of {len(events)} events {verb} like speech: {numbers}{more}."
