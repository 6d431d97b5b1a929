"""Numbers of a sound: how loud it is, and what the room's noise is, must not matter."""

from dataclasses import replace
from datetime import timedelta

import librosa
import numpy as np
import pytest

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.recognition.features import (
    AUDIO_SPREAD,
    LEVEL_SPREAD,
    MEL_RANGE_DB,
    SoundFeatures,
    audio_features,
    distances,
    level_features,
    listening_span,
    mean_features,
)


def test_a_sound_has_as_many_numbers_as_there_are_spreads(night):
    assert len(night.features[0].levels) == len(LEVEL_SPREAD)
    assert len(night.features[0].audio) == len(AUDIO_SPREAD)


def test_sounds_of_one_kind_lie_nearer_to_each_other_than_to_others(night):
    apart = distances(night.features, night.features)
    same = np.equal.outer(night.kinds, night.kinds)
    nearest_other = np.where(same, np.inf, apart).min(axis=1)
    np.fill_diagonal(apart, np.inf)
    nearest_same = np.where(same, apart, np.inf).min(axis=1)
    recurring = np.isfinite(nearest_same)
    assert np.mean(nearest_same[recurring] < nearest_other[recurring]) >= 0.95


def test_a_louder_sound_and_background_give_the_same_numbers(night):
    event = night.events[0]
    history = night.history
    louder = replace(
        history,
        bands=np.asarray(history.bands[:, :]) + np.float32(10),
        **{
            name: getattr(history, name) + np.float32(10)
            for name in ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
        },
    )
    background = event.background_spectrum
    shifted = replace(event, background_spectrum=replace(background, levels_db=background.levels_db + 10))
    assert level_features(louder, shifted).levels == pytest.approx(
        level_features(history, event).levels, abs=0.02
    )


def test_mfcc_do_not_change_with_the_gain(night):
    event = night.events[3]
    start, seconds = listening_span(event)
    rate = int(night.block.sample_rate_hz)
    first = round((start - night.block.start).total_seconds() * rate)
    samples = night.block.pressure_pa[first : first + round(seconds * rate)]

    def at(gain):
        heard = PressureBlock(pressure_pa=samples * np.float32(gain), sample_rate_hz=rate, start=start)
        return audio_features(heard, event.start)

    assert at(10.0) == pytest.approx(at(1.0), abs=0.01)


@pytest.mark.parametrize("rate", [16_000, 44_100, 192_000])
def test_numbers_of_a_sound_are_those_of_a_library_of_music_analysis(night, rate):
    """Reference: librosa, melspectrogram and mfcc (general library); float32 carries about six digits."""
    samples = np.random.default_rng(3).normal(size=round(1.3 * rate)).astype(np.float32)
    samples *= np.linspace(0.2, 1, samples.size, dtype=np.float32)
    heard = PressureBlock(pressure_pa=samples, sample_rate_hz=rate, start=night.block.start)
    energies = librosa.feature.melspectrogram(
        y=samples, sr=rate, n_fft=1 << int(np.ceil(np.log2(0.030 * rate))), hop_length=round(0.016 * rate),
        n_mels=40, fmin=50, fmax=8000,
    )  # fmt: skip
    total = energies.sum(axis=0)
    kept = total >= total.max() / 100
    levels_db = 10 * np.log10(energies[:, kept])
    floored_db = np.maximum(levels_db - levels_db.max(axis=0), -MEL_RANGE_DB)
    expected = librosa.feature.mfcc(S=floored_db, n_mfcc=13)[1:]
    weights = total[kept] / total[kept].sum()
    means = expected @ weights
    spreads = np.sqrt((expected - means[:, np.newaxis]) ** 2 @ weights)
    assert audio_features(heard, heard.start) == pytest.approx([*means, *spreads], abs=1e-4)


def test_there_is_nothing_to_hear_in_silence_or_at_a_low_sampling_rate(night):
    silent = np.zeros(8_000, dtype=np.float32)
    start = night.block.start
    for samples, rate in ((silent, 16_000), (np.ones_like(silent), 8_000)):
        heard = PressureBlock(pressure_pa=samples, sample_rate_hz=rate, start=start)
        assert audio_features(heard, start) == ()


def test_an_event_at_the_very_beginning_is_heard_without_background(night):
    rng = np.random.default_rng(0)
    samples = rng.normal(size=4_000).astype(np.float32)
    heard = PressureBlock(pressure_pa=samples, sample_rate_hz=16_000, start=night.block.start)
    assert len(audio_features(heard, night.block.start)) == len(AUDIO_SPREAD)


def test_a_long_event_is_listened_to_for_twenty_seconds_after_two_of_background(night):
    event = replace(night.events[0], duration_s=900.0)
    assert listening_span(event) == (event.start - timedelta(seconds=2), 22.0)


def test_distances_use_the_sound_only_where_both_sides_have_it():
    levels = (0.0,) * len(LEVEL_SPREAD)
    moved = tuple(spread * 2 for spread in LEVEL_SPREAD)
    heard = SoundFeatures(levels=moved, audio=(0.0,) * len(AUDIO_SPREAD))
    also = SoundFeatures(levels=levels, audio=AUDIO_SPREAD)
    deaf = SoundFeatures(levels=levels)
    assert distances([heard], [deaf, also])[0] == pytest.approx([2.0, np.sqrt((4 + 1) / 2)])


def test_the_centre_of_sounds_has_no_sound_if_one_of_them_has_none():
    levels = (1.0,) * len(LEVEL_SPREAD)
    heard = SoundFeatures(levels=levels, audio=(3.0,) * len(AUDIO_SPREAD))
    centre = mean_features([heard, SoundFeatures(levels=tuple(3 * each for each in levels))])
    assert centre == SoundFeatures(levels=(2.0,) * len(LEVEL_SPREAD))


def test_an_event_that_its_background_swallows_has_no_spectrum_and_finite_numbers(night):
    event = night.events[0]
    background = event.background_spectrum
    buried = replace(event, background_spectrum=replace(background, levels_db=background.levels_db + 80))
    numbers = level_features(night.history, buried).levels
    assert numbers[:10] == pytest.approx((0.0,) * 10, abs=1e-12)
    assert np.isfinite(numbers).all()


def test_the_core_of_an_event_ends_ten_decibels_down(history_of, event_at):
    laf = np.full(160, -np.inf)
    laf[40:48], laf[48:72] = 60.0, 49.0  # a second, then three seconds 11 dB lower
    numbers = level_features(history_of(laf), event_at(1, 40, 72, 60.0)).levels
    assert numbers[10] == pytest.approx(np.log2(1.0))
    assert numbers[13] == 1.0
    laf[48:72] = 51.0
    assert level_features(history_of(laf), event_at(1, 40, 72, 60.0)).levels[10] == np.log2(4.0)
