"""Sound clips of events for the page: blurred so that nobody's words are heard, or in full on request.

What is like speech is blurred in full clips as well, unless somebody asks for voices in so many words.

A blurred clip keeps how loud a sound is, how long, and roughly how high, and nothing else: octave
by octave the slow course of its energy is put on noise. What carries words are changes of the
envelope between 2 and 16 Hz; these are gone. All clips of a page have one gain, so that quiet
sounds stay quiet beside loud ones.
"""

import base64
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.source import Source
from sleepnoise.assessing.record import NightRecord
from sleepnoise.character.speech_likeness import speech_likeness
from sleepnoise.night.events import Event
from sleepnoise.recognition.recognise import SPEECH_LIKE
from sleepnoise.wording.speech_words import SPEECH_CAUTION
from sleepnoise.wording.tables import loudest_events

ClipKind = Literal["blurred", "full", "full-with-voices"]

DRULLMAN_1994 = Source(
    document="Drullman, Festen and Plomp 1994, J. Acoust. Soc. Am. 95:1053-1064",
    place="envelopes smoothed below 2 Hz leave hardly any speech to be understood",
    how_known="memory",
)

BLUR_S = 1.5
"""Length of the window that smooths energies, s. Chosen: a Hann window of it lets nothing pass above 1.4 Hz,
below the 2 Hz from which on speech begins to be understood; see ``DRULLMAN_1994``."""

OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Bands that are blurred one by one. Chosen: few, because many fine ones carry speech even on noise."""

MARGIN_S = 1.0
"""Sound before and after an event in its clip, s. Chosen: an onset needs something to begin from."""

LONGEST_S = 15.0
"""Longest clip, s. Chosen: enough to know a sound again; the page stays small."""

MOST_CLIPS = 40
"""Clips on a page, of the loudest events. Chosen: about 3 MB together."""

CLIP_RATE_HZ = 32_000
"""Sampling rate of clips. Chosen: holds all that most adults hear, at two thirds of the size."""

VOICES_BLURRED = (
    "What sounds like speech is blurred, as far as it was found; voices may be left: hand them on only as "
    "far as the law and those who can be heard allow."
)
"""Said of clips in full. Common practice, no source."""

LOUDEST_SAMPLE = 0.9
"""Largest sample of all clips. Chosen: coding may overshoot a little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clips:
    """Clips of one night.

    Attributes
    ----------
    kind : ClipKind
    addresses : dict of int to str
        By the number of the event: an address that holds the sound itself (MP3).
    blurred : tuple of int
        Numbers of the events that were blurred although clips were asked for in full, as like speech.
    note : str
        What they are, and their common gain.
    """

    kind: ClipKind
    addresses: dict[int, str]
    blurred: tuple[int, ...]
    note: str


def event_clips(record: NightRecord, kind: ClipKind) -> Clips:
    """Return clips of the loudest events of a night, read anew from the recording.

    Raises
    ------
    RecordingError
        If the recording can no longer be read.
    """
    events = loudest_events(record.assessment.events, MOST_CLIPS)
    sounds: dict[int, FloatArray] = {}
    voices: list[int] = []
    for event in events:
        heard = _heard(record, event)
        if kind == "full" and _like_speech(event, heard):
            voices.append(event.number)
        blur = kind == "blurred" or event.number in voices
        sounds[event.number] = _clip(heard, event.number, blur=blur)
    gain = LOUDEST_SAMPLE / max((float(np.abs(sound).max()) for sound in sounds.values()), default=1.0)
    return Clips(
        kind=kind,
        addresses={number: _address(gain * sound) for number, sound in sounds.items()},
        blurred=tuple(sorted(voices)),
        note=_note(record, kind, gain),
    )


