"""Steady noise with a designed spectrum, as samples: periodic, even, endless if need be.

Each channel has random phases of its own, so two loudspeakers are uncorrelated. The amplitude of
every line is prescribed: no line stands out, and the spectrum is not left to chance. Only the
phases are mended, so that few peaks are left and the A-weighted level hardly moves.

Samples are relative to full scale. How loud they become is set at the pillow.
"""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from sleepnoise.acoustics.bands import band_edges_hz, mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.excitation import at_peak, noise_of_lines
from sleepnoise.levels.bands import band_amplitude

LOOP_S = 60.0
"""Length of the noise before it repeats, s. Chosen: nobody notices a repetition after a minute."""

RATES_HZ = (8_000, 192_000)
"""Sampling rates taken. Chosen: as for recordings."""

LONGEST_S = 12 * 3600.0
"""Longest sound with an end, s. Chosen: longer than any night; a player repeats a file anyway."""

LONGEST_FADE_S = 1800.0
"""Longest fade, s. Chosen: half an hour."""

EVENING_S = 0.125
"""Stretch whose A-weighted level is evened out, s. Chosen: the time constant F."""

EVENING_STRENGTH = 0.5
"""Share of its deviation, in dB, that a stretch loses in each round. Chosen: halves the spread of LAF of
noise with strong low bands, from 1.3 dB to 0.5 dB (L10 - L90, measured); more does no better."""

GRID_PER_BAND = 32
"""Points on which the density of a band is worked out. Chosen: the steepest filter slope spans seven."""

FITTING_ROUNDS = 12
"""Rounds in which the density is fitted to the band levels. Chosen: 0.05 dB is left."""

