"""Frames in, energies out: the pure arithmetic that costs nearly all of the time.

One transform of each frame serves everything. A and C are the exact analogue responses of
the standard, multiplied in and transformed back. Each band is transformed back from its own
bins alone, which gives its analytic signal at a low rate; the squared magnitude of that is
twice the band's short-time mean square.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.levels.frames import FramePlan, Frames
from sleepnoise.levels.grid import Grid, split_evenly

SpectrumArray = NDArray[np.complex64]

BINS_MULTIPLE = 32
"""Band transforms have a multiple of this length. Chosen: guards are 32nds of a frame, so they cut evenly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandFilter:
    """One band of a frame's spectrum.

    Attributes
    ----------
    first_bin : int
    response : ndarray, shape (bins,)
        Amplitudes, with the phase that puts each sample of the band in the middle of the stretch
        of time that it stands for.
    length : int
        Length to transform back to.
    """

    first_bin: int
    response: SpectrumArray
    length: int

    @classmethod
    def from_response(cls, amplitude: FloatArray, shortest: int) -> "BandFilter | None":
        """Return the filter for an amplitude response on all bins; None where nothing passes.

        Parameters
        ----------
        amplitude : ndarray, shape (bins,)
        shortest : int
            Shortest length to transform back to: a floor on the time resolution.
        """
        passing = np.flatnonzero(amplitude)
        if passing.size == 0:
            return None
        first, count = int(passing[0]), int(passing[-1] - passing[0] + 1)
        needed = -(-max(count, shortest) // BINS_MULTIPLE)
        length = BINS_MULTIPLE * scipy.fft.next_fast_len(needed)
        half_a_sample = np.exp(1j * np.pi * np.arange(count) / length)
        response = (amplitude[first : first + count] * half_a_sample).astype(np.complex64)
        return cls(first_bin=first, response=response, length=length)

    def cell_energies(self, spectra: SpectrumArray, plan: FramePlan, edges: FloatArray) -> FloatArray:
        """Return the band's summed squares in each cell that the middle parts touch.

        Parameters
        ----------
        spectra : ndarray, shape (frames, bins)
        plan : FramePlan
        edges : ndarray, shape (cells - 1,)
            Inner cell edges in samples, counted from the first middle part.

        Returns
        -------
        ndarray, shape (cells,), Pa² x samples
        """
        bins = spectra[:, self.first_bin : self.first_bin + self.response.size] * self.response
        analytic = scipy.fft.ifft(bins, n=self.length, overwrite_x=True)
        ratio = self.length / plan.length
        lead, hop = round(plan.lead * ratio), round(plan.hop * ratio)
        # Real and imaginary parts lie side by side, so this squares both in one pass.
        squares = np.square(analytic.view(np.float32)[:, 2 * lead : 2 * (lead + hop)]).reshape(-1)
        return 2.0 * ratio * split_evenly(squares, edges * ratio)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrameEnergies:
    """What one set of full-rate frames gives; each array has one entry for every cell touched.

    Attributes
    ----------
    first_sample, samples : int
        Stretch of the stream that it stands for.
    a_step : ndarray, shape (steps,)
        Summed squares of the A-weighted pressure in steps of 1 ms.
    c_tick, c_peak_square_tick : ndarray, shape (ticks,)
        Summed squares and largest square of the C-weighted pressure.
    band_tick : ndarray, shape (bands, ticks)
        Summed squares of the upper bands; the last row is what LZ takes in above them.
    coarse : ndarray, shape (samples / decimation,)
        The low end of the sound at a low rate, for the lower bands.
    """

    first_sample: int
    samples: int
    a_step: FloatArray
    c_tick: FloatArray
    c_peak_square_tick: FloatArray
    band_tick: FloatArray
    coarse: NDArray[np.float32]


def band_cell_energies(
    filters: list[BandFilter | None],
    spectra: SpectrumArray,
    plan: FramePlan,
    edges: FloatArray,
) -> FloatArray:
    """Return the summed squares of several bands, shape (filters, cells); 0 where there is no filter."""
    energies = np.zeros((len(filters), edges.size + 1))
    for row, band in zip(energies, filters, strict=True):
        if band is not None:
            row[:] = band.cell_energies(spectra, plan, edges)
    return energies


class FullRateAnalysis:
    """The analysis of full-rate frames. Holds responses only, no state: any thread may use it.

    Parameters
    ----------
    plan : FramePlan
    sample_rate_hz : int
    gain : ndarray, shape (bins,)
        Amplitude that makes up for the microphone; the filters have it in them already.
    filters : list of BandFilter or None
    coarse_gain : ndarray, shape (coarse bins,)
        Low-pass amplitudes of the coarse stream, whose length sets its rate.
    steps, ticks : Grid
    """

    def __init__(
        self,
        plan: FramePlan,
        *,
        sample_rate_hz: int,
        gain: FloatArray,
        filters: list[BandFilter | None],
        coarse_gain: FloatArray,
        steps: Grid,
        ticks: Grid,
    ) -> None:
        self.plan = plan
        self._filters, self._steps, self._ticks = filters, steps, ticks
        frequency_hz = scipy.fft.rfftfreq(plan.length, 1 / sample_rate_hz)
        self._a_response = (weighting_response(frequency_hz, "A") * gain).astype(np.complex64)
        self._c_response = (weighting_response(frequency_hz, "C") * gain).astype(np.complex64)
        self._decimation = (plan.length // 2) // (coarse_gain.size - 1)
        self._coarse_gain = (coarse_gain / self._decimation).astype(np.float32)

    def energies(self, frames: Frames) -> FrameEnergies:
        """Return all energies of one set of frames."""
        spectra = scipy.fft.rfft(frames.samples)
        first, samples = frames.first_sample, len(frames.samples) * self.plan.hop
        ticks = self._ticks.cuts(first, samples)
        squares = np.square(self._middle(spectra * self._a_response)).reshape(-1)
        a_step = np.add.reduceat(squares, self._steps.cuts(first, samples))
        squares = np.square(self._middle(spectra * self._c_response)).reshape(-1)
        c_tick = np.add.reduceat(squares, ticks)
        c_peak_square_tick = np.maximum.reduceat(squares, ticks)
        return FrameEnergies(
            first_sample=first,
            samples=samples,
            a_step=a_step.astype(np.float64),
            c_tick=c_tick.astype(np.float64),
            c_peak_square_tick=c_peak_square_tick.astype(np.float64),
            band_tick=band_cell_energies(self._filters, spectra, self.plan, ticks[1:].astype(np.float64)),
            coarse=self._coarse(spectra),
        )

    def _middle(self, spectra: SpectrumArray) -> NDArray[np.float32]:
        """Return the middle parts of frames transformed back, shape (frames, hop)."""
        sound = scipy.fft.irfft(spectra, n=self.plan.length, overwrite_x=True)
        return sound[:, self.plan.lead : self.plan.lead + self.plan.hop]

    def _coarse(self, spectra: SpectrumArray) -> NDArray[np.float32]:
        plan, factor = self.plan, self._decimation
        low = spectra[:, : self._coarse_gain.size] * self._coarse_gain
        sound = scipy.fft.irfft(low, n=plan.length // factor, overwrite_x=True)
        middle = sound[:, plan.lead // factor : (plan.lead + plan.hop) // factor]
        return np.ascontiguousarray(middle).reshape(-1)


class LowerBandAnalysis:
    """The analysis of coarse frames: lower bands, and below them what else LZ takes in. Holds no state.

    Parameters
    ----------
    plan : FramePlan
    filters : list of BandFilter or None
        The lower bands, then the rest below them.
    decimation : int
        Full rate over coarse rate.
    """

    def __init__(self, plan: FramePlan, *, filters: list[BandFilter | None], decimation: int) -> None:
        self.plan = plan
        self.bands = len(filters) - 1
        self._filters, self.decimation = filters, decimation

    def energies(self, frames: Frames, ticks: Grid) -> tuple[FloatArray, int]:
        """Return summed squares and where they end.

        Parameters
        ----------
        frames : Frames
            Of the coarse stream.
        ticks : Grid
            On the full rate.

        Returns
        -------
        ndarray, shape (bands + 1, ticks touched), Pa² x full-rate samples
        int
            First full-rate sample after them.
        """
        first = frames.first_sample * self.decimation
        samples = len(frames.samples) * self.plan.hop * self.decimation
        edges = ticks.cuts(first, samples)[1:] / self.decimation
        energies = band_cell_energies(self._filters, scipy.fft.rfft(frames.samples), self.plan, edges)
        return energies * self.decimation, first + samples
