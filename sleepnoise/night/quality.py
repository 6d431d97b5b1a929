"""Quality of a night, from its level history, and what flags of any origin do to levels and events.

Flags from the samples themselves come from :mod:`sleepnoise.recording.quality`; here is what only
levels can tell: sound too near the recorder's own noise, a gain that moves, coding that drops
what is quiet, knocks and wind.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import maximum_filter1d

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.levels.statistics import exceeded_levels
from sleepnoise.night.background import moving_background, usable_ticks
from sleepnoise.night.event_settings import EventSettings
from sleepnoise.night.events import Event
from sleepnoise.recording.quality import Effect, Kind, QualityFlag, joined
from sleepnoise.recording.sample_faults import runs_of

LOWER_BOUND = "overloaded: levels are at least these"
"""Flag of an event during which peaks were cut off."""

SETTLING_TICKS = 4
"""Ticks left out after a fault, for the F detector to forget it. Chosen: four time constants, 0.1 dB."""

OWN_NOISE = Source(
    document="energy sum of two independent noises",
    place="a floor 6.9 dB down lifts a level by 0.8 dB, what IEC 61672-1 lets a class 1 meter err",
    how_known="computed",
)
OWN_NOISE_MARGIN_DB = 7.0
"""LA90 nearer to the recorder's own noise is an upper bound, dB. Source: OWN_NOISE."""

UNDER_RANGE_S = 60.0
"""Shortest stretch that is flagged as under-range, s. Chosen: a report's smallest interval has minutes."""

READING_TICKS = 4
"""Ticks of which the median is one reading. Chosen: 0.5 s, which halves the scatter of a quiet room."""

LOUD_DB = 15.0
"""Height of sounds over what is before that may turn a gain down, dB. Chosen: gains act on loud sounds."""

BEFORE_READINGS = 20
"""Readings before a loud sound that tell the background. Chosen: 10 s."""

AFTER_READINGS = 8
"""Readings after it in which a dip is looked for. Chosen: 4 s; the sound itself must be over by then."""

LATER_READINGS = (20, 60)
"""Readings after it that tell whether the background has come back. Chosen: 10 to 30 s later."""

OVER_DB = 3.0
"""A sound is over when it is this near to what was before, dB. Chosen: leaves slow passages out."""

DIP_DB = 1.5
"""Dip below the lowest background around that shows a gain, dB. Chosen: the lowest of 8 readings lies above
the lowest of 60 in nearly any room; in the invented night by 0 to 3 dB."""

DIPS_NEEDED = 3
"""Loud sounds needed for a judgement on a night. Chosen: one or two can meet a lull."""

DIP_SHARE = 0.5
"""Share of the loud sounds that must dip. Chosen: a gain does it nearly each time, chance hardly ever."""

CLIFF_FROM_HZ = 1000.0
"""Cliffs are looked for above, Hz. Chosen: hums and rooms make steep spectra below, coders do not."""

CLIFF_UP_TO = 0.45
"""Highest frequency looked at, as a share of the sampling rate. Chosen: converters filter above."""

CLIFF_DB = 15.0
"""Fall from three bands to all above, dB. Chosen: 45 dB an octave at least; rooms fall by 5."""

KNOCK_OVER_A_DB = 35.0
"""LZeq over LAeq of a knock, dB. Chosen: footsteps overhead have up to 30, in the bands from 20 Hz up."""

KNOCK_OVER_QUIET_DB = 10.0
"""LZeq of a knock over the median, dB. Chosen: below, an unsteady background would knock by itself."""

KNOCK_TICKS = 4
"""Longest knock, ticks. Chosen: 0.5 s; longer rumble is wind, a lorry or a lift."""

GUST_WINDOW_S = 10.0
"""Stretch that is judged windy or not, s. Chosen: holds a few gusts, and is no single passage."""

GUST_TICKS = 4
"""Ticks averaged. Chosen: in 0.5 s steady noise below 45 Hz scatters by 1 dB."""

