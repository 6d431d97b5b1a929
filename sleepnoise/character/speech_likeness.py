"""Whether a sound is like speech: the beat of syllables, a voice, and its melody.

Three numbers, all of which must be high. Syllables come three to five times a second, so the
envelope of speech goes up and down mostly between 2 and 8 Hz; vowels have a pitch; and the pitch of
somebody who talks never stands still. Machines lack the second, tones and music the third.

It tells sounds *like* speech, not who or what speaks: talk on television is speech as well. Singing,
laughter and infants' cries may pass or not; whispering has no voice and goes unnoticed, and so does
what is shorter than a second or hardly above its background.
"""

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.signal import resample_poly

from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.source import Source

IEC_60268_16 = Source(
    document="IEC 60268-16",
    place="speech transmission index: modulations of 0.63 to 12.5 Hz in octaves from 125 Hz to 8 kHz",
    how_known="memory",
)

RATE_HZ = 8000
"""Sampling rate at which is listened. Chosen: as a telephone, which lets every voice be known as one."""

OCTAVES_HZ = (250.0, 500.0, 1000.0, 2000.0)
"""Octaves whose envelopes are looked at. Chosen: those of ``IEC_60268_16`` that a wall or a door lets through
and that hold voices rather than machines."""

SYLLABLES_HZ = (2.0, 8.0)
"""Modulations that syllables make. Chosen: the middle of the range of ``IEC_60268_16``."""

MODULATIONS_HZ = (0.5, 32.0)
"""Modulations that are told apart. Chosen: an octave or two more on both sides than speech has."""

PITCHES_HZ = (75.0, 400.0)
"""Pitches of a voice. Chosen: from low men's voices to children's (common practice, no source)."""

HOP_S, ENVELOPE_S, PITCH_S = 0.010, 0.032, 0.040
"""Step, and lengths of frames. Chosen: the usual ones for speech (common practice, no source); three periods
of the lowest pitch."""

PERIODIC = 0.6
"""Autocorrelation from which on a frame has a pitch. Chosen: noise in frames of this length stays below."""

FIRST_PEAK = 0.85
"""Share of the highest peak that an earlier one must reach. Chosen: the pitch, and not an octave below."""

SMOOTH_SEMITONES = 1.5
"""Most that the pitch of one voice changes from frame to frame. Chosen: faster than any voice glides."""

RUN = 5
"""Steps of a run in which pitch goes on smoothly. Chosen: 50 ms, shorter than most vowels."""

MOVED_SEMITONES = 0.3
"""Change within a run from which on a pitch has moved. Chosen: 6 semitones a second, slower than talk and
faster than what noise makes of a steady tone."""

DOWN_DB = 20.0
"""Frames that count are within this of the loudest. Chosen: the range of vowels and most consonants."""

BACKGROUND_TIMES = 1.5
"""Multiple of the background's energy that is taken off. Chosen: little is left of steady noise."""

PIECE_S = 4.0
"""Piece of a sound that is judged by itself. Chosen: a sentence; somebody may speak while a van stands."""

SHORTEST_S = 1.0
"""Shortest sound that can be told. Chosen: three or four syllables, two periods of 2 Hz."""

LEAST_SYLLABLES, LEAST_VOICE, LEAST_MELODY = 0.28, 0.25, 0.4
"""What speech has at least of each. Chosen: between recorded speech in four languages, clean, in noise and
through a wall (98 in 100 found), and sounds of themes, games and music (4 in 100 taken for speech)."""

