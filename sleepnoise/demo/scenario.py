"""Who sounds when at Larch Court, flat 3: an invented night, planned from a seed alone.

Seconds are counted from the scenario's own beginning, 22:55 local time, whatever part of the
night is recorded; so every part of a night is the same night.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from sleepnoise.errors import SettingsError

Kind = Literal["tram", "van and crates", "stairwell door", "footsteps above", "television next door"]
"""What can be heard. The condenser is no event: its cycles belong to the background."""

NOTICE = "INVENTED DATA: synthesised by sleepnoise. No such place, night or measurement exists."
"""Stands in every file of the demo."""
PLACE = "Larch Court, flat 3"
ZONE = "Europe/Vienna"
SCENARIO_START = datetime(2026, 2, 10, 22, 55, tzinfo=ZoneInfo(ZONE))
"""Beginning of the scenario. Chosen: five minutes before the night window, on no clock change."""
LONGEST_HOURS = 8.0
"""Longest night. Chosen: 22:55 to 06:55 holds everything that the scenario tells."""
SHORTEST_HOURS = 0.05
"""Shortest night. Chosen: three minutes, below that a background cannot be told."""
LEAST_GAP_S = 30.0
"""Quiet between two sounds. Chosen: nobody can take two neighbours for one event."""
EDGE_S = 15.0
"""Quiet at both ends of a recording. Chosen: a sound is heard whole or not at all."""
SETTLING_S = 240.0
"""Quiet at the beginning of the night. Chosen: lets a moving background settle."""

_TIME_DIGITS = 1
"""Decimals of start times. Chosen: whole samples at every usual sampling rate."""
_TRAM_PAUSE_S = (600.0, 900.0)
"""Between trams. Chosen: a late timetable, every 10 to 15 minutes."""
_TELEVISION_PAUSE_S = (90.0, 280.0)
"""Between loud spans. Chosen: about a dozen in the fifty minutes of a film."""
_HUM_ON_S = (480.0, 600.0)
"""Condenser running. Chosen: about 9 minutes."""
_HUM_OFF_S = (760.0, 920.0)
"""Condenser resting. Chosen: about 14 minutes."""
_HUM_LAEQ = (23.0, 27.0)
"""Hum alone, dB(A). Chosen: lifts a background of 27 dB(A) by 1.5 to 3 dB."""

_SECONDS: dict[Kind, tuple[float, float]] = {
    "tram": (16.0, 26.0),
    "van and crates": (65.0, 65.0),
    "stairwell door": (2.5, 2.5),
    "footsteps above": (8.0, 20.0),
    "television next door": (20.0, 60.0),
}
"""Length of each sound with its fading ends. Chosen: a tram is audible for 12 to 20 of its seconds."""
_LAFMAX: dict[Kind, tuple[float, float]] = {
    "tram": (42.0, 50.0),
    "van and crates": (53.0, 56.0),
    "stairwell door": (50.0, 58.0),
    "footsteps above": (40.0, 46.0),
    "television next door": (37.5, 41.0),
}
"""Highest level of each sound alone, dB(A). Chosen: usual indoor levels behind a closed window."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduledSound:
    """One sound of the night.

    Attributes
    ----------
    number : int
        Its own number within the whole night; seeds its waveform.
    kind : Kind
    start_s, seconds : float, s
        Fading ends included.
    lafmax : float, dB
        Of the sound alone.
    """

    number: int
    kind: Kind
    start_s: float
    seconds: float
    lafmax: float

    @property
    def end_s(self) -> float:
        """Seconds of the scenario at which the waveform ends."""
        return self.start_s + self.seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class HumCycle:
    """One running time of the condenser: ramps included; *laeq* of the hum alone at full power."""

    start_s: float
    seconds: float
    laeq: float

    @property
    def end_s(self) -> float:
        """Seconds of the scenario at which the condenser is silent again."""
        return self.start_s + self.seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """The recorded part of one night.

    Attributes
    ----------
    seed : int
    first_s, seconds : float, s
        Where in the scenario the recording begins, and how long it lasts.
    sounds : tuple of ScheduledSound
        Those that lie wholly inside, in order of time.
    hum : tuple of HumCycle
        Those that reach into it.
    """

    seed: int
    first_s: float
    seconds: float
    sounds: tuple[ScheduledSound, ...]
    hum: tuple[HumCycle, ...]

    @property
    def start(self) -> datetime:
        """Instant of the recording's first sample, UTC."""
        return SCENARIO_START.astimezone(ZoneInfo("UTC")) + timedelta(seconds=self.first_s)


def seconds_at(clock: str) -> float:
    """Return the seconds of the scenario at a local clock time of that night.

    Examples
    --------
    >>> seconds_at("23:00"), seconds_at("04:10:30")
    (300.0, 18930.0)
    """
    hours, minutes, *rest = (int(part) for part in clock.split(":"))
    since_midnight_s = hours * 3600 + minutes * 60 + sum(rest)
    start_s = SCENARIO_START.hour * 3600 + SCENARIO_START.minute * 60
    return float((since_midnight_s - start_s) % 86_400)


