"""Waveforms of the single sounds, each scaled to the highest level that the plan asks for.

All of them are made of random noise, damped tones and envelopes; no recording of anything or
anyone is in them, and nobody speaks on the television.
"""

from collections.abc import Callable

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray
from sleepnoise.demo.measures import whole_lafmax
from sleepnoise.demo.noise import Shape, shaped_noise
from sleepnoise.demo.scenario import Kind, ScheduledSound

_FADE_S = 0.3
"""Fading at both ends of a waveform. Chosen: no click."""
_RUMBLE: Shape = {
    20.0: 50.0,
    40.0: 57.0,
    63.0: 58.0,
    125.0: 50.0,
    250.0: 38.0,
    1000.0: 16.0,
    8000.0: -20.0,
    20000.0: -34.0,
}
"""Tram on its rails. Chosen: ground-borne rumble around 50 Hz."""
_WHEELS: Shape = {
    63.0: 20.0,
    250.0: 34.0,
    500.0: 39.0,
    1000.0: 37.0,
    2000.0: 28.0,
    8000.0: 2.0,
    20000.0: -14.0,
}
"""Tram wheels through a window. Chosen: rolling noise, its treble lost in the glass."""
_EXHAUST: Shape = {
    25.0: 50.0,
    63.0: 48.0,
    125.0: 43.0,
    500.0: 33.0,
    1000.0: 28.0,
    4000.0: 12.0,
    20000.0: -16.0,
}
"""Van's combustion noise through a window. Chosen: falls by 5 dB an octave, then faster."""
_LANE: Shape = {63.0: 10.0, 250.0: 28.0, 800.0: 36.0, 2000.0: 34.0, 4000.0: 25.0, 20000.0: -4.0}
"""What the lane's walls give back of a clatter. Chosen: hard surfaces behind a window."""
_STAIRWELL: Shape = {
    31.5: 48.0,
    80.0: 52.0,
    160.0: 46.0,
    400.0: 38.0,
    1000.0: 31.0,
    4000.0: 18.0,
    20000.0: -6.0,
}
"""Slam and its reverberation behind a leaky door. Chosen: low-frequency body."""
_FLOOR: Shape = {25.0: 50.0, 63.0: 50.0, 125.0: 42.0, 250.0: 30.0, 1000.0: 8.0, 8000.0: -20.0, 20000.0: -34.0}
"""Heel on a timber floor. Chosen: impact noise below 200 Hz."""
_VOICES: Shape = {
    80.0: 24.0,
    160.0: 36.0,
    315.0: 40.0,
    630.0: 36.0,
    1250.0: 28.0,
    2500.0: 19.0,
    8000.0: -4.0,
    20000.0: -20.0,
}
"""Speech through a party wall. Chosen: average speech less a loss that grows with frequency."""

_TRAM_EDGE_DB = 45.0
"""A tram's level at its ends below its middle. Chosen: inaudible before the fade begins."""
_ENGINE_IDLE_HZ = 27.0
"""Firing frequency. Chosen: four cylinders at about 810 turns a minute."""
_ENGINE_BELOW_CRATES_DB = 12.0
"""Engine's highest level below that of the clatter. Chosen: both stay one event."""
_CLATTER_S = (18.0, 46.0)
"""When crates are handled, from the van's first sound. Chosen: engine idling all the while."""
_STEP_S = 0.5
"""Between footsteps. Chosen: a brisk walk, two steps a second."""
_STAIRWELL_DECAY_S = 1.2
"""Reverberation time of the stairwell. Chosen: bare concrete with carpeted landings."""
_LANE_DECAY_S = 0.5
"""Reverberation time of the lane. Chosen: open at the top."""


def waveform_pa(sound: ScheduledSound, seed: int, sample_rate_hz: int) -> FloatArray:
    """Return the sound alone, shape (samples,), Pa; the same for the same night and rate."""
    rng = np.random.default_rng([seed, 2, sound.number])
    seconds_of = np.arange(round(sound.seconds * sample_rate_hz)) / sample_rate_hz
    shape = _WAVEFORMS[sound.kind](rng, seconds_of, sample_rate_hz) * _fades(seconds_of)
    return _scaled(shape, sound.lafmax, sample_rate_hz)


