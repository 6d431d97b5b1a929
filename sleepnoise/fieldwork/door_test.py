"""A door test: steady noise on one side, short recordings on the other, one change after another.

Of each recording only the time counts in which the noise was steady: talk and bangs are left
out. Every array has one row for the A-weighted level and one for each band after it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.uncertainty import COVERAGE_95, residual_sensitivities
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.fieldwork.background import FIELD_RULE
from sleepnoise.fieldwork.ladder import Ladder, ladder
from sleepnoise.levels.history import TICK_S, TICKS_PER_SECOND, LevelHistory, MaskArray
from sleepnoise.levels.hundredths import LevelArray

SPOILT_DB = 1.5
"""Departure of LAF from the recording's median that is no longer steady noise, dB. Chosen: broadband noise
stays within 0.5 dB; talk rises and falls by 10 dB and more, so what stays below is soon followed by
what does not (common practice, no source)."""

SPOILT_BACKGROUND_DB = 5.0
"""The same for the background, and upwards only, dB. Chosen: a quiet room breathes by a few decibels; a bang
or a word is none of it."""

SPOILT_SPREADS = 5.0
"""The same in robust standard deviations of the recording, where that is more. Chosen: noise of few low
bands must not be rejected for being itself."""

LARGEST_SPREAD_DB = 1.5
"""Robust standard deviation of LAF above which a recording is not steady at all, dB. Chosen: noise of nothing
but low bands reaches 0.9 (measured); where talk goes on most of the time it is several dB."""

GUARD_TICKS = 4
"""Ticks left out on both sides of every spoilt one, 0.5 s. Chosen: pauses between syllables are shorter."""

SHORTEST_S = 5.0
"""Shortest recording, s. Chosen: band levels down to 100 Hz settle to about half a decibel."""

LEAST_STEADY_S = 2.0
"""Least steady time in a recording, s. Chosen: two seconds still tell the A-weighted level to 0.2 dB."""

SECOND_TICKS = TICKS_PER_SECOND
"""Ticks whose mean counts as one reading of the spread. Chosen: a second outlasts every filter's ringing."""

NORMAL_MAD = 1.4826
"""Standard deviation over median absolute deviation of normal noise. Source: normal distribution."""

TYPED_U_DB = 0.5
"""u of a level read off a display, dB. Chosen: digits move while one reads (common practice, no source)."""

BETWEEN_U_DB = 0.5
"""u of a step for everything that is not quite the same the next time, dB. Chosen: people, doors and
microphones put back by hand (common practice, no source); repeats replace it."""

ENOUGH_REPEATS = 4
"""Repeats beyond the first, of all steps together, from which their spread alone counts. Chosen: fewer may
agree by chance."""

BACKGROUND_U_DB = 1.0
"""u of the background for having been read at another time, dB. Chosen: a quiet hour changes by that much."""

