"""Recurring sounds: events that are alike, as groups with names of their own.

Events are joined into a tree, the nearest first (average linkage); a group is a branch that is no
wider than one sound can be. What is like nothing else stays single.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.night.events import Event
from sleepnoise.recognition.features import SoundFeatures, distances, mean_features

Whose = Literal["", "outside", "room", "sleeper"]
"""Whose a sound is: not said, somebody else's, the room's own or the sleeper's."""

FEWEST = 3
"""Events that make a group. Chosen: two alike may be chance, three are hardly."""

WIDEST = 1.4
"""Widest group, standard deviation about its centre. Chosen: the largest at which no more than 3 % of the
sounds of a night of real sounds that are all unlike come into a group (5 % by levels alone)."""

FARTHEST = 2.3
"""Farthest event of a group from its centre. Chosen: 99 of 100 occurrences of one sound lie nearer."""

SAME_SOUND = 1.2
"""Groups of two nights whose centres lie within this are one sound. Chosen: see REACH; centres stray less."""

REACH = 1.3
"""A single event this near to the centre of a known sound is one. Chosen: nine of ten occurrences lie within
1.35, and 95 % of the nearest foreign sounds beyond 1.45."""

LENGTHS_S = (("short", 2.0), ("passing", 30.0), ("long", np.inf))
"""Words for the length of a sound, with its upper limit, s. Chosen: a bang, a passage, what runs."""