def _scaled(pressure: FloatArray, lafmax: float, sample_rate_hz: int) -> FloatArray:
    """Return *pressure*, of whatever unit, with the wanted LAFmax, Pa."""
    change_db = lafmax - whole_lafmax(pressure * REFERENCE_PRESSURE_PA, sample_rate_hz)
    return np.asarray(pressure * (REFERENCE_PRESSURE_PA * 10.0 ** (change_db / 20.0)))


def _fades(seconds_of: FloatArray) -> FloatArray:
    """Return an envelope that is 1 except for squared-sine fades at both ends."""
    to_the_end = seconds_of[-1] - seconds_of
    ramp = np.minimum(np.minimum(seconds_of, to_the_end) / _FADE_S, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * ramp) ** 2)


def _curve(seconds_of: FloatArray, points: dict[float, float]) -> FloatArray:
    """Return an amplitude envelope through levels in dB at given seconds."""
    return np.asarray(10.0 ** (np.interp(seconds_of, list(points), list(points.values())) / 20.0))


def _tram(rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int) -> FloatArray:
    middle_s = seconds_of[-1] * rng.uniform(0.45, 0.55)
    away = np.abs(seconds_of - middle_s) / max(middle_s, seconds_of[-1] - middle_s)
    passage = 10.0 ** (-_TRAM_EDGE_DB * away**1.8 / 20.0)
    # Axle groups pass one after another: a slow swell of one or two decibels.
    swell = 1.0 + 0.15 * np.sin(2.0 * np.pi * rng.uniform(0.6, 0.9) * seconds_of + rng.uniform(0, 6))
    rumble = shaped_noise(rng, seconds_of.size, sample_rate_hz, _RUMBLE)
    wheels = shaped_noise(rng, seconds_of.size, sample_rate_hz, _WHEELS)
    return np.asarray((rumble + wheels * swell) * passage)


def _van(rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int) -> FloatArray:
    end_s = float(seconds_of[-1])
    engine = _engine(rng, seconds_of, sample_rate_hz, end_s)
    crates = np.zeros_like(seconds_of)
    at_s = _CLATTER_S[0]
    while at_s < _CLATTER_S[1]:
        _add(crates, _clatter(rng, sample_rate_hz), at_s, rng.uniform(0.25, 1.0), sample_rate_hz)
        at_s += rng.uniform(0.5, 2.8)
    loud = _scaled(crates, 0.0, sample_rate_hz)
    return loud + _scaled(engine, -_ENGINE_BELOW_CRATES_DB, sample_rate_hz)


def _engine(
    rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int, end_s: float
) -> FloatArray:
    """Return a van that reverses in, idles and leaves: harmonics of the firing frequency and noise."""
    turns = {0.0: 1.2, 7.0: 1.5, 16.0: 1.4, 18.0: 1.0, end_s - 16.0: 1.0, end_s - 12.0: 1.7, end_s: 1.9}
    firing_hz = _ENGINE_IDLE_HZ * np.interp(seconds_of, list(turns), list(turns.values()))
    firing_hz *= 1.0 + 0.01 * np.sin(2.0 * np.pi * 0.7 * seconds_of + rng.uniform(0, 6))
    phase = 2.0 * np.pi * np.cumsum(firing_hz) / sample_rate_hz
    harmonics = sum(
        10.0 ** (-3.0 * np.log2(order) / 20.0) * np.sin(order * phase + rng.uniform(0, 6))
        for order in range(1, 13)
    )
    combustion = shaped_noise(rng, seconds_of.size, sample_rate_hz, _EXHAUST)
    knocking = combustion / np.std(combustion) * (1.0 + 0.5 * np.sin(phase))
    level_db = {
        0.0: -32.0,
        8.0: 0.0,
        16.0: 0.0,
        19.0: -3.0,
        end_s - 16.0: -3.0,
        end_s - 11.0: 0.0,
        end_s: -35.0,
    }
    return np.asarray((harmonics + 1.5 * knocking) * _curve(seconds_of, level_db))


def _clatter(rng: np.random.Generator, sample_rate_hz: int) -> FloatArray:
    """Return one crate set down: a few knocks of plastic and the lane's answer."""
    seconds_of = np.arange(int(1.0 * sample_rate_hz)) / sample_rate_hz
    sound = np.zeros_like(seconds_of)
    for _ in range(rng.integers(2, 5)):
        modes_hz = 220.0 * 2.0 ** rng.uniform(0.0, 4.5, size=8)
        knock = _damped(rng, seconds_of, modes_hz, rng.uniform(0.02, 0.06, size=8))
        _add(sound, knock, rng.uniform(0.0, 0.25), rng.uniform(0.4, 1.0), sample_rate_hz)
    return sound + 0.3 * _reverberation(rng, seconds_of, sample_rate_hz, _LANE, _LANE_DECAY_S)


