"""Looking for the sound of an event in another recording: the same sound, not only the same level.

Single seconds of both are compared by their phases alone (every frequency counts the same), in
the bands that were heard at the pillow. The squared correlations of several seconds are added:
a source that moves, and reverberation, spread the peak over milliseconds, but it stays a peak.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy import ndimage

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.pairing.alignment import Alignment, SoundLag

LOOK_S = 1.0
"""Length of one stretch of the outer recording, s. Chosen: within it no drift and no vehicle moves a peak
by more than its width."""

SEARCH_S = 0.3
"""Lags searched to either side of what is expected, s. Chosen: levels alone align to about 0.1 s."""

WINDOW_S = 2
"""Length of a transform, s. Chosen: holds a stretch and the lags searched; whole seconds give two sampling
rates the same frequencies."""

RAMP_S = 0.125
"""Fade at both ends of a stretch, s. Chosen: a hum that breaks off would click at the same place in both
recordings; no longer than what comes before an event."""

LAG_RATE_HZ = 8192
"""Resolution of lags. Chosen: nearly twice the upper edge of 4 kHz, fast to transform."""

PEAK_S = 0.003
"""Correlations are smoothed over this, s. Chosen: first reflections count, later reverberation does not."""

AROUND_PEAK_S = (0.01, 0.1)
"""Before and after the peak, lags are not used to tell how much the rest scatters, s. Chosen: reverberation
of a furnished room falls by 10 dB and more in a tenth of a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What to look for.

    Attributes
    ----------
    starts_s : tuple of float, s
        Rising; where stretches of the outer recording begin, each ``LOOK_S`` long.
    heard_hz : tuple of float
        Nominal bands that were heard at the pillow; with none there is nothing to look for.
    """

    starts_s: tuple[float, ...]
    heard_hz: tuple[float, ...]


class Excerpts:
    """Cuts stretches out of a stream of blocks, one after another; holds no more than it must."""

    def __init__(self, blocks: Iterable[PressureBlock]) -> None:
        self._blocks = iter(blocks)
        first = next(self._blocks, None)
        self.sample_rate_hz = int(first.sample_rate_hz) if first else 1
        self._held: list[PressureArray] = [first.pressure_pa] if first else []
        self._begin = 0

    def cut(self, start_s: float, seconds: float) -> PressureArray:
        """Return a stretch that starts no earlier than the one before; zeros where nothing was recorded."""
        first, samples = round(start_s * self.sample_rate_hz), round(seconds * self.sample_rate_hz)
        end = self._begin + sum(each.size for each in self._held)
        while end < first + samples and (block := next(self._blocks, None)):
            self._held.append(block.pressure_pa)
            end += block.pressure_pa.size
            self._drop_before(first)
        self._drop_before(first)
        stretch = np.zeros(samples, dtype=np.float32)
        place = self._begin - first
        for piece in self._held:
            low, high = max(place, 0), min(place + piece.size, samples)
            if low < high:
                stretch[low:high] = piece[low - place : high - place]
            place += piece.size
        return stretch

    def _drop_before(self, first: int) -> None:
        while self._held and self._begin + self._held[0].size <= first:
            self._begin += self._held.pop(0).size


def sound_lags(
    outer: Iterable[PressureBlock],
    pillow: Iterable[PressureBlock],
    looks: Sequence[Look],
    alignment: Alignment,
) -> Iterator[SoundLag]:
    """Yield for each event where its sound was found; memory does not grow with the recordings.

    Parameters
    ----------
    outer, pillow : iterable of PressureBlock
        From the beginning, without gaps; sampling rates may differ.
    looks : sequence of Look
        In order of time.
    alignment : Alignment
        What is expected; good to ``SEARCH_S``.
    """
    here, there = Excerpts(outer), Excerpts(pillow)
    for look in looks:
        if look.starts_s and look.heard_hz:
            yield _found(here, there, look, alignment)
        else:
            yield SoundLag(outer_s=np.nan, pillow_s=np.nan, sharpness=np.nan)


def _found(here: Excerpts, there: Excerpts, look: Look, alignment: Alignment) -> SoundLag:
    power = np.zeros(round(2 * SEARCH_S * LAG_RATE_HZ))
    for start_s in look.starts_s:
        begin_s = alignment.pillow_s(start_s) - SEARCH_S
        # What rounding to samples takes from one stretch is missing in the other.
        outer = here.cut(start_s, LOOK_S)
        pillow = there.cut(begin_s, LOOK_S + 2 * SEARCH_S)
        power += _lag_power(outer, here.sample_rate_hz, pillow, there.sample_rate_hz, look.heard_hz)
    peak, sharpness = _peak(power)
    middle_s = float(np.mean(look.starts_s))
    lag_s = peak / LAG_RATE_HZ - SEARCH_S
    return SoundLag(outer_s=middle_s, pillow_s=alignment.pillow_s(middle_s) + lag_s, sharpness=sharpness)


def _lag_power(
    outer: PressureArray,
    outer_rate_hz: int,
    pillow: PressureArray,
    pillow_rate_hz: int,
    heard_hz: tuple[float, ...],
) -> FloatArray:
    """Return squared correlations at lags from 0 on, relative to their mean for unrelated sounds."""
    bins = _bins(heard_hz, 0.45 * min(outer_rate_hz, pillow_rate_hz))
    spectra = [
        scipy.fft.rfft(_faded(sound, rate_hz), WINDOW_S * rate_hz)[bins]
        for sound, rate_hz in ((outer, outer_rate_hz), (pillow, pillow_rate_hz))
    ]
    cross = np.conj(spectra[0]) * spectra[1]
    size = np.abs(cross)
    phases = np.zeros(WINDOW_S * LAG_RATE_HZ, dtype=np.complex64)
    phases[bins] = np.divide(cross, size, out=np.zeros_like(cross), where=size > 0)
    correlation = scipy.fft.ifft(phases)[: round(2 * SEARCH_S * LAG_RATE_HZ)]
    return np.asarray(np.abs(correlation) ** 2 * (phases.size**2 / max(bins.size, 1)), dtype=np.float64)


def _faded(sound: PressureArray, rate_hz: int) -> PressureArray:
    ramp = round(RAMP_S * rate_hz)
    slope = np.sin(np.pi / 2 * np.arange(ramp, dtype=np.float32) / max(ramp, 1)) ** 2
    sound[:ramp] *= slope
    sound[sound.size - ramp :] *= slope[::-1]
    return sound


def _bins(heard_hz: tuple[float, ...], highest_hz: float) -> NDArray[np.int64]:
    frequency_hz = np.arange(WINDOW_S * LAG_RATE_HZ) / WINDOW_S
    wanted = np.zeros(frequency_hz.size, dtype=np.bool_)
    for low_hz, high_hz in band_edges_hz(heard_hz).T:
        wanted |= (frequency_hz >= low_hz) & (frequency_hz < min(high_hz, highest_hz))
    return np.flatnonzero(wanted)


def _peak(power: FloatArray) -> tuple[int, float]:
    """Return where correlations peak, and by how many standard deviations of the rest."""
    smooth = ndimage.uniform_filter1d(power, round(PEAK_S * LAG_RATE_HZ), mode="nearest")
    peak = int(np.argmax(smooth))
    before, after = (round(seconds * LAG_RATE_HZ) for seconds in AROUND_PEAK_S)
    rest = np.concatenate([smooth[: max(peak - before, 0)], smooth[peak + after :]])
    scatter = float(rest.std())
    return peak, (float(smooth[peak]) - float(rest.mean())) / scatter if scatter > 0 else 0.0
