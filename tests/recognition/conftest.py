"""A night of invented sounds whose kinds are known, and plain histories for labels and diaries."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event, find_events
from sleepnoise.recognition.features import SoundFeatures, audio_features, level_features, listening_span
from sleepnoise.recognition.written_times import RecordedNight

RATE_HZ = 16_000
START = datetime(2026, 2, 10, 22, 0, tzinfo=UTC)
KINDS = ("slam", "bark", "beep", "hiss", "van", "squeak")
VARIANTS = 5
UNLIKE = ("hum", "rattle", "sweep", "splash")
APART_S = 12  # further than single sounds of a series


def _noise(rng, n, low_hz, high_hz):
    """Noise between two frequencies, with soft edges."""
    fast = next_fast_len(n, real=True)
    hz = rfftfreq(fast, 1 / RATE_HZ)
    gain = 1 / (1 + (low_hz / np.maximum(hz, 1)) ** 6) / (1 + (hz / high_hz) ** 6)
    return irfft(rfft(rng.normal(size=fast)) * gain, fast)[:n]


def _times(seconds):
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def _harmonics(t, hz, count):
    return sum(np.sin(2 * np.pi * hz * k * t) / k for k in range(1, count + 1))


LENGTH_S = {
    "slam": 0.5, "bark": 0.25, "beep": 0.4, "hiss": 2.0, "van": 7.0, "squeak": 0.6,
    "hum": 4.0, "rattle": 1.5, "sweep": 3.0, "splash": 0.8,
}  # fmt: skip
WAVES = {  # of time in seconds and in lengths of the sound, and how much it is stretched
    # ruff: noqa: ARG005
    "slam": lambda t, x, by, rng: _noise(rng, t.size, 40, 250) * np.exp(-t / 0.12),
    "bark": lambda t, x, by, rng: _harmonics(t, 450 / by, 5) * np.sin(np.pi * x),
    "beep": lambda t, x, by, rng: np.sin(2 * np.pi * 1000 / by * t),
    "hiss": lambda t, x, by, rng: _noise(rng, t.size, 2500, 7000) * x,
    "van": lambda t, x, by, rng: _noise(rng, t.size, 50, 160) * np.sin(np.pi * x) ** 2,
    "squeak": lambda t, x, by, rng: np.sin(2 * np.pi * (1500 + 600 * x) / by * t),
    "hum": lambda t, x, by, rng: _harmonics(t, 100, 3),
    "rattle": lambda t, x, by, rng: _noise(rng, t.size, 500, 4000) * (np.sin(2 * np.pi * 9 * t) > 0.3),
    "sweep": lambda t, x, by, rng: np.sin(2 * np.pi * (3000 - 1200 * x) * t),
    "splash": lambda t, x, by, rng: _noise(rng, t.size, 700, 1500) * np.exp(-t / 0.3),
}


def _sound(kind, rng):
    """One occurrence of a sound: pitch and length vary by some percent."""
    by = rng.uniform(0.95, 1.05)
    t = _times(LENGTH_S[kind] * by)
    return WAVES[kind](t, t / t[-1], by, rng)


def _in_a_room(sound, rng):
    """A little reverberation and a tone control, as another place in the room or an open door gives."""
    t = _times(0.3)
    echo = rng.normal(size=t.size) * 10 ** (-3 * t / rng.uniform(0.3, 0.6))
    echo *= 10 ** (rng.uniform(-8, -3) / 20) / np.sqrt(np.sum(echo**2))
    echo[0] += 1.0
    n = next_fast_len(sound.size + echo.size, real=True)
    hz = rfftfreq(n, 1 / RATE_HZ)
    octaves = np.log2(np.maximum(hz, 30) / 1000)
    tone_db = np.interp(octaves, np.arange(-5, 4), rng.normal(0, 1.5, 9))
    return irfft(rfft(sound, n) * rfft(echo, n) * 10 ** (tone_db / 20), n)


def made_night(seed):
    """Every kind several times and every unlike sound once, 15 to 30 dB over steady noise of 28 dB."""
    rng = np.random.default_rng(seed)
    kinds = rng.permutation([*np.repeat(KINDS, VARIANTS), *UNLIKE])
    sounds = [_in_a_room(_sound(kind, rng), rng) for kind in kinds]
    starts = np.cumsum([35 * RATE_HZ, *(sound.size + APART_S * RATE_HZ for sound in sounds)])
    pressure_pa = _noise(rng, int(starts[-1]), 50, 2000)
    pressure_pa *= 20e-6 * 10 ** (28 / 20) / np.sqrt(np.mean(pressure_pa**2))
    for sound, first in zip(sounds, starts[:-1], strict=True):
        peak = 20e-6 * 10 ** ((28 + rng.uniform(15, 30)) / 20) * 3
        pressure_pa[first : first + sound.size] += sound * peak / np.abs(sound).max()
    block = PressureBlock(pressure_pa=pressure_pa.astype(np.float32), sample_rate_hz=RATE_HZ, start=START)
    history = level_history([block])
    events = find_events(history)
    nearest = [int(np.abs(starts[:-1] / RATE_HZ - event.first_tick / 8).argmin()) for event in events]
    return SimpleNamespace(
        block=block,
        history=history,
        events=events,
        kinds=[str(kinds[place]) for place in nearest],
        features=[heard_features(block, history, event) for event in events],
    )


def heard_features(block, history, event):
    start, seconds = listening_span(event)
    first = max(0, round((start - block.start).total_seconds() * RATE_HZ))
    heard = PressureBlock(
        pressure_pa=block.pressure_pa[first : first + round(seconds * RATE_HZ)],
        sample_rate_hz=RATE_HZ,
        start=block.start + timedelta(seconds=first / RATE_HZ),
    )
    levels = level_features(history, event).levels
    return SoundFeatures(levels=levels, audio=audio_features(heard, event.start))


@pytest.fixture(scope="session")
def night():
    """One night of invented sounds."""
    return made_night(7)


@pytest.fixture(scope="session")
def next_night():
    """Another night of the same kinds of sounds."""
    return made_night(8)


@pytest.fixture
def recorded():
    """A recording from 22:00 to 07:00 on the clocks of Vienna."""
    return RecordedNight(
        start=datetime(2026, 2, 10, 21, 0, tzinfo=UTC),
        end=datetime(2026, 2, 11, 6, 0, tzinfo=UTC),
        zone=ZoneInfo("Europe/Vienna"),
    )


@pytest.fixture
def written(tmp_path):
    """Return a function that writes a file, text or bytes, and returns its path."""

    def write(content, name="night.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


@pytest.fixture
def history_of():
    """Return a function that makes a history of one level from A-weighted levels, on one band."""

    def make(laf, start=START, left_out=None, bands=None, nominal_hz=(1000.0,)):
        laf = np.asarray(laf, dtype=np.float32)
        names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
        return LevelHistory(
            start=start,
            sample_rate_hz=RATE_HZ,
            nominal_hz=nominal_hz,
            bands=laf[np.newaxis].copy() if bands is None else np.asarray(bands, dtype=np.float32),
            left_out=np.zeros(laf.size, dtype=bool) if left_out is None else left_out,
            **{name: laf.copy() for name in names},
        )

    return make


@pytest.fixture
def event_at():
    """Return a function that makes an event of some ticks."""

    def make(number, first, last, lafmax=50.0, start=START):
        spectrum = Spectrum(nominal_hz=(1000.0,), levels_db=np.array([lafmax]))
        return Event(
            number=number,
            start=start + timedelta(milliseconds=125 * first),
            duration_s=(last - first) / 8,
            first_tick=first,
            last_tick=last,
            lafmax=lafmax, lasmax=lafmax, lae=lafmax, lcpeak=lafmax,
            background_la90=27.0,
            emergence_db=lafmax - 27,
            max_spectrum=spectrum,
            background_spectrum=Spectrum(nominal_hz=(1000.0,), levels_db=np.array([27.0])),
        )  # fmt: skip

    return make
