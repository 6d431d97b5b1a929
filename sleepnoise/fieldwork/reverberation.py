"""Reverberation times from decays: impulse responses, bangs and interrupted noise.

The squared response is integrated backwards. Noise that stays behind bends such a curve, so its
power is taken off, the integration stops where the decay meets it, and what the decay would
have gone on to bring is added.

Symbols: ``T`` reverberation time; ``EDT``, ``T20``, ``T30`` times for 60 dB from the ranges 0 to
-10, -5 to -25 and -5 to -35 dB; ``B`` bandwidth.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import fft

from sleepnoise.acoustics.bands import OCTAVE_RATIO, exact_hz
from sleepnoise.acoustics.decibels import FloatArray, level
from sleepnoise.acoustics.source import Source
from sleepnoise.levels.bands import above_edge, below_edge

ISO_3382_1 = Source(document="ISO 3382-1:2009", place="5.3.3, decay range and noise", how_known="library")
ISO_3382_2 = Source(document="ISO 3382-2:2008", place="B.3 curvature", how_known="library")
ISO_3382_2_FILTERS = Source(document="ISO 3382-2:2008", place="7.3, filters", how_known="memory")

EDT_RANGE_DB = (0.0, -10.0)
"""Evaluation range of EDT. Source: ISO_3382_1."""
T20_RANGE_DB = (-5.0, -25.0)
"""Evaluation range of T20. Source: ISO_3382_1."""
T30_RANGE_DB = (-5.0, -35.0)
"""Evaluation range of T30. Source: ISO_3382_1."""
NOISE_BELOW_FOR_T20_DB = 35.0
"""How far noise must lie under the maximum for T20. Source: ISO_3382_1."""
NOISE_BELOW_FOR_T30_DB = 45.0
"""How far noise must lie under the maximum for T30. Source: ISO_3382_1."""
LARGEST_CURVATURE_PERCENT = 10.0
"""Above this a decay is suspiciously bent. Source: ISO_3382_2."""
SMALLEST_BANDWIDTH_TIMES_T = 16.0
"""B T below which the filter's own decay may show. Source: ISO_3382_2_FILTERS."""

