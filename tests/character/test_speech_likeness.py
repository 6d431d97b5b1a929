"""Sounds made on paper: what speaks with a voice, what only has its beat, and what has neither.

The talk here is made like a vowel synthesiser's (Fant 1960, source and filter; from memory): glottal
pulses whose rate glides, through resonances that change, in syllables of a quarter of a second.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.character.speech_likeness import SpeechLikeness, speech_likeness

RATE_HZ = 16_000
START = datetime(2026, 2, 10, 22, 0, tzinfo=UTC)
LEAD_S = 2.0
RNG = np.random.default_rng(11)


def times(seconds):
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def noise(seconds):
    return RNG.standard_normal(round(seconds * RATE_HZ))


def syllables(t):
    """Four a second, each with its rise and fall, and a pause after every sixth."""
    return np.sin(np.pi * ((4 * t) % 1)) ** 2 * ((t % 1.75) < 1.5)


def harmonics(pitch_hz, formants_hz=(500.0, 1500.0)):
    phase = 2 * np.pi * np.cumsum(pitch_hz) / RATE_HZ
    gain = [max(np.exp(-(((k * pitch_hz.mean() - f) / 250) ** 2)) for f in formants_hz) for k in range(1, 16)]
    return sum((g + 0.05) * np.sin((k + 1) * phase) for k, g in enumerate(gain))


def talk(t, low_hz=120.0):
    # Up and down by a fourth, three times in two seconds; made up.
    pitch_hz = low_hz * 2 ** ((6 + 2.5 * np.sin(2 * np.pi * 1.5 * t)) / 12)
    return harmonics(pitch_hz) * syllables(t)


def heard(sound, *, background=0.01, lead_s=LEAD_S):
    samples = background * noise(lead_s + sound.size / RATE_HZ)
    samples[round(lead_s * RATE_HZ) :] += sound / np.sqrt(np.mean(sound**2))
    block = PressureBlock(
        pressure_pa=(0.01 * samples).astype(np.float32), sample_rate_hz=RATE_HZ, start=START
    )
    return speech_likeness(block, START + timedelta(seconds=lead_s))


T = times(6)
STILL = np.full(T.size, 150.0)
OTHERS = {
    "steady noise": noise(6),
    "noise with the beat of syllables": noise(6) * syllables(T),
    "a steady tone": np.sin(2 * np.pi * 200 * T),
    "a hum with the beat of syllables": harmonics(STILL) * syllables(T),
    "a voice that glides and never stops": harmonics(150 + 40 * np.sin(2 * np.pi * 0.3 * T)),
    "a slam": noise(6) * np.exp(-T / 0.2),
    "a clock": noise(6) * np.exp(-(T % 0.5) / 0.01),
}


@pytest.mark.parametrize("low_hz", [100.0, 200.0, 260.0])
@pytest.mark.parametrize("background", [0.01, 0.3])
def test_talk_is_like_speech_whatever_the_voice_and_in_noise_too(low_hz, background):
    assert heard(talk(T, low_hz), background=background).speech_like


@pytest.mark.parametrize("what", OTHERS)
def test_what_lacks_the_beat_the_voice_or_the_melody_is_not(what):
    assert not heard(OTHERS[what]).speech_like


def test_each_number_tells_its_own_thing():
    spoken = heard(talk(T))
    assert heard(OTHERS["noise with the beat of syllables"]).voice < 0.1 < spoken.voice
    assert heard(OTHERS["a hum with the beat of syllables"]).melody < 0.1 < spoken.melody
    assert heard(OTHERS["a voice that glides and never stops"]).syllables < 0.1 < spoken.syllables


def test_a_sentence_within_a_long_noise_is_found():
    """A sixth of what is heard: the pieces are judged one by one."""
    sound = 0.05 * noise(18)
    sound[6 * RATE_HZ : 10 * RATE_HZ] += talk(times(4))
    assert heard(sound).speech_like


def test_how_loud_it_is_does_not_matter():
    t = times(3)
    block = [
        PressureBlock(pressure_pa=(gain * talk(t)).astype(np.float32), sample_rate_hz=RATE_HZ, start=START)
        for gain in (1e-4, 1e-1)
    ]
    soft, loud = (speech_likeness(each, START) for each in block)
    assert soft.syllables == pytest.approx(loud.syllables, abs=1e-3)
    assert (soft.voice, soft.melody) == pytest.approx((loud.voice, loud.melody), abs=0.02)


def test_what_is_too_short_or_too_coarse_is_not_told():
    t = times(0.9)
    assert heard(talk(t)) is None
    coarse = PressureBlock(pressure_pa=np.ones(8000, dtype=np.float32), sample_rate_hz=4000, start=START)
    assert speech_likeness(coarse, START) is None
    silence = PressureBlock(
        pressure_pa=np.zeros(32_000, dtype=np.float32), sample_rate_hz=16_000, start=START
    )
    assert speech_likeness(silence, START) is None


def test_all_three_must_be_high():
    enough = {"syllables": 0.5, "voice": 0.8, "melody": 0.6}
    assert SpeechLikeness(**enough).speech_like
    for name in enough:
        assert not SpeechLikeness(**{**enough, name: 0.2}).speech_like
