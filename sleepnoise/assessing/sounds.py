"""What the sounds of a night are like, which of them recur, and whose they are."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import energy
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.assessing.said import Said
from sleepnoise.character.background import BackgroundCharacter, character_of_background
from sleepnoise.character.impulses import Impulsiveness, impulses_in
from sleepnoise.character.low_frequency import low_frequency_curves
from sleepnoise.character.stretch import StretchCharacter, character_of_stretch
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.judgement.disturbance import Disturbance, disturbance_of, event_kinds
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.night.events import Event, event_ticks
from sleepnoise.profiles.files import read_guideline
from sleepnoise.profiles.guideline import SourceKind
from sleepnoise.recognition.diary_match import DiaryMatch, match_diary
from sleepnoise.recognition.features import listening_span
from sleepnoise.recognition.own_sounds import WithAndWithout, is_own, own_ticks, with_and_without
from sleepnoise.recognition.recognise import RecognisedNight, recognise
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.sequence import NightSound
from sleepnoise.recording.stretch import is_counted

MOST_HEARD_AGAIN = 1000
"""Events of a night that are heard again one by one. Chosen: seconds of work; of more, levels alone tell."""

SHORTEST_QUIET_S, LONGEST_QUIET_S = 36.0, 120.0
"""Stretch without events in which tones are sought, s. Chosen: what the method needs; two minutes of it."""

PIECE_TICKS = 12 * TICKS_PER_SECOND
"""Ticks of a long stretch that are heard at once. Chosen: whole spectra of 3 s; 2.3 MB at 48 kHz."""

BUSY_S = 1800.0
"""Stretch in which impulses are sought, s. Chosen: the half hour that the method rates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSounds:
    """What the sounds of a night are.

    Attributes
    ----------
    recognised : RecognisedNight
        Groups, labels, suggestions.
    own : WithAndWithout or None
        Figures of the window with and without the sleeper's and the room's own sounds; None if no
        label tells of any.
    verdicts_without_own : tuple of Verdict
        The same verdicts as of the whole night, without those sounds; empty if there are none.
    diary : DiaryMatch or None
    background : BackgroundCharacter
    quiet : StretchCharacter or None
        The middle of the longest stretch without events; None if there is none, or if the recording
        cannot be heard again quickly.
    busy : Impulsiveness or None
        Of the half hour with the loudest events, likewise.
    disturbance : Disturbance
    """

    recognised: RecognisedNight
    own: WithAndWithout | None
    verdicts_without_own: tuple[Verdict, ...]
    diary: DiaryMatch | None
    background: BackgroundCharacter
    quiet: StretchCharacter | None
    busy: Impulsiveness | None
    disturbance: Disturbance


@dataclass(frozen=True, slots=True)
class Ear:
    """Hears stretches of a recording again, if that can be done without decoding all that is before."""

    sound: NightSound
    calibration: Calibration
    channel: int

    @property
    def can_hear(self) -> bool:
        """Whether it can."""
        return all(is_counted(part.audio) for part in self.sound.parts)

    def event(self, event: Event) -> PressureBlock:
        """Hear an event."""
        start, seconds = listening_span(event)
        return self.sound.excerpt(self.calibration, start, seconds, channel=self.channel)

    def stretch(self, history: LevelHistory, span: tuple[int, int]) -> PressureBlock:
        """Hear some ticks of the history."""
        first, last = span
        start, seconds = history.time_of(first), (last - first) * TICK_S
        return self.sound.excerpt(self.calibration, start, seconds, channel=self.channel)

    def pieces(self, history: LevelHistory, span: tuple[int, int]) -> Iterator[PressureBlock]:
        """Hear some ticks of the history piece by piece: half an hour at once would fill the memory."""
        first, last = span
        for begin in range(first, last, PIECE_TICKS):
            yield self.stretch(history, (begin, min(begin + PIECE_TICKS, last)))


def recognised_night(
    history: LevelHistory, events: tuple[Event, ...], said: Said, ear: Ear
) -> RecognisedNight:
    """Return the events of a recording with their groups and labels."""
    listen = ear.event if ear.can_hear and len(events) <= MOST_HEARD_AGAIN else None
    return recognise(history, events, listen=listen, labels=said.labels, known=said.known)


def night_sounds(
    recognised: RecognisedNight,
    night: NightAssessment,
    history: LevelHistory,
    said: Said,
    ear: Ear,
    *,
    guidelines: tuple[str, ...],
    verdicts_without_own: tuple[Verdict, ...],
) -> NightSounds:
    """Return what the sounds within the night window are.

    Parameters
    ----------
    recognised : RecognisedNight
        Of the recording.
    night : NightAssessment
    history : LevelHistory
        The recording.
    said : Said
    ear : Ear
    guidelines : tuple of str
        Names or files of the profiles whose curves of low frequencies are held against the background.
    verdicts_without_own : tuple of Verdict
    """
    first, last = history.tick_of(night.start), history.tick_of(night.end)
    part, events = history.between(first, last), recognised.events
    in_events = event_ticks(events, history.ticks)[first:last]
    own = own_ticks(recognised.said, events, history)[first:last]
    quiet = _longest_quiet(part, in_events) if ear.can_hear else None
    busy = _busiest(part, in_events) if ear.can_hear else None
    return NightSounds(
        recognised=recognised,
        own=with_and_without(part, own, recognised.said) if own.any() else None,
        verdicts_without_own=verdicts_without_own,
        diary=match_diary(said.diary, events, history) if said.diary else None,
        background=character_of_background(
            part,
            in_events=in_events,
            curves=low_frequency_curves(map(read_guideline, guidelines)),
            absolute=night.absolute,
        ),
        quiet=character_of_stretch(ear.pieces(part, quiet)) if quiet else None,
        busy=impulses_in(ear.pieces(part, busy)) if busy else None,
        disturbance=disturbance_of(night, _kinds(night.events, said)),
    )


def _kinds(events: tuple[Event, ...], said: Said) -> dict[int, SourceKind]:
    return event_kinds(others_events(events), all_events=said.circumstances.source_kind)


def others_events(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """Return the events that count against somebody: all but the sleeper's and the room's own."""
    return tuple(event for event in events if not is_own(event))


def _longest_quiet(part: LevelHistory, in_events: MaskArray) -> tuple[int, int] | None:
    """Return the longest stretch of usable ticks without events, cut to its middle if it is very long."""
    heard = np.concatenate([[False], ~in_events & ~part.left_out, [False]])
    edges = np.flatnonzero(heard[1:] != heard[:-1]).reshape(-1, 2)
    if not edges.size:
        return None
    first, last = edges[np.argmax(edges[:, 1] - edges[:, 0])].tolist()
    if (last - first) * TICK_S < SHORTEST_QUIET_S:
        return None
    spare = max(last - first - round(LONGEST_QUIET_S / TICK_S), 0)
    return first + spare // 2, last - (spare - spare // 2)


def _busiest(part: LevelHistory, in_events: MaskArray) -> tuple[int, int] | None:
    """Return the half hour in which events were loudest, or all of a shorter night."""
    if not in_events.any():
        return None
    length = min(round(BUSY_S / TICK_S), part.ticks)
    energies = np.where(in_events & ~part.left_out, energy(part.laeq), 0.0)
    within = np.concatenate([[0.0], np.cumsum(energies)])
    first = int(np.argmax(within[length:] - within[:-length]))
    return first, first + length