REACHED_WITHIN_DB = 0.5
"""A curve that ends this near to the end of a range has reached it. Chosen: a fortieth of T20's range."""
TAIL_PART = 0.1
"""Last part of a recording that is taken for noise at first. Chosen: the trade's usual tenth."""
SMOOTHING_S = 0.01
"""Averaging of the envelope in which onset, decay and noise are sought, s. Chosen: a thirtieth of a
bedroom's reverberation time; short against 60 dB, long against a period of 500 Hz."""
KNEE_MARGIN_DB = 10.0
"""Slopes are sought only this far above the noise. Chosen: noise bends the envelope by 0.4 dB there."""
KNEE_ROUNDS = 2
"""Rounds of noise and crossing. Chosen: the second takes all the noise there is, not just the last tenth."""
LONGEST_FADE_BLOCKS = 10
"""Blocks that a decaying band may vanish for. Chosen: 0.1 s, a fade of the 50 Hz third octave."""
MIRROR_S = 0.25
"""How long a signal is continued for its filter, s. Chosen: longer than the slopes of the 50 Hz band ring."""
CUT_OFF_DB = 10.0
"""A decay that ends this much higher than noise would bend it was cut off. Chosen: twice what fades do."""
ONSET_BELOW_PEAK_DB = 20.0
"""A response begins this far below its peak. Chosen: the trade's usual threshold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Knee:
    """Where a decay meets the noise.

    Attributes
    ----------
    end : int
        Samples before the crossing.
    rate_per_s : float, 1/s
        Rate of the late decay: its energy falls as ``exp(-rate t)``.
    energy : float
        Energy density of the fitted decay at the crossing.
    noise : float
        Energy density of the noise.
    range_db : float, dB
        From the start of the fitted decay down to the noise.
    """

    end: int
    rate_per_s: float
    energy: float
    noise: float
    range_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayTimes:
    """Reverberation times of one decay.

    Attributes
    ----------
    edt_s, t20_s, t30_s : float, s
        ``nan`` where the decay does not reach far enough, or noise lies too high.
    range_db : float, dB
        Usable range above the noise; infinite without noise.
    curvature_percent : float, %
        ``100 (T30/T20 - 1)``; ``nan`` without T30.
    warnings : tuple of str
    """

    edt_s: float
    t20_s: float
    t30_s: float
    range_db: float
    curvature_percent: float
    warnings: tuple[str, ...] = ()


def integrated_decay(
    squared: ArrayLike, *, end: int | None = None, noise: float = 0.0, tail: float = 0.0
) -> FloatArray:
    """Integrate a squared response backwards.

    Parameters
    ----------
    squared : array_like, shape (samples,)
    end : int, optional
        Stop before this sample.
    noise : float, optional
        Energy density of noise, taken off every sample.
    tail : float, optional
        Sum over the samples that the decay would have had after *end*.

    Returns
    -------
    ndarray, shape (end,), dB
        0 dB at the first sample; ``nan`` from where the noise taken off leaves nothing.
    """
    remaining = np.asarray(squared, dtype=np.float64)[:end] - noise
    sums = np.cumsum(remaining[::-1])[::-1] + tail
    known = np.where(sums > 0.0, sums, np.nan)
    return level(known / known[:1])


def decay_time_s(curve_db: FloatArray, step_s: float, range_db: tuple[float, float]) -> float:
    """Return the time for 60 dB from a straight line through one range of a decay curve, s.

    Parameters
    ----------
    curve_db : ndarray, shape (samples,), dB
        Falling from 0 dB.
    step_s : float, s
    range_db : tuple of float, dB
        Upper and lower end, such as -5 and -25.

    Returns
    -------
    float, s
        ``nan`` when the curve does not reach the lower end, or does not fall.
    """
    upper_db, lower_db = range_db
    if not np.nanmin(curve_db, initial=0.0) < lower_db + REACHED_WITHIN_DB:
        return np.nan
    first = int(np.argmax(curve_db <= upper_db))
    inside = np.arange(first, np.flatnonzero(curve_db >= lower_db)[-1] + 1)
    inside = inside[np.isfinite(curve_db[inside])]
    if inside.size < 2:
        return np.nan
    slope_db_per_s = np.polyfit(inside * step_s, curve_db[inside], 1)[0]
    return float(-60.0 / slope_db_per_s) if slope_db_per_s < 0.0 else np.nan


def find_knee(squared: FloatArray, sample_rate_hz: float) -> Knee | None:
    """Find where a decay meets its noise, by rounds of fitting both; ``None`` when there is no decay.

    Parameters
    ----------
    squared : ndarray, shape (samples,)
        From the onset on.
    sample_rate_hz : float, Hz

    References
    ----------
    In the manner of Lundeby and others, Acustica 81 (1995) 344 (memory).
    """
    step = max(1, round(SMOOTHING_S * sample_rate_hz))
    blocks = squared[: squared.size // step * step].reshape(-1, step).mean(axis=1)
    if blocks.size < 4:
        return None
    fewest = max(1, int(TAIL_PART * blocks.size))
    noise = float(np.mean(blocks[-fewest:]))
    knee = None
    for _ in range(KNEE_ROUNDS):
        late = _late_decay(level(blocks), float(level(noise)))
        if late is None:
            return knee
        knee = late.meeting(noise, step, sample_rate_hz, squared.size)
        # Noise is heard alone 10 dB of decay after the crossing.
        quiet = blocks[knee.end // step + int(np.ceil(-10.0 / late.slope_db)) :]
        if quiet.size < fewest:
            return knee
        noise = float(np.mean(quiet))
    return knee


@dataclass(frozen=True, slots=True)
class _LateDecay:
    """A straight line through an envelope: level in dB at block 0, change a block, block where it stops."""

    start_db: float
    slope_db: float
    stop: int

    def meeting(self, noise: float, step: int, sample_rate_hz: float, samples: int) -> Knee:
        """Return where the line meets the noise; or where it is cut off, far above any noise."""
        noise_db, last_db = float(level(noise)), self.start_db + self.slope_db * self.stop
        cut_off = last_db > noise_db + KNEE_MARGIN_DB + CUT_OFF_DB
        floor_db = last_db if cut_off else noise_db
        end = min(round(((floor_db - self.start_db) / self.slope_db + 0.5) * step), samples)
        return Knee(
            end=end,
            rate_per_s=-self.slope_db / 10.0 * np.log(10.0) * sample_rate_hz / step,
            energy=10.0 ** ((self.start_db + self.slope_db * (end / step - 0.5)) / 10.0),
            noise=noise,
            range_db=self.start_db - 0.5 * self.slope_db - floor_db,
        )


def _late_decay(envelope_db: FloatArray, noise_db: float) -> _LateDecay | None:
    """Fit a line to the late decay, down to 10 dB over the noise; ``None`` when nothing falls."""
    peak = int(np.argmax(envelope_db))
    above = peak + np.flatnonzero(envelope_db[peak:] > noise_db + KNEE_MARGIN_DB)
    # Narrow bands fade deeply while they decay; only what is followed by a long gap is the end.
    ends = np.append(np.diff(above) > LONGEST_FADE_BLOCKS, True)
    stop = int(above[np.argmax(ends)]) + 1 if above.size else 0
    # The early part may fall differently; the late one decides where the noise is met.
    start = peak + int(np.argmax(envelope_db[peak:stop] <= envelope_db[peak] - 5.0)) if stop > peak else stop
    if stop - start < 3:
        start = peak
    blocks = start + np.flatnonzero(np.isfinite(envelope_db[start:stop]))
    if blocks.size < 3:
        return None
    slope_db, start_db = np.polyfit(blocks, envelope_db[blocks], 1)
    return _LateDecay(float(start_db), float(slope_db), stop) if slope_db < 0.0 else None


def decay_times(squared: ArrayLike, sample_rate_hz: float) -> DecayTimes:
    """Evaluate a squared impulse response that begins at its onset.

    Parameters
    ----------
    squared : array_like, shape (samples,)
        Long enough to end in noise: the decay and about as much again.
    sample_rate_hz : float, Hz

    Returns
    -------
    DecayTimes
    """
    energies = np.asarray(squared, dtype=np.float64)
    knee = find_knee(energies, sample_rate_hz)
    if knee is None:
        nothing = ("No decay stands out of the noise.",)
        return DecayTimes(
            edt_s=np.nan, t20_s=np.nan, t30_s=np.nan, range_db=0.0, curvature_percent=np.nan, warnings=nothing
        )
    tail = knee.energy / -np.expm1(-knee.rate_per_s / sample_rate_hz)
    curve_db = integrated_decay(energies, end=knee.end, noise=knee.noise, tail=tail)
    return times_of_curve(curve_db, 1.0 / sample_rate_hz, knee.range_db)


def times_of_curve(curve_db: FloatArray, step_s: float, range_db: float) -> DecayTimes:
    """Evaluate a decay curve whose noise lies *range_db* under its start."""
    edt_s = decay_time_s(curve_db, step_s, EDT_RANGE_DB)
    t20_s = decay_time_s(curve_db, step_s, T20_RANGE_DB) if range_db >= NOISE_BELOW_FOR_T20_DB else np.nan
    t30_s = decay_time_s(curve_db, step_s, T30_RANGE_DB) if range_db >= NOISE_BELOW_FOR_T30_DB else np.nan
    curvature_percent = 100.0 * (t30_s / t20_s - 1.0)
    warnings = []
    if np.isnan(t20_s):
        warnings.append(
            f"Range above the noise {range_db:.0f} dB; T20 needs {NOISE_BELOW_FOR_T20_DB:.0f} dB."
        )
    if curvature_percent > LARGEST_CURVATURE_PERCENT:
        warnings.append(f"The decay is bent: T30 is {curvature_percent:.0f} % longer than T20.")
    return DecayTimes(
        edt_s=edt_s,
        t20_s=t20_s,
        t30_s=t30_s,
        range_db=range_db,
        curvature_percent=curvature_percent,
        warnings=tuple(warnings),
    )


def band_squared(
    pressure: ArrayLike, sample_rate_hz: float, nominal_hz: float, *, octave: bool = False
) -> FloatArray:
    """Return the squared signal of one band, same shape, filtered without phase.

    The filter rings before and after; a decay slower than its own keeps its slope.

    Parameters
    ----------
    pressure : array_like, shape (samples,)
    sample_rate_hz : float, Hz
    nominal_hz : float
    octave : bool, optional
        A whole octave round *nominal_hz* instead of a third.
    """
    signal = np.asarray(pressure, dtype=np.float64)
    half = OCTAVE_RATIO ** (1 / 2 if octave else 1 / 6)
    middle_hz = exact_hz(nominal_hz)
    # Noise that broke off would click: it goes on in a mirror, and the mirror's end rings far away.
    mirrored = np.concatenate([signal, signal[::-1][1 : 1 + round(MIRROR_S * sample_rate_hz)]])
    size = fft.next_fast_len(mirrored.size + round(sample_rate_hz), real=True)
    frequency_hz = fft.rfftfreq(size, 1.0 / sample_rate_hz)
    amplitude = above_edge(frequency_hz, middle_hz / half) * below_edge(frequency_hz, middle_hz * half)
    filtered = fft.irfft(fft.rfft(mirrored, size) * amplitude, size)[: signal.size]
    return np.asarray(filtered**2)


def onset(pressure: ArrayLike) -> int:
    """Return the first sample of a response: 20 dB under its peak."""
    squared = np.square(np.asarray(pressure, dtype=np.float64))
    return int(np.argmax(squared >= squared.max() * 10.0 ** (-ONSET_BELOW_PEAK_DB / 10.0)))


def impulse_decay(
    pressure: ArrayLike, sample_rate_hz: float, nominal_hz: float, *, octave: bool = False
) -> DecayTimes:
    """Evaluate one band of an impulse response, or of a bang recorded as it is.

    Parameters
    ----------
    pressure : array_like, shape (samples,)
        May begin before the bang and must go on until only noise is left.
    sample_rate_hz : float, Hz
    nominal_hz : float
    octave : bool, optional
    """
    signal = np.asarray(pressure, dtype=np.float64)
    begin = onset(signal)
    found = decay_times(
        band_squared(signal, sample_rate_hz, nominal_hz, octave=octave)[begin:], sample_rate_hz
    )
    return _checked_against_filter(found, nominal_hz, octave)


def interrupted_decay(
    pressure: ArrayLike, sample_rate_hz: float, off_sample: int, nominal_hz: float, *, octave: bool = False
) -> DecayTimes:
    """Evaluate one band of noise that was switched off.

    The mean decay is integrated backwards, too: an exponential decay keeps its rate, and the
    fluctuations of noise, which pull straight lines through plain levels off by a tenth, go.

    Parameters
    ----------
    pressure : array_like, shape (samples,) or (repeats, samples)
        Energies of repeats are averaged. Goes on until only background is left.
    sample_rate_hz : float, Hz
    off_sample : int
        Where the source stopped.
    nominal_hz : float
    octave : bool, optional
    """
    repeats = np.atleast_2d(np.asarray(pressure, dtype=np.float64))
    energies = np.mean(
        [band_squared(one, sample_rate_hz, nominal_hz, octave=octave)[off_sample:] for one in repeats], axis=0
    )
    return _checked_against_filter(decay_times(energies, sample_rate_hz), nominal_hz, octave)


def _checked_against_filter(found: DecayTimes, nominal_hz: float, octave: bool) -> DecayTimes:
    half = OCTAVE_RATIO ** (1 / 2 if octave else 1 / 6)
    bandwidth_hz = exact_hz(nominal_hz) * (half - 1.0 / half)
    product = bandwidth_hz * found.t20_s
    if np.isnan(product) or product >= SMALLEST_BANDWIDTH_TIMES_T:
        return found
    warning = f"Bandwidth times T is {product:.0f}, under 16: the filter's own decay may show."
    return DecayTimes(
        edt_s=found.edt_s,
        t20_s=found.t20_s,
        t30_s=found.t30_s,
        range_db=found.range_db,
        curvature_percent=found.curvature_percent,
        warnings=(*found.warnings, warning),
    )
