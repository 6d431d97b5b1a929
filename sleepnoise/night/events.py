"""Intrusive events: stretches that stand out from a moving background."""

from dataclasses import dataclass
from datetime import datetime

from sleepnoise.acoustics.spectrum import Spectrum


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One intrusive event.

    Attributes
    ----------
    number : int
        From 1, in order of time.
    start : datetime
        UTC.
    duration_s : float, s
    first_tick, last_tick : int
        Half-open range of ticks of the history.
    lafmax, lasmax, lae, lcpeak : float, dB
    background_la90 : float, dB
        Level exceeded 90 % of the time in the event-free minutes before.
    emergence_db : float, dB
        ``lafmax`` over ``background_la90``.
    max_spectrum : Spectrum
        Band by band the highest level within the event: over 125 ms from 250 Hz up, over
        0.5 s below, where shorter stretches of a steady sound already scatter by decibels.
    background_spectrum : Spectrum
        Equivalent band levels of the event-free minutes before.
    group, label : str
        Empty until someone says which sounds belong together and what they are.
    flags : tuple of str
        Such as ``"cut off by the end of the recording"``.
    """

    number: int
    start: datetime
    duration_s: float
    first_tick: int
    last_tick: int
    lafmax: float
    lasmax: float
    lae: float
    lcpeak: float
    background_la90: float
    emergence_db: float
    max_spectrum: Spectrum
    background_spectrum: Spectrum
    group: str = ""
    label: str = ""
    flags: tuple[str, ...] = ()
