"""One night's sounds recognised: grouped, labelled, and told apart by whose they are."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.character.speech_likeness import SpeechLikeness, speech_likeness
from sleepnoise.errors import RecordingError
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event
from sleepnoise.recognition.features import SoundFeatures, audio_features, level_features
from sleepnoise.recognition.groups import (
    GroupedEvents,
    KnownSound,
    Whose,
    group_events,
    known_after,
    labelled,
    with_groups,
)
from sleepnoise.recognition.labels import Labels
from sleepnoise.recognition.own_sounds import SaidSpan, own_ticks, said_spans, with_labels
from sleepnoise.recognition.suggestions import Suggestion, suggestions

Listen = Callable[[Event], PressureBlock]
"""Returns the stretch of the recording that ``listening_span`` names for an event."""

SPEECH_LIKE = "speech-like"
"""Flag of an event that sounds like speech."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecognisedNight:
    """What the sounds of one night are, as far as likeness and labels tell.

    Attributes
    ----------
    events : tuple of Event
        All of the recording, with group, label and flags.
    grouped : GroupedEvents
    said : tuple of SaidSpan
        Every stretch that a label holds for, in order of time.
    suggestions : tuple of Suggestion
    known : tuple of KnownSound
        To be kept for later nights.
    speech : mapping of int to SpeechLikeness
        By the number of the event, of those that were heard and long enough to tell.
    """

    events: tuple[Event, ...]
    grouped: GroupedEvents
    said: tuple[SaidSpan, ...]
    suggestions: tuple[Suggestion, ...]
    known: tuple[KnownSound, ...]
    speech: Mapping[int, SpeechLikeness]


def recognise(
    history: LevelHistory,
    events: Sequence[Event],
    *,
    listen: Listen | None = None,
    labels: Labels | None = None,
    known: Sequence[KnownSound] = (),
) -> RecognisedNight:
    """Return what the sounds of a night are.

    Parameters
    ----------
    history : LevelHistory
        The recording.
    events : sequence of Event
        All of it.
    listen : callable, optional
        Without it, sounds are compared by their levels alone.
    labels : Labels, optional
    known : sequence of KnownSound
        From earlier nights; their labels hold for this one too.

    Raises
    ------
    RecordingError
        If a label names a group that nobody knows.
    """
    speech: dict[int, SpeechLikeness] = {}
    features = [_features(history, event, listen, speech) for event in events]
    grouped = group_events(events, features, known)
    told = _group_labels(labels, [*(group.sound for group in grouped.groups), *known])
    grouped = labelled(grouped, told)
    said = said_spans(labels, grouped, events, history)
    own = own_ticks(said, events, history)
    return RecognisedNight(
        events=_with_speech(with_labels(with_groups(events, grouped), said, own), speech),
        grouped=grouped,
        said=said,
        suggestions=suggestions(history),
        known=tuple(_relabelled(sound, told) for sound in known_after(known, grouped)),
        speech=speech,
    )


def _features(
    history: LevelHistory, event: Event, listen: Listen | None, speech: dict[int, SpeechLikeness]
) -> SoundFeatures:
    """Return what an event is like; how much like speech is noted on the way, since it is heard once."""
    by_levels = level_features(history, event)
    if listen is None:
        return by_levels
    heard = listen(event)
    likeness = speech_likeness(heard, event.start)
    if likeness is not None:
        speech[event.number] = likeness
    return replace(by_levels, audio=audio_features(heard, event.start))


def _with_speech(events: Iterable[Event], speech: Mapping[int, SpeechLikeness]) -> tuple[Event, ...]:
    return tuple(
        replace(event, flags=(*event.flags, SPEECH_LIKE))
        if event.number in speech and speech[event.number].speech_like
        else event
        for event in events
    )


def _group_labels(labels: Labels | None, sounds: Iterable[KnownSound]) -> dict[str, tuple[str, Whose]]:
    """Return what is said of groups by their names, all of which must be known."""
    if labels is None:
        return {}
    names = {sound.name for sound in sounds}
    for each in labels.groups:
        if each.group not in names:
            raise RecordingError(
                f"{labels.file}, line {each.line}: there is no group {each.group!r}; "
                f"there are: {', '.join(sorted(names)) or 'none'}.",
                remedy="Use a name as the table of recurring sounds shows it.",
            )
    return {each.group: (each.label, each.whose) for each in labels.groups}


def _relabelled(sound: KnownSound, told: dict[str, tuple[str, Whose]]) -> KnownSound:
    label, whose = told.get(sound.name, (sound.label, sound.whose))
    return replace(sound, label=label, whose=whose)