def _heard(record: NightRecord, event: Event) -> PressureBlock:
    """Hear an event and what was around it."""
    seconds = min(event.duration_s + 2 * MARGIN_S, LONGEST_S)
    return record.sound.excerpt(
        record.calibration,
        event.start - timedelta(seconds=MARGIN_S),
        seconds,
        channel=record.settings.channel,
    )


def _like_speech(event: Event, heard: PressureBlock) -> bool:
    """Return whether somebody may be heard in a clip: in the event itself, or in what is around it."""
    found = (speech_likeness(heard, begin) for begin in (event.start, heard.start))
    return SPEECH_LIKE in event.flags or any(each is not None and each.speech_like for each in found)


def _clip(heard: PressureBlock, seed: int, *, blur: bool) -> FloatArray:
    """Return the pressure of a clip, at the clips' sampling rate."""
    from scipy.signal import resample_poly

    rate_hz = round(heard.sample_rate_hz)
    common = math.gcd(rate_hz, CLIP_RATE_HZ)
    sound = np.asarray(
        resample_poly(heard.pressure_pa.astype(np.float64), CLIP_RATE_HZ // common, rate_hz // common)
    )
    return blurred(sound, CLIP_RATE_HZ, seed=seed) if blur else sound


def blurred(sound: FloatArray, sample_rate_hz: float, *, seed: int = 0) -> FloatArray:
    """Return noise with the slow course of a sound's energy in each octave.

    Parameters
    ----------
    sound : ndarray, shape (samples,)
    sample_rate_hz : float, Hz
    seed : int
        The same seed gives the same noise.

    Returns
    -------
    ndarray, shape (samples,)
        Band by band the energy of the sound, smoothed over ``BLUR_S``.
    """
    from scipy.signal import fftconvolve

    noise = np.random.default_rng(seed).standard_normal(sound.size)
    window = np.hanning(round(BLUR_S * sample_rate_hz) + 2)[1:-1]
    # At the ends only what is there is averaged.
    weight = fftconvolve(np.ones(sound.size), window, mode="same")
    blur = np.zeros(sound.size)
    for octave, carrier in zip(_octaves(sound, sample_rate_hz), _octaves(noise, sample_rate_hz), strict=True):
        energy = np.maximum(fftconvolve(octave**2, window, mode="same") / weight, 0.0)
        blur += np.sqrt(energy / max(float(np.mean(carrier**2)), np.finfo(np.float64).tiny)) * carrier
    return blur


def _octaves(sound: FloatArray, sample_rate_hz: float) -> Iterable[FloatArray]:
    """Return the octaves of a sound, cut out of its spectrum."""
    spectrum = np.fft.rfft(sound)
    frequency_hz = np.fft.rfftfreq(sound.size, 1 / sample_rate_hz)
    for middle_hz in OCTAVES_HZ:
        within = (frequency_hz >= middle_hz / np.sqrt(2)) & (frequency_hz < middle_hz * np.sqrt(2))
        yield np.fft.irfft(np.where(within, spectrum, 0), sound.size)


def _address(sound: NDArray[np.floating]) -> str:
    import soundfile

    held = io.BytesIO()
    soundfile.write(held, sound.astype(np.float32), CLIP_RATE_HZ, format="MP3")
    return f"data:audio/mpeg;base64,{base64.b64encode(held.getvalue()).decode()}"


def _note(record: NightRecord, kind: ClipKind, gain: float) -> str:
    what = {
        "blurred": "Blurred: only how loud, how long and roughly how high; no words can be understood.",
        "full": f"As recorded, at a smaller size: to know a sound again, not to measure it. {VOICES_BLURRED}",
        "full-with-voices": "As recorded, voices too, at a smaller size, not to measure it. "
        f"{SPEECH_CAUTION}",
    }[kind]
    sine_db = float(pressure_level((1 / gain) ** 2 / 2))
    level = f" A full-scale sine in a clip stands for {sine_db:.0f} dB." if record.assessment.absolute else ""
    return f"{what} All clips have the same gain.{level} Start with the volume low."
