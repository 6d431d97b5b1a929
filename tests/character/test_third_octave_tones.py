"""The survey method, at its printed limits."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.character.third_octave_tones import above_neighbours_db, needed_by_band, survey_tones

MINUTE = 480


def flat_with(nominal_hz, rise_db):
    bands = np.full(len(NOMINAL_HZ), 30.0)
    bands[NOMINAL_HZ.index(nominal_hz)] += rise_db
    return bands


def test_the_limits_are_those_printed(published):
    printed = published("tones")["annex_k"]
    needed = needed_by_band()
    assert [needed[hz] for hz in (25, 125)] == [printed["25_to_125_hz_db"]] * 2
    assert [needed[hz] for hz in (160, 400)] == [printed["160_to_400_hz_db"]] * 2
    assert [needed[hz] for hz in (500, 10_000)] == [printed["500_to_10000_hz_db"]] * 2
    assert (min(needed), max(needed), len(needed)) == (25, 10_000, 27)


@pytest.mark.parametrize("nominal_hz", [25, 125, 160, 400, 500, 10_000])
def test_a_band_stands_out_at_its_limit_and_not_just_below(as_history, nominal_hz):
    needed_db = needed_by_band()[nominal_hz]
    (tone,) = survey_tones(as_history(flat_with(nominal_hz, needed_db), 2 * MINUTE)).tones
    assert (tone.nominal_hz, tone.needed_db, tone.share) == (nominal_hz, needed_db, 1.0)
    assert tone.above_neighbours_db == pytest.approx(needed_db, abs=1e-5)
    assert survey_tones(as_history(flat_with(nominal_hz, needed_db - 0.02), 2 * MINUTE)).tones == ()


def test_both_neighbours_count():
    assert above_neighbours_db([30, 40, 38, 30])[1] == 2
    assert above_neighbours_db([30, 40, 28, 30])[1] == 10


def test_a_tone_that_sounds_for_a_part_of_the_night_is_found_in_its_minutes(as_history):
    bands = np.tile(np.full(len(NOMINAL_HZ), 30.0)[:, None], (1, 20 * MINUTE))
    bands[NOMINAL_HZ.index(1000), : 3 * MINUTE] += 9
    found = survey_tones(as_history(bands))
    (tone,) = found.tones
    assert (found.minutes, tone.nominal_hz, tone.share) == (20, 1000, pytest.approx(0.15))


def test_what_is_left_out_is_not_looked_at(as_history):
    bands = np.tile(np.full(len(NOMINAL_HZ), 30.0)[:, None], (1, 4 * MINUTE))
    bands[NOMINAL_HZ.index(1000), :MINUTE] += 9
    left_out = np.arange(4 * MINUTE) < MINUTE
    found = survey_tones(as_history(bands, left_out=left_out))
    assert (found.minutes, found.tones) == (3, ())


def test_a_minute_that_is_mostly_left_out_is_not_looked_at(as_history):
    bands = flat_with(1000, 9)
    for kept, minutes in ((0.49, 0), (0.51, 1)):
        found = survey_tones(as_history(bands, MINUTE, left_out=np.arange(MINUTE) > kept * MINUTE))
        assert (found.minutes, len(found.tones)) == (minutes, minutes)


def test_a_band_beside_one_that_was_removed_is_no_tone(as_history):
    bands = np.full(len(NOMINAL_HZ), 30.0)
    bands[NOMINAL_HZ.index(8000)] = -np.inf
    bands[NOMINAL_HZ.index(12_500)] = -np.inf
    assert survey_tones(as_history(bands, MINUTE)).tones == ()


def test_bands_that_the_recording_does_not_have_are_named(as_history):
    short = NOMINAL_HZ[: NOMINAL_HZ.index(6300) + 1]
    found = survey_tones(as_history(np.full(len(short), 30.0), MINUTE, nominal_hz=short))
    assert found.not_examined_hz == (6300.0, 8000.0, 10_000.0)


def test_silence_and_an_empty_history_have_no_tones(as_history):
    silent = survey_tones(as_history(np.full(len(NOMINAL_HZ), -np.inf), MINUTE))
    assert (silent.minutes, silent.tones) == (0, ())
    assert survey_tones(as_history(np.empty((len(NOMINAL_HZ), 0)))).minutes == 0
