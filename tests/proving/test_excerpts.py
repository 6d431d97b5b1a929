"""Excerpts to listen to: before, fading over into after, at one gain."""

import numpy as np
import pytest
import soundfile

from sleepnoise.proving.after_night import after_night
from sleepnoise.proving.excerpts import FADING_S, LARGEST_SAMPLE, write_excerpts


@pytest.fixture(scope="module")
def after(demo_record, curtain):
    """Return the night behind the curtain."""
    return after_night(demo_record, curtain)


def test_both_halves_are_the_sound_of_the_night_at_one_gain(after, tmp_path):
    """The first half is the recording itself; at the file's own level both halves have their LAFmax."""
    (excerpt,) = write_excerpts(after, tmp_path, (3,))
    samples, rate = soundfile.read(excerpt.path)
    half, fading = round(excerpt.seconds * rate), round(FADING_S * rate)
    assert samples.size == 2 * half - fading
    recording, _ = soundfile.read(after.before.sound.parts[0].audio.path)
    event = next(each for each in after.before.assessment.events if each.number == 3)
    first = round(((event.start - after.before.start.utc).total_seconds() - 3.0) * rate)
    gain = samples[: half - fading] @ recording[first : first + half - fading]
    gain /= np.sum(recording[first : first + half - fading] ** 2)
    assert samples[: half - fading] == pytest.approx(
        gain * recording[first : first + half - fading], abs=1e-5
    )
    pascal = after.before.calibration.pascal_per_full_scale / gain
    sine_db = 20 * np.log10(pascal / np.sqrt(2.0) / 20e-6)
    assert excerpt.full_scale_db == pytest.approx(sine_db, abs=0.01)


def test_after_is_not_louder_than_before_and_nothing_reaches_full_scale(after, tmp_path):
    excerpts = write_excerpts(after, tmp_path, (2, 5), ending=".wav")
    for excerpt in excerpts:
        samples, rate = soundfile.read(excerpt.path)
        half = round(excerpt.seconds * rate)
        assert np.abs(samples).max() <= LARGEST_SAMPLE + 1e-6
        assert np.sum(samples[half:] ** 2) < np.sum(samples[:half] ** 2)
        assert excerpt.lafmax_after < excerpt.lafmax_before
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted(each.path.name for each in excerpts)
