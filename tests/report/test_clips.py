"""Clips: no words in blurred ones, one gain for all."""

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.record import NightRecord
from sleepnoise.character.speech_likeness import SpeechLikeness
from sleepnoise.recognition.recognise import SPEECH_LIKE
from sleepnoise.report.clips import CLIP_RATE_HZ, OCTAVES_HZ, _octaves, blurred, event_clips
from sleepnoise.report.html import night_page

STI_MODULATIONS_HZ = (0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5)
"""Modulation frequencies of the speech transmission index, IEC 60268-16 (from memory)."""

RATE_HZ = 8000
"""Enough for the octaves that carry most of speech, and quick."""

PRIVACY_STI = 0.20
"""Speech transmission index that counts as privacy between workplaces, ISO 3382-3 (from memory)."""


def modulation(sound: np.ndarray, frequency_hz: float) -> float:
    """Depth of the intensity's modulation within a whole number of periods away from the ends."""
    time_s = np.arange(sound.size) / RATE_HZ
    within = (time_s >= 2) & (time_s < 2 + np.floor(12 * frequency_hz) / frequency_hz)
    wave = sound[within] ** 2 * np.exp(-2j * np.pi * frequency_hz * time_s[within])
    return float(2 * np.abs(wave.mean()) / np.mean(sound[within] ** 2))


def transmission_index(depth: float) -> float:
    """Apparent ratio of signal to noise, held to 15 dB either way, 0 to 1; IEC 60268-16 (from memory)."""
    return (float(np.clip(10 * np.log10(depth / (1 - min(depth, 1 - 1e-9))), -15, 15)) + 15) / 30


def test_no_words_are_left_in_a_blurred_clip() -> None:
    """The envelope of speech does not come through: its transmission index is below that of privacy."""
    rng = np.random.default_rng(1)
    time_s = np.arange(15 * RATE_HZ) / RATE_HZ
    before, after = [], []
    for frequency_hz in STI_MODULATIONS_HZ:
        noise = rng.standard_normal(time_s.size)
        sound = noise * np.sqrt(1 + np.cos(2 * np.pi * frequency_hz * time_s))
        before.append(transmission_index(modulation(sound, frequency_hz)))
        after.append(transmission_index(modulation(blurred(sound, RATE_HZ), frequency_hz)))
    assert np.mean(before) > 0.9
    assert np.mean(after) < PRIVACY_STI
    # Speech lives on 2 to 8 Hz: there nothing at all is left.
    assert max(after[5:12]) < 0.05


def test_a_blurred_clip_is_as_loud_octave_by_octave() -> None:
    rng = np.random.default_rng(2)
    sound = np.cumsum(rng.standard_normal(6 * CLIP_RATE_HZ)) * 1e-3
    sound -= sound.mean()
    blur = blurred(sound, CLIP_RATE_HZ)
    for octave_hz, had, has in zip(
        OCTAVES_HZ, _octaves(sound, CLIP_RATE_HZ), _octaves(blur, CLIP_RATE_HZ), strict=True
    ):
        # 2 dB: 6 s of noise 44 Hz wide scatter by tenths, and at the ends less is averaged.
        assert 10 * np.log10(np.mean(has**2) / np.mean(had**2)) == pytest.approx(0, abs=2), octave_hz


def heard(address: str) -> np.ndarray:
    kind, _, content = address.partition(",")
    assert kind == "data:audio/mpeg;base64"
    sound, rate = soundfile.read(io.BytesIO(base64.b64decode(content)))
    assert rate == CLIP_RATE_HZ
    return sound


def test_all_clips_have_one_gain_and_say_it(sounding: NightRecord) -> None:
    clips = event_clips(sounding, "full")
    quiet, loud = (heard(clips.addresses[event.number]) for event in sounding.assessment.events)
    middle = slice(CLIP_RATE_HZ, 2 * CLIP_RATE_HZ)
    assert np.std(loud[middle]) / np.std(quiet[middle]) == pytest.approx(
        10, rel=0.1
    )  # What coding takes off, under 1 dB.
    # 0.1 Pa come to 0.9 of full scale: a full-scale sine is 0.111 Pa, 20 lg (0.0786 / 20e-6) = 71.9 dB.
    assert "stands for 72 dB" in clips.note
    assert "voices" in clips.note


def test_without_being_asked_a_page_holds_no_sound(sounding: NightRecord) -> None:
    assert "audio/mpeg" not in night_page(sounding)
    assert night_page(sounding, clips=event_clips(sounding, "blurred")).count("audio/mpeg") == 2


def speaking(record: NightRecord, number: int) -> NightRecord:
    """Return the night with a flag of speech on one event."""
    events = tuple(
        replace(event, flags=(*event.flags, SPEECH_LIKE)) if event.number == number else event
        for event in record.assessment.events
    )
    return replace(record, assessment=replace(record.assessment, events=events))


def test_what_is_like_speech_is_blurred_in_full_clips_unless_voices_are_asked_for(
    sounding: NightRecord,
) -> None:
    """A tone of 1 kHz comes through as it is; blurred, it is noise an octave wide."""
    first, second = (event.number for event in sounding.assessment.events)
    night = speaking(sounding, second)
    for kind, blur in (("full", {second}), ("full-with-voices", set()), ("blurred", {first, second})):
        clips = event_clips(night, kind)  # type: ignore[arg-type]
        assert {number for number in (first, second) if is_noise(heard(clips.addresses[number]))} == blur
        assert clips.blurred == ((second,) if kind == "full" else ())


def is_noise(clip: np.ndarray) -> bool:
    power = np.abs(np.fft.rfft(clip[CLIP_RATE_HZ : 2 * CLIP_RATE_HZ])) ** 2
    return bool(power[990:1011].sum() < 0.5 * power.sum())


def test_talk_that_no_flag_tells_of_is_found_in_the_clip_itself(
    sounding: NightRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of nights whose events were too many to hear again, nothing is flagged."""
    told = SpeechLikeness(syllables=0.6, voice=0.6, melody=0.6)
    monkeypatch.setattr("sleepnoise.report.clips.speech_likeness", lambda *_: told)
    clips = event_clips(sounding, "full")
    assert clips.blurred == tuple(event.number for event in sounding.assessment.events)
    assert "is blurred" in clips.note
    assert "consent" in event_clips(sounding, "full-with-voices").note
