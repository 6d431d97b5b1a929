"""The night as sound: background, condenser and events added up, any stretch at any time.

A sample depends on the scenario, the sampling rate and its own number. So a night can be
streamed in blocks of any length, and a part of it is the same sound as the whole.
"""

from collections.abc import Iterator
from datetime import timedelta
from functools import lru_cache

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray, combine, level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.demo.noise import NoiseStream, Shape
from sleepnoise.demo.scenario import HumCycle, Scenario, ScheduledSound
from sleepnoise.demo.sounds import waveform_pa
from sleepnoise.errors import SettingsError

QUIET_LAEQ = 27.0
"""Background between sounds, dB(A). Chosen: a quiet city bedroom, as the scenario says."""
HUM_RAMP_S = 4.0
"""Condenser starting up and running down. Chosen: no step that could pass for an event."""
BLOCK_S = 4.0
"""Length of a streamed block. Chosen: a megabyte or two at 48 kHz."""
LOWEST_RATE_HZ = 8000
"""Lowest sampling rate. Chosen: below that a slam loses A-weighted energy."""
HIGHEST_RATE_HZ = 192_000
"""Highest sampling rate. Chosen: the highest that recorders offer."""

_BACKGROUND: Shape = {
    20.0: 41.0, 31.5: 39.5, 63.0: 36.0, 125.0: 31.0, 250.0: 25.5, 500.0: 20.5, 1000.0: 15.5,
    2000.0: 10.5, 4000.0: 5.0, 8000.0: -1.0, 20000.0: -8.0,
}  # fmt: skip
"""Distant city behind closed windows. Chosen: falls by about 5 dB an octave."""
_HUM_NOISE: Shape = {
    50.0: 22.0,
    125.0: 28.0,
    250.0: 28.0,
    500.0: 24.0,
    1000.0: 18.0,
    4000.0: 4.0,
    20000.0: -12.0,
}
"""Fan of the condenser. Chosen: broad, highest around 200 Hz."""
_HUM_TONES_DB = {50: 30.0, 100: 40.0, 98: 27.0, 200: 33.0, 300: 25.0, 400: 20.0}
"""Compressor: whole Hz -> level in dB, of no absolute meaning. Chosen: twice the mains, beating."""
_HUM_TONE_SHARE = 0.7
"""Part of the hum's A-weighted energy that is tones. Chosen: heard as a hum rather than a hiss."""