_OCTAVES = tuple(place for place in range(2, len(NOMINAL_HZ) - 1, 3))
"""Places of nominal octaves among third octaves: 31.5 Hz, 63 Hz and so on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """One recording, or what was read off a meter.

    Attributes
    ----------
    name : str
        Of the file; ``"typed"`` otherwise.
    nominal_hz : tuple of float
        Bands; none if only the A-weighted level is known.
    levels_db : ndarray, shape (1 + bands,), dB
        LAeq, then the unweighted level of each band.
    u_db : ndarray, same shape, dB
        Standard uncertainty for the noise's own fluctuation.
    used_s, rejected_s : float, s
        Steady time, and time spoilt by something else; ``nan`` if typed.
    """

    name: str
    nominal_hz: tuple[float, ...]
    levels_db: FloatArray
    u_db: FloatArray
    used_s: float = np.nan
    rejected_s: float = np.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """The door after one more change.

    Attributes
    ----------
    title, done : str
        Its name, and what was done.
    readings : tuple of Reading
        Repeats, at least one.
    source : tuple of Reading
        Of a second microphone beside the noise; empty if there was none.
    """

    title: str
    done: str = ""
    readings: tuple[Reading, ...]
    source: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoorTest:
    """What a door test found.

    Attributes
    ----------
    steps : tuple of Step
    since : int
        Step, from 0, from which totals and shares count.
    nominal_hz : tuple of float
        Bands that every reading has.
    ladder : Ladder
        Levels without background and without what the source changed.
    measured_db : ndarray, shape (steps, 1 + bands), dB
        As they were read; energy mean of repeats.
    background_db : ndarray, shape (1 + bands,), dB
        ``-inf`` if none was read.
    background_read : bool
    source_change_db : ndarray, shape (steps, 1 + bands), dB
        How much louder the noise was than during the first step; ``nan``: not known.
    u_db : ndarray, shape (steps, 1 + bands), dB
        Standard uncertainty of a level as part of a difference.
    repeat_spread_db : ndarray, shape (steps,), dB
        Standard deviation of the LAeq of repeats; ``nan`` for fewer than two.
    """

    steps: tuple[Step, ...]
    since: int
    nominal_hz: tuple[float, ...]
    ladder: Ladder
    measured_db: FloatArray
    background_db: FloatArray
    background_read: bool
    source_change_db: FloatArray
    u_db: FloatArray
    repeat_spread_db: FloatArray

    def expanded_db(self, first: int, last: int) -> FloatArray:
        """Return U (k = 2) of the gain from one step to another, shape (1 + bands,), dB; a limit has none."""
        at_limit = self.ladder.at_limit[first] | self.ladder.at_limit[last]
        return np.where(at_limit, np.nan, COVERAGE_95 * np.hypot(self.u_db[first], self.u_db[last]))


def steady_reading(history: LevelHistory, name: str, *, background: bool, octaves: bool) -> Reading:
    """Return the levels of the time in which a recording was steady.

    Parameters
    ----------
    history : LevelHistory
    name : str
        For complaints.
    background : bool
        Without the noise; only what is far above the median is then left out.
    octaves : bool
        Octaves instead of third octaves.

    Raises
    ------
    RecordingError
        If it is too short, silent, or hardly ever steady.
    """
    if history.seconds < SHORTEST_S:
        raise RecordingError(
            f"{name}: a recording of a door test must last at least {SHORTEST_S:g} s, "
            f"got {history.seconds:.1f} s.",
            remedy="Record ten seconds of steady noise.",
        )
    kept = ~spoilt_ticks(history, background=background)
    used_s = float(kept.sum()) * TICK_S
    if used_s < LEAST_STEADY_S:
        raise RecordingError(
            f"{name}: hardly ever steady: {used_s:.1f} s of {history.seconds:.1f} s; at least "
            f"{LEAST_STEADY_S:g} s are needed.",
            remedy="Record this step again, with the noise on all the time and nobody talking.",
        )
    nominal_hz, bands = _octaves(history) if octaves else (history.nominal_hz, history.bands[:])
    energies = energy(np.vstack([history.laeq[None], bands])[:, kept])
    mean = energies.mean(axis=1)
    if not background and mean[0] == 0.0:
        raise RecordingError(f"{name}: holds no sound.", remedy="Check that the microphone was on.")
    return Reading(
        name=name,
        nominal_hz=nominal_hz,
        levels_db=level(mean),
        u_db=_fluctuation_u_db(energies),
        used_s=used_s,
        rejected_s=history.seconds - used_s,
    )


def spoilt_ticks(history: LevelHistory, *, background: bool = False) -> MaskArray:
    """Return the ticks in which something other than the steady noise was heard, shape (ticks,).

    LAF departs from its median, or LCeq does, which tells thumps; guards lie on both sides. All of
    them are spoilt where LAF is not steady to begin with.
    """
    spoilt = history.left_out.copy()
    if spoilt.all():
        return spoilt
    for levels in (history.laf, history.lceq):
        departure_db, spread_db = _departures(levels, ~history.left_out)
        if background:
            spoilt |= departure_db > max(SPOILT_BACKGROUND_DB, SPOILT_SPREADS * spread_db)
            continue
        spoilt |= np.abs(departure_db) > max(SPOILT_DB, SPOILT_SPREADS * spread_db)
        if levels is history.laf and spread_db > LARGEST_SPREAD_DB:
            spoilt[:] = True
    return np.asarray(ndimage.binary_dilation(spoilt, iterations=GUARD_TICKS))


def _departures(levels: LevelArray, usable: MaskArray) -> tuple[FloatArray, float]:
    """Return departures from the median of usable ticks, shape (ticks,), and their robust spread, dB."""
    median = np.median(levels[usable])
    with np.errstate(invalid="ignore"):
        # Silence does not depart from silence.
        departure_db = np.where(levels == median, 0.0, levels.astype(np.float64) - median)
    return departure_db, NORMAL_MAD * float(np.median(np.abs(departure_db[usable])))


def typed_reading(
    laeq: float | None = None, by_hz: Mapping[float, float] | None = None, *, octaves: bool = False
) -> Reading:
    """Return what was read off a meter: LAeq, or band levels of which LAeq is then the sum.

    Raises
    ------
    SettingsError
        If a band is no octave though octaves were read.
    """
    nominal_hz = tuple(sorted(by_hz or {}))
    allowed = {NOMINAL_HZ[place] for place in _OCTAVES}
    if octaves and not allowed.issuperset(nominal_hz):
        raise SettingsError(
            "typed levels: must be octaves, 31.5 Hz to 16000 Hz.",
            remedy='Give octaves only, or say bands = "third-octave".',
        )
    bands = np.array([by_hz[hz] for hz in nominal_hz] if by_hz else [])
    total = float(combine(bands + band_weighting_db(nominal_hz))) if laeq is None else laeq
    levels_db = np.array([total, *bands])
    u_db = np.full(levels_db.size, TYPED_U_DB)
    return Reading(name="typed", nominal_hz=nominal_hz, levels_db=levels_db, u_db=u_db)


def door_test(steps: Sequence[Step], background: Sequence[Reading] = (), since: int = 0) -> DoorTest:
    """Set the steps of a door test side by side.

    Parameters
    ----------
    steps : sequence of Step
        In the order in which they were made; at least two.
    background : sequence of Reading
        With the noise switched off.
    since : int
        Step, from 0, from which totals and shares count.
    """
    bands = _shared_bands(steps, background)
    rows = [[_rows(each, bands) for each in step.readings] for step in steps]
    measured_db = np.array([_energy_mean(each) for each in rows])
    background_db = np.full(1 + len(bands), -np.inf)
    if background:
        background_db = _energy_mean([_rows(each, bands) for each in background])
    change_db = _source_change_db(steps, bands)
    found = ladder(tuple(step.title for step in steps), measured_db, background_db)
    if all(step.source for step in steps):
        found = replace(found, levels_db=found.levels_db - change_db)
    return DoorTest(
        steps=tuple(steps),
        since=since,
        nominal_hz=bands,
        ladder=found,
        measured_db=measured_db,
        background_db=background_db,
        background_read=bool(background),
        source_change_db=change_db,
        u_db=_step_u_db(steps, rows, measured_db, background_db, bands),
        repeat_spread_db=np.array([_spread_db(each)[0] for each in rows]),
    )


def _octaves(history: LevelHistory) -> tuple[tuple[float, ...], FloatArray]:
    """Return nominal octaves whose three thirds were all heard, and their levels, (octaves, ticks)."""
    place_of = {hz: place for place, hz in enumerate(history.nominal_hz)}
    whole = [place for place in _OCTAVES if all(hz in place_of for hz in NOMINAL_HZ[place - 1 : place + 2])]
    thirds = [[place_of[hz] for hz in NOMINAL_HZ[place - 1 : place + 2]] for place in whole]
    return tuple(NOMINAL_HZ[place] for place in whole), combine(history.bands[thirds], axis=1)


def _fluctuation_u_db(energies: FloatArray) -> FloatArray:
    """Return the standard error of mean energies, shape (rows, ticks), from seconds of it, dB."""
    seconds = energies.shape[1] // SECOND_TICKS
    readings = (
        energies[:, : seconds * SECOND_TICKS].reshape(len(energies), seconds, SECOND_TICKS).mean(axis=2)
    )
    mean = readings.mean(axis=1)
    error = readings.std(axis=1, ddof=1) / np.sqrt(seconds)
    relative = np.divide(error, mean, out=np.zeros_like(mean), where=mean > 0.0)
    return level(1.0 + relative)


def _shared_bands(steps: Sequence[Step], background: Sequence[Reading]) -> tuple[float, ...]:
    sets = [set(each.nominal_hz) for step in steps for each in step.readings]
    sets += [set(each.nominal_hz) for each in background]
    # Beside the noise, LAeq alone tells how much louder all of it was.
    sets += [set(each.nominal_hz) for step in steps for each in step.source if each.nominal_hz]
    return tuple(sorted(set.intersection(*sets)))


def _rows(reading: Reading, bands: tuple[float, ...]) -> FloatArray:
    return np.asarray(reading.levels_db[_places(reading, bands)])


def _places(reading: Reading, bands: tuple[float, ...]) -> list[int]:
    if not reading.nominal_hz:
        return [0] * (1 + len(bands))
    return [0, *(1 + reading.nominal_hz.index(hz) for hz in bands)]


def _energy_mean(rows: Sequence[FloatArray]) -> FloatArray:
    return level(energy(rows).mean(axis=0))


def _source_change_db(steps: Sequence[Step], bands: tuple[float, ...]) -> FloatArray:
    """Return how much louder the noise was than during the first step; ``nan`` where not read."""
    unknown = np.full(1 + len(bands), np.nan)
    levels = [
        _energy_mean([_rows(each, bands) for each in step.source]) if step.source else unknown
        for step in steps
    ]
    return np.asarray(np.array(levels) - levels[0])


def _spread_db(rows: Sequence[FloatArray]) -> FloatArray:
    """Return the standard deviation of repeats, dB; ``nan`` for fewer than two."""
    if len(rows) < 2:
        return np.full(rows[0].size, np.nan)
    return np.asarray(np.std(rows, axis=0, ddof=1))


def _between_u_db(rows: Sequence[Sequence[FloatArray]]) -> FloatArray:
    """Return how well a step comes out again, from the spread of all repeats together, dB.

    As ISO 1996-2 does for single readings it does not shrink with their number: what differs
    from one repeat to the next also differs from one step to the next.
    """
    free = sum(len(each) - 1 for each in rows)
    if free == 0:
        return np.full(rows[0][0].size, BETWEEN_U_DB)
    squares = sum((np.var(each, axis=0) * len(each) for each in rows), start=np.zeros(rows[0][0].size))
    pooled_db = np.sqrt(squares / free)
    return np.asarray(pooled_db if free >= ENOUGH_REPEATS else np.maximum(pooled_db, BETWEEN_U_DB))


def _step_u_db(
    steps: Sequence[Step],
    rows: Sequence[Sequence[FloatArray]],
    measured_db: FloatArray,
    background_db: FloatArray,
    bands: tuple[float, ...],
) -> FloatArray:
    own_db = np.array([_mean_u_db(step.readings, bands) for step in steps])
    source_db = np.array([_mean_u_db(step.source, bands) for step in steps])
    of_level, of_background = residual_sensitivities(measured_db, background_db)
    # Where the standard takes nothing off, up to 0.5 dB of background is still in it.
    left_in_db = level(of_level) / np.sqrt(3.0)
    clear = measured_db - background_db >= FIELD_RULE.clear_db
    taken_off_db = np.where(clear, left_in_db, of_background * BACKGROUND_U_DB)
    own_db = np.where(clear, own_db, own_db * of_level)
    between_db = _between_u_db(rows)
    return np.asarray(np.sqrt(own_db**2 + source_db**2 + taken_off_db**2 + between_db**2))


def _mean_u_db(readings: Sequence[Reading], bands: tuple[float, ...]) -> FloatArray:
    """Return u of the mean of readings for their own fluctuation; none where nothing was read."""
    if not readings:
        return np.zeros(1 + len(bands))
    squares = [each.u_db[_places(each, bands)] ** 2 for each in readings]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)) / len(readings))