BLOCK_S = 1.0
"""Length of a block that is handed out, s. Chosen: small in memory, few calls."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerSound:
    """What is to be heard.

    Attributes
    ----------
    spectrum : Spectrum
        Its shape; absolute levels do not matter.
    seconds : float, s
        Length; ``inf`` never ends.
    sample_rate_hz : int, Hz
    channels : {1, 2}
    seed : int
        The same seed gives the same noise.
    fade_s : float, s
        Fade at both ends; 0 lets a player repeat the sound without a seam.

    Raises
    ------
    SettingsError
        If something of it makes no sense.
    """

    spectrum: Spectrum
    seconds: float
    sample_rate_hz: int = 48_000
    channels: int = 2
    seed: int = 1
    fade_s: float = 0.0

    def __post_init__(self) -> None:
        lowest_hz, highest_hz = RATES_HZ
        for holds, complaint, remedy in (
            (
                1.0 <= self.seconds <= LONGEST_S or self.seconds == math.inf,
                f"the length must be 1 to {LONGEST_S:g} s, got {self.seconds:g} s",
                "Choose a length such as 600 s, and let the player repeat it.",
            ),
            (
                lowest_hz <= self.sample_rate_hz <= highest_hz,
                f"the sampling rate must be {lowest_hz} to {highest_hz} Hz, got {self.sample_rate_hz}",
                "Choose 48000.",
            ),
            (self.channels in (1, 2), f"there must be 1 or 2 channels, got {self.channels}", "Choose 2."),
            (self.seed >= 0, f"the seed must be 0 or more, got {self.seed}", "Choose a whole number."),
            (
                0.0 <= self.fade_s <= min(LONGEST_FADE_S, self.seconds / 2),
                f"a fade must be 0 to {LONGEST_FADE_S:g} s and fit in twice, got {self.fade_s:g} s",
                "Choose a shorter fade.",
            ),
            (
                np.isfinite(self.spectrum.levels_db).any(),
                "there is no band that sounds",
                "Design a masker for events that need one.",
            ),
        ):
            if not holds:
                raise SettingsError(f"masking sound: {complaint}.", remedy=remedy)
        self._check_highest_band()

    def _check_highest_band(self) -> None:
        sounding = np.isfinite(self.spectrum.levels_db)
        upper_hz = float(band_edges_hz(self.spectrum.nominal_hz)[1, sounding].max())
        if upper_hz > self.sample_rate_hz / 2:
            raise SettingsError(
                f"masking sound: a sampling rate of {self.sample_rate_hz} Hz cannot carry its highest band, "
                f"which ends at {upper_hz:.0f} Hz.",
                remedy=f"Choose {math.ceil(upper_hz / 500) * 1000} Hz or more, or a design that ends lower.",
            )

    @property
    def frames(self) -> float:
        """Samples of each channel, ``inf`` if it never ends."""
        return math.inf if self.seconds == math.inf else round(self.seconds * self.sample_rate_hz)


def masker_blocks(sound: MaskerSound) -> Iterator[FloatArray]:
    """Yield the sound in blocks; memory does not depend on its length.

    A sound with an end consists of whole periods, so that its last sample joins its first.

    Parameters
    ----------
    sound : MaskerSound

    Yields
    ------
    ndarray, shape (frames, channels)
        Full scale is 1; the largest sample is 6 dB below.
    """
    period = masker_period(sound)
    block = round(BLOCK_S * sound.sample_rate_hz)
    position = 0
    for first in itertools.cycle(range(0, len(period), block)):
        if position >= sound.frames:
            return
        part = period[first : first + block]
        part = part[: int(min(len(part), sound.frames - position))]
        yield part if sound.fade_s == 0.0 else part * _fade(sound, position, len(part))[:, None]
        position += len(part)


def masker_period(sound: MaskerSound) -> FloatArray:
    """Return the stretch that is repeated, shape (frames, channels); at most ``LOOP_S`` long."""
    times = math.ceil(sound.seconds / LOOP_S) if sound.seconds < math.inf else 1
    samples = round(min(sound.seconds, LOOP_S * times) / times * sound.sample_rate_hz)
    line_hz = fft.rfftfreq(samples, 1.0 / sound.sample_rate_hz)
    amplitude = line_amplitudes(sound.spectrum, line_hz)
    weighted = np.abs(weighting_response(line_hz, "A"))
    width = round(EVENING_S * sound.sample_rate_hz)

    def evened(noise: FloatArray, spectrum: NDArray[np.complex128]) -> FloatArray:
        heard = fft.irfft(spectrum * weighted, samples) ** 2
        short = ndimage.uniform_filter1d(heard, width, mode="wrap")
        return np.asarray(noise * (np.mean(heard) / short) ** (EVENING_STRENGTH / 2))

    channels = [
        noise_of_lines(rng, amplitude, samples, evened)
        for rng in np.random.default_rng(sound.seed).spawn(sound.channels)
    ]
    return at_peak(np.stack(channels, axis=1))


def line_amplitudes(spectrum: Spectrum, line_hz: FloatArray) -> FloatArray:
    """Return amplitudes of equally spaced lines that give a spectrum's bands, same shape, any scale.

    The density runs without steps through the bands, and is fitted until third-octave filters
    find the levels asked for. Silent bands get no line.
    """
    sounding = np.isfinite(spectrum.levels_db)
    wanted_db = spectrum.levels_db[sounding]
    nominal_hz = tuple(np.array(spectrum.nominal_hz)[sounding])
    lower_hz, upper_hz = band_edges_hz(nominal_hz)
    points = GRID_PER_BAND * (round(10 * math.log10(upper_hz[-1] / lower_hz[0])))
    grid_hz = np.geomspace(lower_hz[0], upper_hz[-1], points)
    passed = np.array([band_amplitude(grid_hz, hz) ** 2 for hz in nominal_hz]) * np.gradient(grid_hz)
    log_grid, log_mid = np.log(grid_hz), np.log(mid_band_hz(nominal_hz))
    density_db = wanted_db - level(upper_hz - lower_hz)
    for _ in range(FITTING_ROUNDS):
        on_grid_db = np.interp(log_grid, log_mid, density_db)
        density_db = density_db + wanted_db - level(passed @ energy(on_grid_db))
    density_db = density_db - density_db.max()
    inside = (line_hz >= lower_hz[0]) & (line_hz <= upper_hz[-1])
    amplitude = np.zeros(line_hz.size)
    amplitude[inside] = np.sqrt(energy(np.interp(np.log(line_hz[inside]), log_mid, density_db)))
    return amplitude


def _fade(sound: MaskerSound, position: int, frames: int) -> FloatArray:
    """Return the gain of samples, shape (frames,): a quarter of a sine, squared, at both ends."""
    nearest = np.arange(position, position + frames)
    nearest = np.minimum(nearest, sound.frames - 1 - nearest)
    share = np.clip(nearest / (sound.fade_s * sound.sample_rate_hz), 0.0, 1.0)
    return np.asarray(np.sin(np.pi / 2 * share) ** 2)