def planned_night(seed: int, *, hours: float = LONGEST_HOURS, first_s: float = 0.0) -> Scenario:
    """Return what is heard in a part of the night.

    Parameters
    ----------
    seed : int
        0 or more. The same seed is the same night.
    hours : float, h
        Length of the recording.
    first_s : float, s
        Second of the scenario at which it begins.

    Raises
    ------
    SettingsError
        If the seed is negative or the length lies outside 0.05 to 8 h.
    """
    if seed < 0:
        raise SettingsError(f"seed: must be 0 or more, got {seed}.", remedy="Give a whole number such as 3.")
    if not SHORTEST_HOURS <= hours <= LONGEST_HOURS:
        raise SettingsError(
            f"hours: a demo night lasts {SHORTEST_HOURS:g} to {LONGEST_HOURS:g} h, got {hours:g}.",
            remedy=f"Give a length between {SHORTEST_HOURS:g} and {LONGEST_HOURS:g} hours.",
        )
    last_s = first_s + hours * 3600.0
    sounds = tuple(
        sound
        for sound in _whole_night(seed)
        if sound.start_s >= first_s + EDGE_S and sound.end_s <= last_s - EDGE_S
    )
    hum = tuple(cycle for cycle in _hum_cycles(seed) if cycle.end_s > first_s and cycle.start_s < last_s)
    return Scenario(seed=seed, first_s=first_s, seconds=hours * 3600.0, sounds=sounds, hum=hum)


def _whole_night(seed: int) -> list[ScheduledSound]:
    """Place every sound of the night, in order of time; who comes later in the list gives way."""
    rng = np.random.default_rng([seed, 0])
    placed: list[ScheduledSound] = []
    for number, (kind, wished_s) in enumerate(_wishes(rng)):
        seconds = round(rng.uniform(*_SECONDS[kind]), 1)
        lafmax = round(rng.uniform(*_LAFMAX[kind]), 1)
        start_s = round(_free_from(wished_s, seconds, placed), _TIME_DIGITS)
        placed.append(
            ScheduledSound(number=number, kind=kind, start_s=start_s, seconds=seconds, lafmax=lafmax)
        )
        placed.sort(key=lambda sound: sound.start_s)
    return placed


def _free_from(wished_s: float, seconds: float, placed: list[ScheduledSound]) -> float:
    """Return the first moment from *wished_s* on that leaves every placed sound its quiet."""
    start_s = wished_s
    for sound in placed:
        if start_s - LEAST_GAP_S < sound.end_s and start_s + seconds + LEAST_GAP_S > sound.start_s:
            start_s = sound.end_s + LEAST_GAP_S
    return start_s


def _wishes(rng: np.random.Generator) -> Iterator[tuple[Kind, float]]:
    """Yield what should sound and when, the most punctual first."""
    yield "van and crates", seconds_at("04:10")
    for clock in ("04:07:10",):
        yield "footsteps above", seconds_at(clock) + rng.uniform(0.0, 5.0)
    for clock in ("04:08:15", "04:09:10", "04:11:55"):
        yield "stairwell door", seconds_at(clock) + rng.uniform(0.0, 5.0)
    for first, last in (("22:59:30", "00:40"), ("05:20", "06:55")):
        yield from (("tram", at_s) for at_s in _every(rng, first, last, _TRAM_PAUSE_S))
    for clock in ("23:18", "00:14", "00:52", "01:41", "03:22", "05:04", "05:47", "06:31"):
        yield "stairwell door", seconds_at(clock) + rng.uniform(0.0, 120.0)
    for clock in ("23:34", "23:56", "00:31", "02:17", "06:08", "06:41"):
        yield "footsteps above", seconds_at(clock) + rng.uniform(0.0, 120.0)
    for at_s in _every(rng, "23:00", "23:50", _TELEVISION_PAUSE_S):
        yield "television next door", at_s


def _every(rng: np.random.Generator, first: str, last: str, pause_s: tuple[float, float]) -> Iterator[float]:
    """Yield moments between two clock times, a random pause apart."""
    at_s = seconds_at(first) + rng.uniform(0.0, pause_s[0] / 2)
    while at_s < seconds_at(last):
        yield at_s
        at_s += rng.uniform(*pause_s)


def _hum_cycles(seed: int) -> Iterator[HumCycle]:
    """Yield the condenser's running times from the first to the last that the night can hold."""
    rng = np.random.default_rng([seed, 1])
    start_s = rng.uniform(*_HUM_OFF_S) / 2
    while start_s < LONGEST_HOURS * 3600.0:
        seconds = rng.uniform(*_HUM_ON_S)
        yield HumCycle(start_s=start_s, seconds=seconds, laeq=rng.uniform(*_HUM_LAEQ))
        start_s += seconds + rng.uniform(*_HUM_OFF_S)
