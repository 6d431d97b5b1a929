"""The sound of a night behind a plan: what comes in less its losses, what is made inside, and the masker.

Outside of events everything is background and loses what the background does. Within an event each band
is shared out tick by tick: what stands clear of the background belongs to the event and loses what its
side does, the rest stays background. That is the plan's own model, applied to the sound.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray, energy, level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import weighting_response
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, on_model_bands
from sleepnoise.levels.history import TICK_S, LevelHistory
from sleepnoise.masking.synthesis import LOOP_S, MaskerSound, masker_period
from sleepnoise.night.events import Event
from sleepnoise.planning.problem import A_WEIGHTS
from sleepnoise.proving.promise import Promise

CLEAR_TIMES = 2.0
"""Energy of a band, as a multiple of its background, from which the difference is the event's. Chosen: a
steady band scatters by less in half of all ticks, and 3 dB is where an event begins and ends."""


class NightLosses:
    """What each moment of a night loses in each band.

    Parameters
    ----------
    history : LevelHistory
        Of the night as it was.
    events : iterable of (Event, str)
        With the side that each comes from.
    promise : Promise
    """

    def __init__(self, history: LevelHistory, events: Iterable[tuple[Event, str]], promise: Promise) -> None:
        self._start = history.start
        self._place = np.zeros(history.ticks, dtype=np.int64)
        rows = [promise.background_loss_db[None, :].astype(np.float32)]
        count = 1
        for event, side in events:
            ticks = event.last_tick - event.first_tick
            self._place[event.first_tick : event.last_tick] = np.arange(count, count + ticks)
            rows.append(_of_loudest_near(*losses_within(history, event, promise, side)))
            count += ticks
        self._losses_db = np.concatenate(rows)

    def from_instant(self, start: datetime) -> "_LossesFrom":
        """Return the losses counted from an instant of the night."""
        return _LossesFrom(self._place, self._losses_db, (start - self._start).total_seconds())


class _LossesFrom:
    def __init__(
        self,
        place: np.ndarray[tuple[int], np.dtype[np.int64]],
        losses_db: np.ndarray[tuple[int, int], np.dtype[np.float32]],
        offset_s: float,
    ) -> None:
        self._place, self._losses_db, self._offset_s = place, losses_db, offset_s

    def __call__(self, seconds: FloatArray) -> FloatArray:
        ticks = ((seconds + self._offset_s) / TICK_S).astype(np.int64).clip(0, self._place.size - 1)
        return np.asarray(self._losses_db[self._place[ticks]], dtype=np.float64)


def losses_within(
    history: LevelHistory, event: Event, promise: Promise, side: str
) -> tuple[FloatArray, FloatArray]:
    """Return what is heard within an event, as energies, and what it loses, dB; shape (ticks, bands) each."""
    rows = {hz: row for row, hz in enumerate(history.nominal_hz)}
    known = [rows[hz] for hz in MODEL_BANDS_HZ if hz in rows]
    ticks = slice(event.first_tick, event.last_tick)
    heard = np.zeros((event.last_tick - event.first_tick, len(MODEL_BANDS_HZ)))
    heard[:, : len(known)] = energy(np.stack([history.bands[row, ticks] for row in known])).T
    background = np.nan_to_num(energy(on_model_bands(event.background_spectrum)))
    clear = np.where(heard > CLEAR_TIMES * background, heard - background, 0.0)
    of_side = energy(-promise.loss_db[promise.sides.index(side)])
    of_background = energy(-promise.background_loss_db)
    left = clear * of_side + (heard - clear) * of_background
    share = np.divide(left, heard, out=np.tile(of_background, (len(heard), 1)), where=heard > 0.0)
    return heard, -level(share)


def _of_loudest_near(heard: FloatArray, losses_db: FloatArray) -> NDArray[np.float32]:
    """Return for each tick the losses of the loudest of itself and its neighbours, band by band.

    A frame of the filter is longer than a tick: what surrounds a bang must not decide what it loses.
    """
    near = np.arange(len(heard))[:, None] + np.array([-1, 0, 1])
    near = near.clip(0, len(heard) - 1)
    loudest = heard[near].argmax(axis=1)
    places = np.take_along_axis(near[:, :, None], loudest[:, None, :], axis=1)[:, 0]
    return np.take_along_axis(losses_db, places, axis=0).astype(np.float32)


def kept_in_bands(heard: FloatArray, gain_db: FloatArray) -> FloatArray:
    """Return the part of the A-weighted energy, shape (...), that gains in bands leave; 1 for silence."""
    weighted = heard * A_WEIGHTS
    total = weighted.sum(axis=-1)
    left = np.sum(weighted * energy(gain_db), axis=-1)
    return np.asarray(np.divide(left, total, out=np.ones_like(total), where=total > 0.0))


class PlayedMasker:
    """The masker at the pillow as sound: one period, repeated without a seam."""

    def __init__(self, spectrum: Spectrum, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        upper_hz = band_edges_hz(spectrum.nominal_hz)[1]
        carried = np.where(upper_hz <= sample_rate_hz / 2, spectrum.levels_db, -np.inf)
        self.spectrum = Spectrum(nominal_hz=spectrum.nominal_hz, levels_db=carried)
        made = MaskerSound(spectrum=self.spectrum, seconds=LOOP_S, sample_rate_hz=sample_rate_hz, channels=1)
        period = masker_period(made)[:, 0]
        wanted_pa = REFERENCE_PRESSURE_PA * 10.0 ** (self.spectrum.weighted_level() / 20.0)
        self.period_pa = (period * wanted_pa / _weighted_rms(period, sample_rate_hz)).astype(np.float32)

    def block(self, start: datetime) -> PressureBlock:
        """Return one period as if it had been recorded."""
        return PressureBlock(pressure_pa=self.period_pa, sample_rate_hz=self._rate, start=start)

    def over(self, blocks: Iterable[PressureBlock]) -> Iterator[PressureBlock]:
        """Yield blocks with the masker added."""
        done = 0
        for block in blocks:
            places = np.arange(done, done + block.pressure_pa.size) % self.period_pa.size
            done += block.pressure_pa.size
            yield PressureBlock(
                pressure_pa=block.pressure_pa + self.period_pa[places],
                sample_rate_hz=block.sample_rate_hz,
                start=block.start,
            )


def _weighted_rms(samples: FloatArray, sample_rate_hz: int) -> float:
    line_hz = scipy.fft.rfftfreq(samples.size, 1.0 / sample_rate_hz)
    weighted = scipy.fft.irfft(
        scipy.fft.rfft(samples) * np.abs(weighting_response(line_hz, "A")), samples.size
    )
    return float(np.sqrt(np.mean(weighted**2)))