class Synthesis:
    """One scenario at one sampling rate.

    Parameters
    ----------
    scenario : Scenario
    sample_rate_hz : int, Hz

    Raises
    ------
    SettingsError
        If the sampling rate lies outside 8 to 192 kHz.
    """

    def __init__(self, scenario: Scenario, sample_rate_hz: int) -> None:
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise SettingsError(
                f"sample_rate_hz: must lie between {LOWEST_RATE_HZ} and {HIGHEST_RATE_HZ} Hz, "
                f"got {sample_rate_hz}.",
                remedy="Give a usual sampling rate such as 48000.",
            )
        self.scenario = scenario
        self.sample_rate_hz = sample_rate_hz
        self.first = round(scenario.first_s * sample_rate_hz)
        self.last = self.first + round(scenario.seconds * sample_rate_hz)
        self._quiet = NoiseStream((scenario.seed, 3), sample_rate_hz, _BACKGROUND, QUIET_LAEQ)
        noise_laeq = float(level(1.0 - _HUM_TONE_SHARE))
        self._hum_noise = NoiseStream((scenario.seed, 4), sample_rate_hz, _HUM_NOISE, noise_laeq)
        self._hum_tones = _tones_pa(sample_rate_hz) * np.sqrt(_HUM_TONE_SHARE)
        self._waveform = lru_cache(maxsize=2)(self._render)

    def sample(self, second: float) -> int:
        """Return the number of the sample at a second of the scenario."""
        return round(second * self.sample_rate_hz)

    def alone_pa(self, sound: ScheduledSound) -> FloatArray:
        """Return one event alone, from its own first sample, shape (samples,), Pa."""
        return self._waveform(sound)

    def background_pa(self, first: int, last: int) -> FloatArray:
        """Return everything but the events, samples *first* to *last* (not included), Pa."""
        result = self._quiet.pressure_pa(first, last)
        for cycle in self.scenario.hum:
            low = max(first, self.sample(cycle.start_s))
            high = min(last, self.sample(cycle.end_s))
            if low < high:
                result[low - first : high - first] += self._hum_pa(cycle, low, high)
        return result

    def pressure_pa(self, first: int, last: int) -> FloatArray:
        """Return everything that is heard, samples *first* to *last* (not included), Pa."""
        result = self.background_pa(first, last)
        for sound in self.scenario.sounds:
            begin = self.sample(sound.start_s)
            if begin < last and self.sample(sound.end_s) + 1 > first:
                event = self.alone_pa(sound)
                low, high = max(first, begin), min(last, begin + event.size)
                result[low - first : max(low, high) - first] += event[low - begin : high - begin]
        return result

    def stretches(self, samples: int | None = None) -> Iterator[tuple[int, FloatArray]]:
        """Yield the recording from beginning to end: number of the first sample, and pressure in Pa.

        Each stretch has *samples* samples, or lasts 4 s when left out; the last may be shorter.
        """
        step = samples or self.sample(BLOCK_S)
        for first in range(self.first, self.last, step):
            yield first, self.pressure_pa(first, min(first + step, self.last))

    def blocks(self, samples: int | None = None) -> Iterator[PressureBlock]:
        """Yield the same as calibrated blocks."""
        for first, pressure_pa in self.stretches(samples):
            since_start_s = (first - self.first) / self.sample_rate_hz
            yield PressureBlock(
                pressure_pa=pressure_pa.astype(np.float32),
                sample_rate_hz=float(self.sample_rate_hz),
                start=self.scenario.start + timedelta(seconds=since_start_s),
            )

    def background_laeq(self) -> float:
        """Return the expected level of the background over the whole recording, dB."""
        first_s, seconds = self.scenario.first_s, self.scenario.seconds
        shares = [
            hum_share(cycle, first_s, first_s + seconds) * 10.0 ** (cycle.laeq / 10.0) / seconds
            for cycle in self.scenario.hum
        ]
        return float(combine([QUIET_LAEQ, float(level(sum(shares)))]))

    def _hum_pa(self, cycle: HumCycle, first: int, last: int) -> FloatArray:
        numbers = np.arange(first, last)
        # Every tone has a whole number of Hz: a table of one second repeats without a seam.
        sound = self._hum_tones[numbers % self.sample_rate_hz] + self._hum_noise.pressure_pa(first, last)
        second = numbers / self.sample_rate_hz
        return np.asarray(sound * _hum_envelope(cycle, second) * 10.0 ** (cycle.laeq / 20.0))

    def _render(self, sound: ScheduledSound) -> FloatArray:
        return waveform_pa(sound, self.scenario.seed, self.sample_rate_hz)


def _hum_envelope(cycle: HumCycle, second: FloatArray) -> FloatArray:
    to_edge_s = np.minimum(second - cycle.start_s, cycle.end_s - second)
    return np.asarray(np.clip(to_edge_s / HUM_RAMP_S, 0.0, 1.0))


def hum_share(cycle: HumCycle, first_s: float, last_s: float) -> float:
    """Return for how many seconds at full power the energy of a cycle within a stretch would last."""
    steps = np.linspace(max(first_s, cycle.start_s), min(last_s, cycle.end_s), 20_001)
    middles = (steps[1:] + steps[:-1]) / 2.0
    return float(np.sum(_hum_envelope(cycle, middles) ** 2) * (steps[1] - steps[0]))


def _tones_pa(sample_rate_hz: int) -> FloatArray:
    """Return one second of the hum's tones at 0 dB(A), shape (sample_rate_hz,), Pa."""
    second = np.arange(sample_rate_hz) / sample_rate_hz
    frequencies_hz = np.array(list(_HUM_TONES_DB), dtype=np.float64)
    peaks = np.sqrt(2.0) * 10.0 ** (np.array(list(_HUM_TONES_DB.values())) / 20.0)
    gains = np.abs(weighting_response(frequencies_hz, "A"))
    # Phases a radian apart: no common peak.
    phases = np.arange(frequencies_hz.size)[:, np.newaxis]
    tones = peaks @ np.sin(2.0 * np.pi * frequencies_hz[:, np.newaxis] * second + phases)
    return np.asarray(tones * (REFERENCE_PRESSURE_PA / np.sqrt(np.sum((peaks * gains) ** 2) / 2.0)))