def _slam(rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int) -> FloatArray:
    sound = np.zeros_like(seconds_of)
    body = _damped(rng, seconds_of, np.array([52.0, 84.0, 131.0, 205.0]), np.array([0.09, 0.08, 0.06, 0.04]))
    burst = shaped_noise(rng, seconds_of.size, sample_rate_hz, _STAIRWELL)
    burst *= np.exp(-seconds_of / 0.03) / np.std(burst)
    tail = _reverberation(rng, seconds_of, sample_rate_hz, _STAIRWELL, _STAIRWELL_DECAY_S)
    _add(sound, body + 2.0 * burst + 0.25 * tail, _FADE_S + 0.05, 1.0, sample_rate_hz)
    return sound


def _footsteps(rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int) -> FloatArray:
    sound = np.zeros_like(seconds_of)
    step_of = np.arange(int(0.45 * sample_rate_hz)) / sample_rate_hz
    at_s = _FADE_S
    while at_s < seconds_of[-1] - _FADE_S - 0.45:
        thud = _damped(rng, step_of, rng.uniform(55.0, 120.0, size=3), rng.uniform(0.04, 0.07, size=3))
        heel = shaped_noise(rng, step_of.size, sample_rate_hz, _FLOOR)
        heel *= np.exp(-step_of / 0.05) / np.std(heel)
        _add(sound, thud + heel, at_s, rng.uniform(0.8, 1.0), sample_rate_hz)
        at_s += _STEP_S * rng.uniform(0.94, 1.06)
    return sound


def _television(rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int) -> FloatArray:
    envelope = np.full_like(seconds_of, 0.3)
    at_s = 0.0
    while at_s < seconds_of[-1]:
        phrase_end_s = at_s + rng.uniform(1.8, 4.0)
        while at_s < phrase_end_s:
            length_s = rng.uniform(0.14, 0.32)
            syllable = np.hanning(int(1.5 * length_s * sample_rate_hz))
            _add(envelope, syllable, at_s, rng.uniform(0.55, 1.0), sample_rate_hz)
            at_s += length_s
        at_s += rng.uniform(0.15, 0.35)
    return envelope * shaped_noise(rng, seconds_of.size, sample_rate_hz, _VOICES)


def _damped(
    rng: np.random.Generator, seconds_of: FloatArray, modes_hz: FloatArray, decay_s: FloatArray
) -> FloatArray:
    """Return decaying tones of random strength and sign, begun together, the higher the weaker."""
    tones = np.sin(2.0 * np.pi * modes_hz[:, np.newaxis] * seconds_of)
    strengths = rng.uniform(0.5, 1.0, size=modes_hz.size) * rng.choice([-1.0, 1.0], size=modes_hz.size)
    strengths *= np.sqrt(modes_hz.min() / modes_hz)
    return np.asarray(strengths @ (tones * np.exp(-seconds_of / decay_s[:, np.newaxis])))


def _reverberation(
    rng: np.random.Generator, seconds_of: FloatArray, sample_rate_hz: int, shape: Shape, decay_s: float
) -> FloatArray:
    """Return shaped noise that falls by 60 dB in *decay_s*, after a short build-up."""
    noise = shaped_noise(rng, seconds_of.size, sample_rate_hz, shape)
    build_up = 1.0 - np.exp(-seconds_of / 0.02)
    return np.asarray(noise / np.std(noise) * build_up * 10.0 ** (-3.0 * seconds_of / decay_s))


def _add(into: FloatArray, part: FloatArray, at_s: float, gain: float, sample_rate_hz: int) -> None:
    """Add *part* to *into* from a moment on; what reaches beyond the end is left off."""
    first = round(at_s * sample_rate_hz)
    place = into[first : first + part.size]
    place += gain * part[: place.size]


_WAVEFORMS: dict[Kind, Callable[[np.random.Generator, FloatArray, int], FloatArray]] = {
    "tram": _tram,
    "van and crates": _van,
    "stairwell door": _slam,
    "footsteps above": _footsteps,
    "television next door": _television,
}