GUST_DB = 8.0
"""Range of a window without its two highest and lowest readings that makes gusts, dB. Chosen: 2.5 times
that of steady noise; a knock or two are no gust."""

WIND_SLOPE_DB = 6.0
"""Sound below 45 Hz over that from there to 112 Hz, dB. Chosen: wind falls steeply,
traffic has its hump at 63 Hz."""

WIND_OVER_A_DB = 25.0
"""Sound below 45 Hz over LAeq, dB. Chosen: A weighting takes 30 to 50 dB off there."""

_TICK = timedelta(seconds=TICK_S)


def left_out_mask(history: LevelHistory, flags: Iterable[QualityFlag]) -> MaskArray:
    """Return the ticks that flags leave out, shape (ticks,), each with the time to settle after it."""
    mask = np.zeros(history.ticks, dtype=np.bool_)
    for flag in flags:
        if flag.effect == "left out":
            first, last = _ticks_of(history, flag)
            mask[max(first, 0) : max(last + SETTLING_TICKS, 0)] = True
    return mask


def _ticks_of(history: LevelHistory, flag: QualityFlag) -> tuple[int, int]:
    """Return the half-open range of ticks that a flag touches; it may reach beyond the history."""
    return (flag.start - history.start) // _TICK, -((history.start - flag.end) // _TICK)


def without_faults(history: LevelHistory, flags: Iterable[QualityFlag]) -> LevelHistory:
    """Return the history with all that flags leave out left out of every statistic."""
    return history.without(left_out_mask(history, flags))


def with_lower_bounds(events: Iterable[Event], flags: Iterable[QualityFlag]) -> tuple[Event, ...]:
    """Return events of which those are flagged whose levels are lower bounds, because peaks were cut off."""
    spans = [(flag.start, flag.end) for flag in flags if flag.effect == "lower bound"]

    def marked(event: Event) -> Event:
        end = event.start + timedelta(seconds=event.duration_s)
        if LOWER_BOUND not in event.flags and any(a < end and b > event.start for a, b in spans):
            return replace(event, flags=(*event.flags, LOWER_BOUND))
        return event

    return tuple(map(marked, events))


def at_most(la90: float, own_noise_la_db: float) -> bool:
    """Return whether a level is so near the recorder's own noise that it is only an upper bound."""
    return la90 < own_noise_la_db + OWN_NOISE_MARGIN_DB


def under_range_flags(
    history: LevelHistory, own_noise_la_db: float, settings: EventSettings | None = None
) -> tuple[QualityFlag, ...]:
    """Return the stretches whose background is too near the recorder's own noise.

    Parameters
    ----------
    history : LevelHistory
    own_noise_la_db : float, dB
        A-weighted level that the recorder shows where there is no sound.
    settings : EventSettings, optional
        Those that the background is found with.
    """
    background = moving_background(history, settings or EventSettings()).level_db
    quiet = runs_of(background < own_noise_la_db + OWN_NOISE_MARGIN_DB)
    long = round(UNDER_RANGE_S * TICKS_PER_SECOND)
    spans = joined(quiet, long)
    what = (
        f"The background is within {OWN_NOISE_MARGIN_DB:g} dB of the recorder's own noise of "
        f"{own_noise_la_db:g} dB(A): its level is at most what is printed."
    )
    return tuple(
        _flag(history, "under-range", span, what, "upper bound")
        for span in spans.tolist()
        if span[1] - span[0] >= long
    )


