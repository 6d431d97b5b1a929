"""What a sound is like, as numbers that hold for it wherever it stands in the night.

All numbers leave out how loud the sound is, because the same door is loud or soft. Levels are
always at hand: third octaves over the background, as the coefficients of a cosine transform
without the first, and the course of the level. Where the sound itself was kept, mel-frequency
cepstral coefficients (MFCC) without the first come in.

Each number is divided by how far it strays when one and the same sound comes again, so that a
distance of 1 means *as different as two occurrences of one sound are on average from their mean*.
"""

import os
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

import numpy as np
from scipy import fft
from scipy.signal import get_window
from scipy.spatial.distance import cdist

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory
from sleepnoise.night.events import Event

BANDS_HZ = tuple(hz for hz in NOMINAL_HZ if 50 <= hz <= 8000)
"""Third octaves that are compared. Chosen: below, ticks hold too few periods; above, rooms swallow sound."""

RANGE_DB = 20.0
"""Range of third octaves below the highest. Chosen: weaker bands of an event go under in its background."""

SHAPE_NUMBERS = 10
"""Cosine coefficients of the third octaves. Chosen: ripples down to half an octave, which rooms leave."""

BACKGROUND_TIMES = 1.5
"""Multiple of the background's energy that is taken off. Chosen: little is left of steady noise."""

DOWN_DB = 10.0
"""An event's core is within this of its maximum. Chosen: the 10 dB down points usual for passages."""

LEVEL_SPREAD = (
    *(2.3, 2.3, 2.4, 2.2, 2.2, 1.8, 1.7, 1.3, 1.2, 1.1),
    *(0.20, 0.06, 0.67, 0.03, 1.9, 0.53),
)
"""How far each level number strays for one sound. Chosen: root mean square over 16 variants each (gain,
background, speed, room) of 25 real sounds from packages of sound themes and games."""

MEL_BANDS = 40
"""Chosen: 30 to 300 Hz wide, finer than third octaves above 1 kHz; the common number (no source)."""

MEL_RANGE_HZ = (50.0, 8000.0)
"""Chosen: the range of BANDS_HZ, so that recordings from 16 kHz up agree."""

MEL_RANGE_DB = 25.0
"""Range of mel bands below the highest. Chosen: see RANGE_DB; frames of their own stand out a little more."""

MFCC_NUMBERS = 12
"""Chosen: the common number, without the first (no source)."""

AUDIO_SPREAD = (
    *(3.8, 3.5, 3.2, 2.6, 2.1, 2.0, 1.7, 1.5, 1.5, 1.5, 1.4, 1.3),
    *(1.1, 1.2, 0.94, 0.80, 0.74, 0.73, 0.66, 0.67, 0.73, 0.70, 0.70, 0.71),
)
"""How far each number of the sound itself strays for one sound. Chosen: as LEVEL_SPREAD."""

LEAD_S = 2.0
"""Background heard before an event. Chosen: long enough for a mean spectrum, short enough to be like now."""

LONGEST_S = 20.0
"""Part of an event that is listened to. Chosen: steady sounds have shown themselves by then."""

HOP_S = 0.016
"""Step of the frames. Chosen: half a frame or so; a slam has several."""

FRAME_S = 0.030
"""Shortest frame. Chosen: resolves 50 Hz from 100 Hz."""

FRAMES_TOGETHER = 64
"""Frames transformed in one call. Chosen: a second or so; more gains nothing and takes memory."""