PITCHES_HZ = (("low", 250.0), ("middle", 2000.0), ("high", np.inf))
"""Words for where most of a sound's A-weighted energy lies, with the upper limit, Hz. Chosen: about an octave
below and three above the middle of speech."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSound:
    """A sound that has been met before, by which to know it again.

    Attributes
    ----------
    name : str
        Given once and kept.
    label : str
        What somebody says it is; empty until then.
    whose : Whose
    events, nights : int
        How often it was met, and in how many nights.
    features : SoundFeatures
        Its centre.
    """

    name: str
    label: str = ""
    whose: Whose = ""
    events: int = 0
    nights: int = 0
    features: SoundFeatures


@dataclass(frozen=True, slots=True, kw_only=True)
class RecurringSound:
    """Events of one night that are alike.

    Attributes
    ----------
    sound : KnownSound
        What is known of it, this night counted in.
    known_before : bool
        Whether it was met on an earlier night.
    events : tuple of int
        Numbers of its events, rising.
    times : tuple of datetime
        Their starts, UTC.
    typical : int
        Number of the event nearest to their centre.
    width : float
        Root mean square distance of the events from their centre; about 1 for one sound.
    """

    sound: KnownSound
    known_before: bool
    events: tuple[int, ...]
    times: tuple[datetime, ...]
    typical: int
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupedEvents:
    """The events of one night, by likeness.

    Attributes
    ----------
    groups : tuple of RecurringSound
        In order of their first event.
    singles : tuple of int
        Numbers of events that are like no other.
    listened : bool
        Whether the sound of every event was at hand, or levels only for some.
    """

    groups: tuple[RecurringSound, ...]
    singles: tuple[int, ...]
    listened: bool

    def group_of(self, number: int) -> RecurringSound | None:
        """Return the group that an event belongs to."""
        return next((group for group in self.groups if number in group.events), None)


def group_events(
    events: Sequence[Event], features: Sequence[SoundFeatures], known: Sequence[KnownSound] = ()
) -> GroupedEvents:
    """Return which events are alike, and which known sounds they are.

    Parameters
    ----------
    events : sequence of Event
    features : sequence of SoundFeatures
        One for each event, in the same order.
    known : sequence of KnownSound
        From earlier nights.

    Returns
    -------
    GroupedEvents
        The same whatever the order of the events.
    """
    groups = _alike(features)
    places = _with_known(groups, features, known)
    ordered = sorted(places, key=lambda pair: events[int(pair[0][0])].start)
    found: list[RecurringSound] = []
    for members, before in ordered:
        taken = [*(each.name for each in known), *(group.sound.name for group in found)]
        found.append(_recurring([events[k] for k in members], [features[k] for k in members], before, taken))
    grouped = {number for group in found for number in group.events}
    return GroupedEvents(
        groups=tuple(found),
        singles=tuple(sorted(event.number for event in events if event.number not in grouped)),
        listened=all(each.audio for each in features),
    )


def _alike(features: Sequence[SoundFeatures]) -> list[NDArray[np.int64]]:
    """Return groups of places, each no wider than one sound, as large as that allows."""
    if len(features) < FEWEST:
        return []
    from scipy.cluster.hierarchy import average, to_tree
    from scipy.spatial.distance import squareform

    apart = distances(list(features), list(features))
    groups: list[NDArray[np.int64]] = []
    branches = [to_tree(average(squareform(apart, checks=False)))]
    while branches:
        branch = branches.pop()
        places = np.array(sorted(branch.pre_order()), dtype=np.int64)
        if places.size < FEWEST:
            continue
        if _is_one_sound(apart[np.ix_(places, places)]):
            groups.append(places)
        else:
            branches += [part for part in (branch.get_left(), branch.get_right()) if part is not None]
    return groups


def _is_one_sound(apart: FloatArray) -> bool:
    """Return whether sounds that lie so far from each other are no wider than one."""
    squares = apart**2
    # Half the mean of all pairs is the mean square from the centre.
    from_centre = squares.mean(axis=1) - squares.mean() / 2
    # The centre is made of the same few sounds, and so nearer to them than the true one.
    width_square = from_centre.sum() / (len(apart) - 1)
    return bool(width_square <= WIDEST**2 and from_centre.max() <= FARTHEST**2)


def _with_known(
    groups: list[NDArray[np.int64]], features: Sequence[SoundFeatures], known: Sequence[KnownSound]
) -> list[tuple[NDArray[np.int64], KnownSound | None]]:
    """Return groups with the known sound that each is; single events that are one join it."""
    if not known:
        return [(places, None) for places in groups]
    met: dict[int, list[int]] = {}
    new: list[tuple[NDArray[np.int64], KnownSound | None]] = []
    centres = [each.features for each in known]
    for places in groups:
        to_known = distances([mean_features([features[k] for k in places])], centres)[0]
        nearest = int(to_known.argmin())
        if to_known[nearest] <= SAME_SOUND:
            met.setdefault(nearest, []).extend(places.tolist())
        else:
            new.append((places, None))
    for place in sorted(set(range(len(features))) - {int(k) for places in groups for k in places}):
        to_known = distances([features[place]], centres)[0]
        if to_known.min() <= REACH:
            met.setdefault(int(to_known.argmin()), []).append(place)
    return [*new, *((np.array(sorted(places)), known[nearest]) for nearest, places in met.items())]


def _recurring(
    events: list[Event], features: list[SoundFeatures], before: KnownSound | None, taken: Iterable[str]
) -> RecurringSound:
    centre = mean_features(features)
    from_centre = distances(features, [centre])[:, 0]
    typical = events[int(from_centre.argmin())]
    numbers = tuple(event.number for event in events)
    now = before or KnownSound(name=_new_name(typical, taken), features=centre)
    return RecurringSound(
        sound=replace(
            now,
            events=now.events + len(events),
            nights=now.nights + 1,
            features=_moved(now, centre, len(events)),
        ),
        known_before=before is not None,
        events=numbers,
        times=tuple(event.start for event in events),
        typical=typical.number,
        width=float(np.sqrt(np.mean(from_centre**2))),
    )


def _moved(known: KnownSound, centre: SoundFeatures, count: int) -> SoundFeatures:
    """Return the centre of a known sound after so many more events about another centre."""
    if not known.events:
        return centre
    share = count / (known.events + count)

    def between(old: tuple[float, ...], new: tuple[float, ...]) -> tuple[float, ...]:
        return tuple((1 - share) * a + share * b for a, b in zip(old, new, strict=True))

    audio = known.features.audio
    if centre.audio:
        audio = between(audio, centre.audio) if audio else centre.audio
    return SoundFeatures(levels=between(known.features.levels, centre.levels), audio=audio)


def _new_name(typical: Event, taken: Iterable[str]) -> str:
    """Return a name made of plain words and the next free number, such as ``"short low sound 1"``."""
    length = next(word for word, up_to_s in LENGTHS_S if typical.duration_s < up_to_s)
    nominal_hz = typical.max_spectrum.nominal_hz
    weighted = energy(typical.max_spectrum.levels_db + band_weighting_db(nominal_hz))
    weighted = np.maximum(
        weighted - energy(typical.background_spectrum.levels_db + band_weighting_db(nominal_hz)), 0.0
    )
    reached = np.cumsum(np.nan_to_num(weighted))
    middle_hz = nominal_hz[int(np.searchsorted(reached, reached[-1] / 2))]
    pitch = next(word for word, up_to_hz in PITCHES_HZ if middle_hz < up_to_hz)
    stem = f"{length} {pitch} sound"
    used = [int(name.rpartition(" ")[2]) for name in taken if name.rpartition(" ")[0] == stem]
    return f"{stem} {max(used, default=0) + 1}"


def with_groups(events: Iterable[Event], grouped: GroupedEvents) -> tuple[Event, ...]:
    """Return events with the name of their group, and its label where they have none of their own."""
    by_number = {number: group.sound for group in grouped.groups for number in group.events}
    return tuple(
        event
        if (sound := by_number.get(event.number)) is None
        else replace(event, group=sound.name, label=event.label or sound.label)
        for event in events
    )


def labelled(grouped: GroupedEvents, said: Mapping[str, tuple[str, Whose]]) -> GroupedEvents:
    """Return groups with labels: by the name of a group what it is, and whose."""

    def one(group: RecurringSound) -> RecurringSound:
        if group.sound.name not in said:
            return group
        label, whose = said[group.sound.name]
        return replace(group, sound=replace(group.sound, label=label, whose=whose))

    return replace(grouped, groups=tuple(one(group) for group in grouped.groups))


def known_after(known: Iterable[KnownSound], grouped: GroupedEvents) -> tuple[KnownSound, ...]:
    """Return what is known after a night: old sounds as they were or as they have become, then new ones."""
    tonight = {group.sound.name: group.sound for group in grouped.groups}
    old = [tonight.pop(each.name, each) for each in known]
    return (*old, *tonight.values())