def gain_dips_db(history: LevelHistory) -> FloatArray:
    """Return by how much the background is lower just after each short loud sound than around, falling, dB.

    In a room the background after a sound is what it was before, or still a little higher. A gain
    that was turned down by the sound and recovers makes it lower, for seconds. Only the lowest
    readings before, after and later are compared: other sounds do not disturb them.
    """
    readings = history.ticks // READING_TICKS
    first, last = LATER_READINGS
    if readings < BEFORE_READINGS + last:
        return np.empty(0)
    laf, lafmax = (
        np.where(usable_ticks(history), levels, np.nan)[: readings * READING_TICKS].reshape(-1, READING_TICKS)
        for levels in (history.laf, history.lafmax)
    )
    floor, top = np.median(laf, axis=1), lafmax.max(axis=1)
    # One row for each reading that has enough on both sides.
    rows = sliding_window_view(floor, BEFORE_READINGS + last)
    place = slice(BEFORE_READINGS, BEFORE_READINGS + len(rows))
    before = rows[:, :BEFORE_READINGS].min(axis=1)
    after = rows[:, BEFORE_READINGS + 1 : BEFORE_READINGS + 1 + AFTER_READINGS].min(axis=1)
    later = rows[:, BEFORE_READINGS + first :].min(axis=1)
    loudest = top[place] >= maximum_filter1d(top, 2 * BEFORE_READINGS + 1)[place]
    loud = loudest & (top[place] >= before + LOUD_DB) & (after <= before + OVER_DB)
    dips = (np.minimum(before, later) - after)[loud]
    return np.sort(dips[np.isfinite(dips)])[::-1]


def gain_control_flags(history: LevelHistory) -> tuple[QualityFlag, ...]:
    """Return a flag over the whole recording if loud sounds leave a background that has to climb back."""
    dips_db = gain_dips_db(history)
    dipped = dips_db[dips_db >= DIP_DB]
    if dips_db.size < DIPS_NEEDED or dipped.size < DIP_SHARE * dips_db.size:
        return ()
    levels = exceeded_levels(history.laf[usable_ticks(history)])
    what = (
        f"After {dipped.size} of {dips_db.size} short loud sounds the background is "
        f"{np.median(dipped):.0f} dB too low and climbs back within seconds: an automatic gain was on. "
        f"No level can be trusted; LA10 - LA90 is {levels['la10'] - levels['la90']:.0f} dB, "
        f"squeezed by an unknown amount."
    )
    return (_flag(history, "gain control", (0, history.ticks), what, "noted"),)


def cliff_hz(history: LevelHistory) -> float | None:
    """Return where the quiet spectrum ends in a cliff, Hz; None if it does not.

    The quiet spectrum has in each third octave the level exceeded 90 % of the time. That of a room
    and a microphone falls and rises gently; coders leave nothing above some frequency, or
    nothing of what is quiet.
    """
    edges_hz = band_edges_hz(history.nominal_hz)
    looked_at = (edges_hz[0] >= CLIFF_FROM_HZ) & (edges_hz[1] <= CLIFF_UP_TO * history.sample_rate_hz)
    usable = ~history.left_out & np.isfinite(history.laeq)
    if not usable.any():
        return None
    quiet = np.array([np.percentile(band[usable], 10, method="lower") for band in history.bands])
    for place in np.flatnonzero(looked_at):
        below, above = quiet[place - 3 : place].min(), quiet[place:][looked_at[place:]].max()
        if above == -np.inf or below - above >= CLIFF_DB:
            return float(edges_hz[0][place])
    return None


def lossy_floor_flags(history: LevelHistory) -> tuple[QualityFlag, ...]:
    """Return a flag over the whole recording if its quiet spectrum ends in a cliff, as coding leaves it."""
    above_hz = cliff_hz(history)
    if above_hz is None:
        return ()
    what = (
        f"Next to nothing is left above {above_hz:.0f} Hz while the room is quiet: the file was coded with "
        "loss or made from a lower sampling rate. LA90 may be too low."
    )
    return (_flag(history, "lossy floor", (0, history.ticks), what, "noted"),)


def knock_flags(history: LevelHistory) -> tuple[QualityFlag, ...]:
    """Return the short thumps whose sound is mostly below hearing: something touched the recorder."""
    infrasonic = _infrasonic(history)
    lz = history.lzeq.astype(np.float64)
    usable = usable_ticks(history) & np.isfinite(lz)
    if not usable.any():
        return ()
    with np.errstate(invalid="ignore"):
        thump = usable & infrasonic & (lz - history.laeq >= KNOCK_OVER_A_DB)
    thump &= lz >= float(np.median(lz[usable])) + KNOCK_OVER_QUIET_DB
    what = "A thump that is nearly all below hearing: something touched or moved the recorder."
    spans = runs_of(thump)
    short = spans[(spans[:, 1] - spans[:, 0]) <= KNOCK_TICKS]
    # Gusts about the edges of windy time would knock, too.
    calm = ~maximum_filter1d(_windy_ticks(history), 2 * round(GUST_WINDOW_S * TICKS_PER_SECOND) + 1)
    return tuple(_flag(history, "knock", span, what, "noted") for span in short.tolist() if calm[span[0]])