FRAME_DOWN_DB = 20.0
"""Frames that count are within this of the loudest. Chosen: the rest is reverberation and background."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundFeatures:
    """What a sound is like.

    Attributes
    ----------
    levels : tuple of float
        Cosine coefficients of the third octaves, dB; then lg2 of the core's length, of the spread
        of its energy in time and of its rise; how much of the core is filled; how much
        the spectrum changes; lg2 of how much the level goes up and down.
    audio : tuple of float
        Means, then standard deviations of the MFCC over the frames, dB; empty if there was no
        sound to listen to, or its sampling rate is below 16 kHz.
    """

    levels: tuple[float, ...]
    audio: tuple[float, ...] = ()


def distances(features: list[SoundFeatures], centres: list[SoundFeatures]) -> FloatArray:
    """Return how far sounds lie from each other, shape (features, centres); 1 is usual within one sound.

    What the sound itself tells counts as much as the levels, where both sides have it.
    """
    by_levels = _apart([each.levels for each in features], [each.levels for each in centres], LEVEL_SPREAD)
    heard = np.outer([bool(each.audio) for each in features], [bool(each.audio) for each in centres])
    silent = (0.0,) * len(AUDIO_SPREAD)
    by_audio = _apart(
        [each.audio or silent for each in features], [each.audio or silent for each in centres], AUDIO_SPREAD
    )
    return np.sqrt(np.where(heard, (by_levels + by_audio) / 2, by_levels))


def _apart(
    ones: list[tuple[float, ...]], others: list[tuple[float, ...]], spread: tuple[float, ...]
) -> FloatArray:
    """Return mean squared differences in units of the usual spread, shape (ones, others)."""
    first, second = (
        np.asarray(each, dtype=np.float64).reshape(-1, len(spread)) / spread for each in (ones, others)
    )
    return np.asarray(cdist(first, second, "sqeuclidean")) / len(spread)


def mean_features(members: list[SoundFeatures]) -> SoundFeatures:
    """Return the centre of several sounds; it has a sound of its own only if all of them have."""
    levels = np.mean([each.levels for each in members], axis=0)
    heard = all(each.audio for each in members)
    audio = np.mean([each.audio for each in members], axis=0) if heard else np.empty(0)
    return SoundFeatures(levels=tuple(levels.tolist()), audio=tuple(audio.tolist()))


def level_features(history: LevelHistory, event: Event) -> SoundFeatures:
    """Return what the level history tells of an event.

    Parameters
    ----------
    history : LevelHistory
        The one in which the event was found.
    event : Event
    """
    heard = _over_background(history, event)
    shape_db = _floored(level(heard.sum(axis=1)), RANGE_DB)
    spectrum = fft.dct(shape_db, norm="ortho")[1 : SHAPE_NUMBERS + 1]
    return SoundFeatures(levels=(*spectrum.tolist(), *_course(heard)))


def _over_background(history: LevelHistory, event: Event) -> FloatArray:
    """Return A-weighted energies over the background in BANDS_HZ, shape (bands, ticks)."""
    heard = np.zeros((len(BANDS_HZ), event.last_tick - event.first_tick))
    weights = energy(band_weighting_db(BANDS_HZ))
    for place, nominal in enumerate(BANDS_HZ):
        if nominal in history.nominal_hz:
            band = history.nominal_hz.index(nominal)
            background = np.nan_to_num(energy(event.background_spectrum.levels_db[band]))
            levels_db = history.bands[band, event.first_tick : event.last_tick]
            over = np.nan_to_num(energy(levels_db)) - BACKGROUND_TIMES * background
            heard[place] = weights[place] * np.maximum(over, 0.0)
    return heard


def _floored(levels_db: FloatArray, range_db: float) -> FloatArray:
    """Return levels no lower than so far below the highest of their column; all zero if there is none."""
    highest = levels_db.max(axis=0)
    highest = np.where(np.isfinite(highest), highest, 0.0)
    return np.asarray(np.maximum(levels_db, highest - range_db) - highest)


def _course(heard: FloatArray) -> tuple[float, ...]:
    """Return the six numbers of how level and spectrum go, from energies of shape (bands, ticks)."""
    total = heard.sum(axis=0)
    if not total.any():
        total = np.ones(total.size)
    course_db = _floored(level(total), DOWN_DB)
    core = np.flatnonzero(course_db > -DOWN_DB)
    first, last = int(core[0]), int(core[-1]) + 1
    length_s = (last - first) / TICKS_PER_SECOND
    at_s = np.arange(total.size) / TICKS_PER_SECOND
    share = total / total.sum()
    spread_s = np.sqrt(np.sum(share * (at_s - np.sum(share * at_s)) ** 2))
    rise_s = (int(course_db.argmax()) - first + 0.5) / TICKS_PER_SECOND
    spectra = fft.dct(_floored(level(heard[:, core]), RANGE_DB), axis=0, norm="ortho")[1:4]
    changes = np.sqrt(np.sum(spectra.std(axis=1) ** 2))
    ups_and_downs = np.abs(np.diff(course_db[first:last])).sum() / DOWN_DB / max(length_s, 0.5)
    return (
        float(np.log2(length_s)),
        float(np.log2(spread_s + 0.1)),
        float(np.log2(rise_s)),
        core.size / (last - first),
        float(changes),
        float(np.log2(ups_and_downs + 0.3)),
    )


def listening_span(event: Event) -> tuple[datetime, float]:
    """Return from when, UTC, and how long, s, to listen to a recording for :func:`audio_features`."""
    return event.start - timedelta(seconds=LEAD_S), LEAD_S + min(event.duration_s, LONGEST_S)


def audio_features(heard: PressureBlock, event_start: datetime) -> tuple[float, ...]:
    """Return what the sound itself tells of an event.

    Parameters
    ----------
    heard : PressureBlock
        Background, if there is any before the event, then the event itself; what goes beyond
        ``LONGEST_S`` is left aside. See :func:`listening_span`.
    event_start : datetime
        UTC.

    Returns
    -------
    tuple of float
        See ``SoundFeatures.audio``; empty if the sampling rate is below 16 kHz or there is no sound.

    Notes
    -----
    The first call loads librosa's filters, which takes a second.
    """
    rate_hz = heard.sample_rate_hz
    begin = max(0, round((event_start - heard.start).total_seconds() * rate_hz))
    event_pa = heard.pressure_pa[begin : begin + round(LONGEST_S * rate_hz)]
    if rate_hz < 2 * MEL_RANGE_HZ[1] or not event_pa.any():
        return ()
    energies = _mel_energies(event_pa, rate_hz)
    if begin > 0:
        before = _mel_energies(heard.pressure_pa[:begin], rate_hz).mean(axis=1, keepdims=True)
        energies = np.maximum(energies - BACKGROUND_TIMES * before, 0.0)
    total = energies.sum(axis=0)
    if not total.any():
        return ()
    counted = total >= total.max() * energy(-FRAME_DOWN_DB)
    return _mfcc_numbers(energies[:, counted], total[counted] / total[counted].sum())


def _mel_energies(pressure_pa: PressureArray, rate_hz: float) -> FloatArray:
    """Return energies in mel bands, shape (bands, frames); the first frame is centred on the first sample."""
    length = 1 << int(np.ceil(np.log2(FRAME_S * rate_hz)))
    bank, window = _mel_bank(rate_hz, length), get_window("hann", length).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(np.pad(pressure_pa, length // 2), length)
    frames = frames[:: round(HOP_S * rate_hz)]
    # Some at a time: all spectra of twenty seconds at 192 kHz would take 100 MB.
    pieces = [
        bank @ np.square(np.abs(fft.rfft(frames[first : first + FRAMES_TOGETHER] * window))).T
        for first in range(0, len(frames), FRAMES_TOGETHER)
    ]
    return np.concatenate(pieces, axis=1).astype(np.float64)


@cache
def _mel_bank(rate_hz: float, length: int) -> PressureArray:
    # Its own cache holds nothing of use here, and where it cannot be written nothing is loaded at all.
    cache_folder = os.environ.pop("LIBROSA_CACHE_DIR", None)
    try:
        # The filters alone: what librosa's feature functions load besides is 70 MB more.
        from librosa.filters import mel
    finally:
        if cache_folder is not None:
            os.environ["LIBROSA_CACHE_DIR"] = cache_folder

    low_hz, high_hz = MEL_RANGE_HZ
    bank = mel(sr=rate_hz, n_fft=length, n_mels=MEL_BANDS, fmin=low_hz, fmax=high_hz)
    return np.asarray(bank, dtype=np.float32)


def _mfcc_numbers(energies: FloatArray, weights: FloatArray) -> tuple[float, ...]:
    """Return weighted means and standard deviations of MFCC, from mel energies of shape (bands, frames)."""
    levels_db = _floored(level(energies), MEL_RANGE_DB)
    coefficients = fft.dct(levels_db, axis=0, norm="ortho")[1 : MFCC_NUMBERS + 1]
    means = coefficients @ weights
    spreads = np.sqrt((coefficients - means[:, np.newaxis]) ** 2 @ weights)
    return (*means.tolist(), *spreads.tolist())