_SHARES = (LEAST_SYLLABLES, LEAST_VOICE, LEAST_MELODY)
"""The same in the order of the numbers. Chosen: see above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeechLikeness:
    """How much of a sound is like speech, of the piece that is most like it; shares from 0 to 1.

    Attributes
    ----------
    syllables : float
        Of the envelope's modulation between 0.5 and 32 Hz, how much lies between 2 and 8 Hz.
    voice : float
        Of the loud moments, how many begin 50 ms in which the pitch of a voice goes on smoothly.
    melody : float
        Of these, in how many the pitch moves.
    """

    syllables: float
    voice: float
    melody: float

    @property
    def speech_like(self) -> bool:
        """Whether all three are as high as in speech."""
        return self.weakest >= 1

    @property
    def weakest(self) -> float:
        """The number that speaks least for speech, over the least that speech has of it."""
        numbers = (self.syllables, self.voice, self.melody)
        return min(number / least for number, least in zip(numbers, _SHARES, strict=True))


def speech_likeness(heard: PressureBlock, begin: datetime) -> SpeechLikeness | None:
    """Return how much a sound is like speech.

    Parameters
    ----------
    heard : PressureBlock
        Background, if there is any before the sound, then the sound itself.
    begin : datetime
        UTC; when the sound begins.

    Returns
    -------
    SpeechLikeness or None
        None if the sound is too short to tell, or its sampling rate below 8 kHz.
    """
    rate_hz = round(heard.sample_rate_hz)
    if rate_hz < RATE_HZ:
        return None
    common = math.gcd(rate_hz, RATE_HZ)
    samples = resample_poly(heard.pressure_pa, RATE_HZ // common, rate_hz // common).astype(np.float64)
    first = max(0, round((begin - heard.start).total_seconds() * RATE_HZ))
    before, sound = samples[:first], samples[first:]
    if sound.size < SHORTEST_S * RATE_HZ or not sound.any():
        return None
    pieces = np.array_split(sound, max(1, round(sound.size / RATE_HZ / PIECE_S)))
    return max((_piece(piece, before) for piece in pieces), key=lambda found: found.weakest)


def _piece(sound: FloatArray, before: FloatArray) -> SpeechLikeness:
    pitched, moving = _voice(sound, before)
    return SpeechLikeness(syllables=_syllables(sound, before), voice=pitched, melody=moving)


def _frames(samples: FloatArray, length_s: float) -> FloatArray:
    """Return windowed frames of samples, shape (frames, samples)."""
    size, hop = round(length_s * RATE_HZ), round(HOP_S * RATE_HZ)
    return np.asarray(sliding_window_view(samples, size)[::hop] * np.hanning(size))


def _over(energies: FloatArray, background: FloatArray) -> FloatArray:
    """Return energies over those of the background, whose frames are the last axis too."""
    if not background.shape[-1]:
        return energies
    return np.asarray(np.maximum(energies - BACKGROUND_TIMES * background.mean(axis=-1, keepdims=True), 0.0))


def _octave_energies(samples: FloatArray) -> FloatArray:
    """Return energies in the octaves, shape (octaves, frames); no frames of less than one."""
    if samples.size < ENVELOPE_S * RATE_HZ:
        return np.empty((len(OCTAVES_HZ), 0))
    power = np.abs(np.fft.rfft(_frames(samples, ENVELOPE_S), axis=1)) ** 2
    hz = np.fft.rfftfreq(round(ENVELOPE_S * RATE_HZ), 1 / RATE_HZ)
    within = [(hz >= middle / np.sqrt(2)) & (hz < middle * np.sqrt(2)) for middle in OCTAVES_HZ]
    return np.stack([power[:, octave].sum(axis=1) for octave in within])


def _syllables(sound: FloatArray, before: FloatArray) -> float:
    """Return the share of modulation that syllables make, octaves weighted by their energy."""
    envelopes = _over(_octave_energies(sound), _octave_energies(before))
    weights = envelopes.sum(axis=1)
    if not weights.any():
        return 0.0
    count = envelopes.shape[1]
    mean = np.maximum(envelopes.mean(axis=1, keepdims=True), np.finfo(np.float64).tiny)
    swing = (envelopes / mean - 1) * np.hanning(count)
    size = max(count, round(2 / (HOP_S * MODULATIONS_HZ[0])))
    power = np.abs(np.fft.rfft(swing, size, axis=1)) ** 2
    hz = np.fft.rfftfreq(size, HOP_S)
    all_of_it = power[:, (hz >= MODULATIONS_HZ[0]) & (hz < MODULATIONS_HZ[1])].sum(axis=1)
    syllables = power[:, (hz >= SYLLABLES_HZ[0]) & (hz < SYLLABLES_HZ[1])].sum(axis=1)
    shares = syllables / np.maximum(all_of_it, np.finfo(np.float64).tiny)
    return float(np.average(shares, weights=weights))


def _voice(sound: FloatArray, before: FloatArray) -> tuple[float, float]:
    """Return in how many of the loud frames a run with a pitch begins, and in how many runs it moves."""
    frames = _frames(sound, PITCH_S)
    quiet = _frames(before, PITCH_S) if before.size >= PITCH_S * RATE_HZ else np.empty((0, frames.shape[1]))
    over = _over(np.sum(frames**2, axis=1), np.sum(quiet**2, axis=1))
    loud = over > over.max() * energy(-DOWN_DB)
    pitch_semitones, pitched = _pitch(frames)
    voiced = pitched & loud
    smooth = voiced[1:] & voiced[:-1] & (np.abs(np.diff(pitch_semitones)) < SMOOTH_SEMITONES)
    runs = sliding_window_view(smooth, RUN).all(axis=1)
    if not runs.any():
        return 0.0, 0.0
    moved = np.abs(pitch_semitones[RUN:] - pitch_semitones[:-RUN]) > MOVED_SEMITONES
    return float(runs.sum() / loud.sum()), float(np.mean(moved[runs]))


def _pitch(frames: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return the pitch of each frame in semitones over 1 Hz, and whether there is one."""
    size = frames.shape[1]
    spectra = np.abs(np.fft.rfft(frames, 2 * size, axis=1)) ** 2
    alike = np.fft.irfft(spectra, axis=1)[:, :size]
    window = np.hanning(size)
    of_window = np.fft.irfft(np.abs(np.fft.rfft(window, 2 * size)) ** 2)[:size]
    shortest, longest = round(RATE_HZ / PITCHES_HZ[1]), round(RATE_HZ / PITCHES_HZ[0])
    # Windows overlap less and less as the lag grows; that is not the sound's.
    share = of_window[shortest - 1 : longest + 2] / of_window[0]
    tiny = np.finfo(np.float64).tiny
    around = alike[:, shortest - 1 : longest + 2] / np.maximum(alike[:, :1], tiny) / share
    here = around[:, 1:-1]
    highest = here.max(axis=1, keepdims=True)
    peaks = (here > around[:, :-2]) & (here >= around[:, 2:]) & (here >= FIRST_PEAK * highest)
    place = peaks.argmax(axis=1)
    pitched = peaks.any(axis=1) & (highest[:, 0] > PERIODIC)
    return 12 * np.log2(RATE_HZ / (shortest + place + _between(around, place + 1))), pitched


def _between(values: FloatArray, places: NDArray[np.int64]) -> FloatArray:
    """Return by how much a parabola through each peak and its neighbours has its top beside it."""
    rows = np.arange(len(values))
    left, middle, right = (values[rows, places + by] for by in (-1, 0, 1))
    bend = np.minimum(left - 2 * middle + right, -np.finfo(np.float64).tiny)
    return np.asarray(np.clip((left - right) / 2 / bend, -0.5, 0.5))