def _infrasonic(history: LevelHistory) -> MaskArray:
    """Return the ticks in which more than half of the unweighted energy lies below the lowest band."""
    banded = np.zeros(history.ticks)
    for band in history.bands:
        banded += energy(band)
    return np.asarray(banded < energy(history.lzeq) / 2)


def wind_flags(history: LevelHistory) -> tuple[QualityFlag, ...]:
    """Return the stretches in which air moves about the microphone.

    Wind is a rumble that is strongest at the lowest frequencies, comes in gusts, and reaches
    little into what A weighting hears.
    """
    what = "Wind or a draught on the microphone: gusts of rumble that are no sound of the room."
    spans = runs_of(_windy_ticks(history))
    return tuple(_flag(history, "wind", span, what, "noted") for span in spans.tolist())


def _windy_ticks(history: LevelHistory) -> MaskArray:
    """Return the ticks of those windows that are windy, and of single calm ones between them."""
    window = round(GUST_WINDOW_S * TICKS_PER_SECOND)
    windows = history.ticks // window
    mask = np.zeros(history.ticks, dtype=np.bool_)
    if windows == 0:
        return mask
    low, higher, audible = (
        part[: windows * window].reshape(windows, window)
        for part in (*_low_energies(history), energy(history.laeq))
    )
    gusts = level(low.reshape(windows, -1, GUST_TICKS).mean(axis=2))
    strength_db = level(low.mean(axis=1))
    with np.errstate(invalid="ignore"):
        windy = np.ptp(np.sort(gusts, axis=1)[:, 2:-2], axis=1) >= GUST_DB
        windy &= strength_db - level(higher.mean(axis=1)) >= WIND_SLOPE_DB
        windy &= strength_db - level(audible.mean(axis=1)) >= WIND_OVER_A_DB
    for first, last in (joined(runs_of(windy), 1) * window).tolist():
        mask[first:last] = True
    return mask


def _low_energies(history: LevelHistory) -> tuple[FloatArray, FloatArray]:
    """Return the energies of each tick below about 45 Hz and from there to 112 Hz."""
    low, higher, others = (np.zeros(history.ticks) for _ in range(3))
    # One band at a time: the energies of all bands of a night would be larger than its history.
    for nominal, band in zip(history.nominal_hz, history.bands, strict=True):
        part = low if nominal <= 40 else higher if nominal <= 100 else others
        part += energy(band)
    below = np.maximum(energy(history.lzeq) - low - higher - others, 0.0)
    return low + below, higher


def history_flags(history: LevelHistory, *, own_noise_la_db: float | None = None) -> tuple[QualityFlag, ...]:
    """Return everything that levels tell about the quality of a recording, in order of time.

    Parameters
    ----------
    history : LevelHistory
    own_noise_la_db : float, optional
        The recorder's own noise, dB(A), if it is known.
    """
    flags = [
        *gain_control_flags(history),
        *lossy_floor_flags(history),
        *knock_flags(history),
        *wind_flags(history),
    ]
    if own_noise_la_db is not None:
        flags += under_range_flags(history, own_noise_la_db)
    return tuple(sorted(flags, key=lambda flag: (flag.start, flag.end, flag.kind)))


def _flag(history: LevelHistory, kind: Kind, span: Sequence[int], what: str, effect: Effect) -> QualityFlag:
    start, end = history.time_of(span[0]), history.time_of(span[1])
    return QualityFlag(kind=kind, start=start, end=end, what=what, effect=effect)
