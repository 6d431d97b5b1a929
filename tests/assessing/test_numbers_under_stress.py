"""Sounds at the edge of what there is, through the main job: right, or refused in one clear sentence."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.errors import RecordingError, StartTimeError
from tests.fixtures.random_nights import TOLERANCES_DB, differences_db, write_random_night

RATE_HZ = 16_000
FULL_SCALE_DB = 100.0
EVENING = "2026-01-14T23:30"


def noise(seconds: float, level_db: float = 40.0, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return white noise of a level, if a full-scale sine is 100 dB."""
    samples = np.random.default_rng(4).standard_normal(round(seconds * rate_hz))
    return samples * 10 ** ((level_db - FULL_SCALE_DB) / 20) / np.sqrt(2)


@pytest.fixture
def assessed(tmp_path: Path):
    """Return a function that writes samples and has them assessed."""

    def assess(
        samples: np.ndarray, *, rate_hz: int = RATE_HZ, subtype: str = "PCM_24", start: str = EVENING
    ) -> NightRecord:
        path = tmp_path / "night.wav"
        soundfile.write(path, samples, rate_hz, subtype=subtype)
        settings = AssessSettings(start=start, zone="Europe/Vienna", full_scale_level_db=FULL_SCALE_DB)
        return assess_recording(path, settings)

    return assess


@pytest.mark.parametrize("seed", [3, 4, 5, 6, 14])
def test_random_nights_agree_with_the_slow_meter(tmp_path: Path, seed: int) -> None:
    """Reference: the definitions of IEC 61672-1 in float64 with scipy, sample by sample."""
    night = write_random_night(tmp_path, seed, rates_hz=(8000, 11025, 22050, 44100), lengths_s=(20, 24))
    beyond = {name: away for name, away in differences_db(night).items() if not away <= TOLERANCES_DB[name]}
    assert beyond == {}


def test_a_recorder_off_centre_begins_and_ends_without_a_bang(assessed) -> None:
    quiet = noise(40)
    centred, off = assessed(quiet, subtype="FLOAT"), assessed(quiet + 0.1, subtype="FLOAT")
    for name in ("laeq", "lafmax", "lasmax", "lcpeak"):
        plain, moved = getattr(centred.assessment.statistics, name), getattr(off.assessment.statistics, name)
        assert moved == pytest.approx(plain, abs=0.05), name
    assert off.assessment.events == ()
    # Its samples carry 24 bits of 0.1, so of the lowest bands little is left to compare: see the highest.
    np.testing.assert_allclose(off.history.bands[0], centred.history.bands[0], rtol=0, atol=0.5)


@pytest.mark.parametrize("rate_hz", [8000, 192_000])
def test_one_second_is_enough_for_levels(assessed, rate_hz: int) -> None:
    time_s = np.arange(rate_hz) / rate_hz
    sine = 0.999 * np.sin(2 * np.pi * 1000 * time_s)
    statistics = assessed(sine, rate_hz=rate_hz).assessment.statistics
    # A full-scale sine is the full-scale level, by definition; 1 kHz is where A, C and Z agree. The sudden
    # start splashes less than 0.1 dB.
    assert statistics.laeq == pytest.approx(FULL_SCALE_DB, abs=0.1)
    assert statistics.lceq == pytest.approx(FULL_SCALE_DB, abs=0.1)
    assert statistics.seconds == 1.0


def test_a_full_scale_square_is_three_decibels_above_the_sine(assessed) -> None:
    square = np.where(np.arange(20 * RATE_HZ) % 160 < 80, 32767 / 32768, -32767 / 32768)
    record = assessed(square, subtype="PCM_16")
    # 10 lg 2, since effective values are 1 and 1 / sqrt(2).
    assert record.assessment.statistics.lzeq == pytest.approx(FULL_SCALE_DB + 3.01, abs=0.02)
    assert "clipping" in [flag.kind for flag in record.quality]


@pytest.mark.parametrize("samples", [np.zeros(20 * RATE_HZ), np.full(20 * RATE_HZ, 0.3)])
def test_what_stands_still_is_no_night(assessed, samples: np.ndarray) -> None:
    record = assessed(samples)
    assert record.assessment.statistics.left_out_s == 20
    assert np.isnan(record.assessment.statistics.laeq)
    assert record.assessment.events == ()


def test_samples_too_small_for_any_recorder_are_silence(assessed) -> None:
    samples = np.random.default_rng(1).standard_normal(10 * RATE_HZ) * 1e-40
    assert assessed(samples, subtype="FLOAT").assessment.statistics.lafmax == -np.inf


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_what_is_no_number_is_refused_with_its_place(assessed, bad: float) -> None:
    samples = noise(4)
    samples[2 * RATE_HZ] = bad
    with pytest.raises(RecordingError, match=r"finite number.*2\.000 s"):
        assessed(samples, subtype="FLOAT")


@pytest.mark.parametrize("count", [1, RATE_HZ // 8 - 1])
def test_less_than_an_eighth_of_a_second_is_refused(assessed, count: int) -> None:
    with pytest.raises(RecordingError, match=r"night\.wav: lasts .* levels need 0\.125 s"):
        assessed(noise(1)[:count])


def test_nothing_within_the_window_is_refused_even_if_it_is_missed_by_a_tick(assessed) -> None:
    with pytest.raises(StartTimeError, match="no part between 23:00-07:00"):
        assessed(noise(5), start="2026-01-14T22:59:55.05")
    assert assessed(noise(5), start="2026-01-14T22:59:55.2").assessment.statistics.seconds == 0.125


@pytest.mark.parametrize(
    ("start", "hours", "seconds"),
    [
        ("2026-01-14T23:59:50", 8, 20),  # midnight
        ("2026-03-29T01:59:50", 7, 20),  # the clocks jump from 02:00 to 03:00 after ten seconds
        ("2026-10-25T02:59:50+02:00", 9, 20),  # and back to 02:00
        ("2026-01-14T22:59:50", 8, 10),  # into the window
        ("2026-01-15T06:59:50", 8, 10),  # out of it
    ],
)
def test_nights_across_an_edge_of_the_clock(assessed, start: str, hours: int, seconds: float) -> None:
    """Dates of the changes: Directive 2000/84/EC (from memory, as in the time zone database)."""
    night = assessed(noise(20), start=start).assessment
    assert night.window_s == hours * 3600
    assert night.statistics.seconds == seconds
    assert sum(each.statistics.seconds for each in night.quarter_hours) == seconds
    assert night.statistics.laeq == pytest.approx(40.2, abs=0.1)
