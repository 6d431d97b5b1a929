"""A night as it comes from a recorder: in parts, with a gap, a slow clock, a tone, a coloured microphone."""

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.calibration.kept import KeptCalibration, calibration_text
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import calibration_from_sensitivity
from sleepnoise.recording.clock import ClockReading

RATE_HZ = 16_000
SETTINGS = {"zone": "Europe/Vienna", "full_scale_level_db": 100.0, "guidelines": ("who-1999-bedroom",)}


def noise(seconds: float, level_db: float = 40.0, seed: int = 1) -> np.ndarray:
    """Return white noise of a level when a full-scale sine is 100 dB."""
    samples = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    return samples * 10 ** ((level_db - 100) / 20) / np.sqrt(2)


def tone(seconds: float) -> np.ndarray:
    """Return a calibrator's 94 dB under the same gain."""
    return 10 ** (-6 / 20) * np.sin(2 * np.pi * 1000 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def write(path: Path, *parts: np.ndarray) -> Path:
    soundfile.write(path, np.concatenate(parts), RATE_HZ, subtype="PCM_24")
    return path


def assessed(where: Path | list[Path], **changes: object):
    return assess_recording(where, AssessSettings(**{**SETTINGS, **changes}))


def test_a_folder_of_parts_is_one_night_and_its_gap_is_left_out(tmp_path: Path) -> None:
    write(tmp_path / "20260114_230000.wav", noise(60))
    write(tmp_path / "20260114_230130.wav", noise(60, seed=2))
    record = assessed(tmp_path)
    assert [flag.kind for flag in record.quality] == ["gap"]
    assert record.quality[0].seconds == pytest.approx(30, abs=0.01)
    statistics = record.assessment.statistics
    assert statistics.seconds == pytest.approx(150, abs=0.2)
    assert 30 <= statistics.left_out_s < 34
    whole = assessed(write(tmp_path / "20260114_230000_all.wav", noise(60), noise(60, seed=2)))
    assert statistics.laeq == pytest.approx(whole.assessment.statistics.laeq, abs=0.05)
    assert [mark.role for mark in record.provenance.inputs[:2]] == ["recording", "recording"]


def test_the_calibrators_tone_within_the_night_is_no_part_of_it(tmp_path: Path) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(30), tone(10), noise(60, seed=2))
    record = assessed(path, full_scale_level_db=None, tone=path)
    assert "calibration tone" in [flag.kind for flag in record.quality]
    assert record.assessment.statistics.lafmax < 42
    assert record.assessment.statistics.lasmax < 42
    assert record.assessment.statistics.laeq == pytest.approx(
        assessed(write(tmp_path / "20260114_230000_bare.wav", noise(90))).assessment.statistics.laeq, abs=0.1
    )
    assert record.assessment.events == ()


def test_a_slow_clock_moves_the_night_and_nothing_else(tmp_path: Path) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(60))
    plain = assessed(path)
    moved = assessed(path, clock=(ClockReading.parse("22:58:30=23:00:00"),))
    assert moved.start.utc == datetime(2026, 1, 14, 22, 1, 30, tzinfo=UTC)
    assert moved.assessment.statistics == plain.assessment.statistics


def test_a_kept_calibration_and_its_microphone_count_for_a_later_night(tmp_path: Path) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(60))
    kept = KeptCalibration.of(calibration_from_sensitivity(110.0), made_on=date(2025, 11, 1), valid_days=30)
    (tmp_path / "kept.toml").write_text(calibration_text(kept), encoding="utf-8")
    plain = assessed(path)
    record = assessed(path, full_scale_level_db=None, calibration_file=tmp_path / "kept.toml")
    assert record.assessment.statistics.laeq == pytest.approx(plain.assessment.statistics.laeq + 10, abs=0.01)
    assert any("was valid until 2025-12-01" in remark for remark in record.remarks)


def test_a_microphones_response_is_taken_off(tmp_path: Path) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(60))
    # 6 dB too much above 2 kHz, right at 1 kHz, where the gain is known.
    (tmp_path / "response.txt").write_text("20 0\n1000 0\n2000 6\n20000 6\n")
    plain = assessed(path)
    record = assessed(path, microphone_response=tmp_path / "response.txt", response_means="response")
    change_db = (
        record.assessment.background_spectrum.levels_db - plain.assessment.background_spectrum.levels_db
    )
    hz = np.array(plain.assessment.background_spectrum.nominal_hz)
    assert change_db[hz <= 800] == pytest.approx(0, abs=0.05)
    assert change_db[hz >= 2500] == pytest.approx(-6, abs=0.05)


def test_the_uncertainty_of_verdicts_holds_more_than_the_calibration(tmp_path: Path) -> None:
    record = assessed(write(tmp_path / "20260114_230000.wav", noise(60)))
    weighted, low_bands = record.budgets
    assert record.assessment.expanded_uncertainty_db == weighted.expanded_db
    assert weighted.expanded_db > record.calibration.expanded_uncertainty_db
    assert low_bands.expanded_db > weighted.expanded_db


def test_a_class_1_recorder_makes_the_margin_of_verdicts_smaller(tmp_path: Path) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(10))
    usual, class_1 = assessed(path), assessed(path, recorder_class=1)
    # ISO 1996-2:2017, Table 1, footnote a: u 1.5 dB for class 2, 0.5 dB for class 1; the other parts stay.
    taken_off = usual.budgets[0].combined_db ** 2 - class_1.budgets[0].combined_db ** 2
    assert taken_off == pytest.approx(1.5**2 - 0.5**2)
    assert "said to be of class 1" in class_1.budgets[0].contributions[0].basis


def test_overloaded_events_are_lower_bounds(tmp_path: Path) -> None:
    loud = np.clip(noise(3, 112, seed=5), -0.999, 0.999)
    record = assessed(write(tmp_path / "20260114_230000.wav", noise(90), loud, noise(60, seed=2)))
    assert "clipping" in [flag.kind for flag in record.quality]
    (event,) = record.assessment.events
    assert any("at least" in flag or "lower bound" in flag for flag in event.flags)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"calibration_file": Path("kept.toml")}, "only one way can count"),
        ({"full_scale_level_db": None, "tone_after": Path("after.wav")}, "needs the one before it"),
        ({"full_scale_level_db": None, "tone_level_db": 114.0}, "only together with a tone"),
        ({"tone_frequency_hz": 250.0}, "only together with a tone"),
        ({"full_scale_level_db": None, "recorder_class": 1}, "only together with a calibration"),
        (
            {
                "full_scale_level_db": None,
                "calibration_file": Path("kept.toml"),
                "recorder_class": 1,
            },
            "cannot change it",
        ),
        ({"recorder_class": 3}, "must be 1 or 2, got 3"),
    ],
)
def test_contradicting_calibrations_are_refused(tmp_path: Path, changes: dict, said: str) -> None:
    path = write(tmp_path / "20260114_230000.wav", noise(10))
    with pytest.raises(CalibrationError, match=said):
        assessed(path, **changes)
