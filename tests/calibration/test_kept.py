import math
import tomllib
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sleepnoise.calibration.kept import (
    KeptCalibration,
    calibration_text,
    read_calibration,
)
from sleepnoise.calibration.microphone import MicrophoneResponse
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import (
    Calibration,
    ToneSpan,
    UncertaintyPart,
    calibration_from_sensitivity,
    expanded_db,
)

MADE_ON = date(2026, 1, 14)
PARTS = (UncertaintyPart(what="recorder", standard_db=1.5, basis="invented"),)
FULL = Calibration(
    pascal_per_full_scale=9.876543210123456,
    absolute=True,
    expanded_uncertainty_db=expanded_db(PARTS),
    origin='tone of 94 dB in "Löffel\\3".wav',
    parts=PARTS,
    frequency_hz=250.0,
    tones=(ToneSpan(name="tone.wav", sha256="0a" * 32, start_s=1.25, end_s=9.0),),
    drift_db=-0.12,
    remarks=("One.", "Two."),
)
RESPONSE = MicrophoneResponse(frequency_hz=[20, 1000, 20_000], response_db=[-1.25, 0, 3], origin="mic.txt")


def kept(calibration=FULL, **options):
    return KeptCalibration.of(calibration, made_on=MADE_ON, **options)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "recorder.toml"


@pytest.fixture
def mended(path):
    def mend(old, new):
        path.write_text(calibration_text(kept(response=RESPONSE)), encoding="utf-8")
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1))
        return path

    return mend


def test_a_calibration_comes_back_as_it_was(path):
    one = kept(
        recorder="field recorder, serial 12", microphone="small, clipped on", gain='"3"\u00a0of 10 \U0001f3a4'
    )
    path.write_text(calibration_text(one), encoding="utf-8")
    assert read_calibration(path) == one
    assert path.read_text(encoding="utf-8") == calibration_text(read_calibration(path))


@pytest.mark.parametrize("full_scale_db", [70.0, 103.7, 170.0])
def test_a_stated_calibration_comes_back_too(path, full_scale_db):
    one = kept(calibration_from_sensitivity(full_scale_db))
    path.write_text(calibration_text(one), encoding="utf-8")
    again = read_calibration(path)
    assert repr(again) == repr(one)  # nan does not equal itself
    assert math.isnan(again.calibration.drift_db)


def test_the_microphones_response_comes_with_it(path):
    path.write_text(calibration_text(kept(response=RESPONSE)), encoding="utf-8")
    again = read_calibration(path).response
    assert again.correction_db([20, 500, 9000]) == pytest.approx(RESPONSE.correction_db([20, 500, 9000]))
    assert np.array_equal(again.response_db, RESPONSE.response_db)
    assert again.origin == "mic.txt"


def test_the_file_is_plain_toml_with_units_in_its_keys():
    read = tomllib.loads(calibration_text(kept(response=RESPONSE)))
    assert read["kind"] == "calibration"
    assert read["pascal_per_full_scale"] == FULL.pascal_per_full_scale
    assert (read["made_on"], read["valid_until"]) == (MADE_ON, date(2026, 2, 13))
    assert read["uncertainty"][0]["standard_db"] == 1.5
    assert read["tone"][0]["start_s"] == 1.25


@pytest.mark.parametrize(
    ("evening", "remark"),
    [
        (date(2026, 1, 13), None),
        (date(2026, 1, 14), None),
        (date(2026, 2, 13), None),
        (date(2026, 2, 14), "valid until 2026-02-13, the night began on 2026-02-14"),
        (date(2026, 1, 12), "made on 2026-01-14, the night began on 2026-01-12, before it"),
    ],
)
def test_a_night_outside_its_period_is_said_not_refused(evening, remark):
    found = kept().for_night(evening)
    assert found.pascal_per_full_scale == FULL.pascal_per_full_scale
    assert found.remarks[:2] == ("One.", "Two.")
    assert [remark in each for each in found.remarks[2:]] == [True] * bool(remark)


def test_the_first_day_that_there_is_does_no_harm():
    edited = replace(kept(), calibration=replace(FULL, made_on=date.min))
    assert edited.for_night(MADE_ON).remarks == FULL.remarks


def test_the_period_is_ones_own_choice_within_two_years():
    assert kept(valid_days=0).valid_until == MADE_ON
    assert kept(valid_days=730).valid_until == date(2028, 1, 14)
    for days in (-1, 731):
        with pytest.raises(CalibrationError, match=f"0 to 730 days, got {days}"):
            kept(valid_days=days)


def test_no_calibration_is_nothing_to_keep():
    with pytest.raises(CalibrationError, match="nothing to keep"):
        kept(Calibration.relative())


@pytest.mark.parametrize("note", ["a\nb", "\x1b[31m", "x" * 1001])
def test_notes_that_a_file_cannot_hold_are_refused(note):
    with pytest.raises(CalibrationError, match="calibration: recorder: "):
        calibration_text(kept(recorder=note))


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("pascal_per_full_scale = 9", "pascal_per_full_scale = -9", "pascal_per_full_scale: should be"),
        (
            "pascal_per_full_scale = 9.876543210123456",
            "pascal_per_full_scale = nan",
            "pascal_per_full_scale: ",
        ),
        ('kind = "calibration"', 'kind = "guideline"', "kind: should be 'calibration'"),
        ("version = 1", "version = 2", "version: should be 1"),
        ("made_on = 2026-01-14", "made_on = 2026-03-14", "valid_until must not lie before made_on"),
        ("made_on = 2026-01-14", 'made_on = "yesterday"', "made_on: should be a valid date"),
        ("recorder = ", "rekorder = ", "rekorder: is not a key of a calibration"),
        ("recorder = ", "rekorder = ", "recorder: is missing"),
        ('what = "recorder"', 'what = ""\nwhy = 1', "uncertainty 1 why: is not a key"),
        ("standard_db = 1.5", "standard_db = -1.5", "uncertainty 1 standard_db: should be"),
        ("0a0a", "zz0a", "tone 1 sha256: holds characters"),
        ("[-1.25, 0.0, 3.0]", "[-1.25, 0.0]", "response: frequency_hz and response_db must be equally long"),
        ("[20.0, 1000.0", "[2000.0, 1000.0", "response: frequency_hz must rise"),
        ("[-1.25", "[-31.25", "response response_db 1: should be"),
        ("version = 1", "version = ", "is not valid TOML"),
    ],
)
def test_a_file_that_is_wrong_is_refused_with_its_key(mended, old, new, complaint):
    with pytest.raises(CalibrationError) as caught:
        read_calibration(mended(old, new))
    assert "recorder.toml" in caught.value.complaint
    assert complaint in caught.value.complaint
    assert caught.value.remedy


def test_a_number_written_without_a_point_will_do(mended):
    assert (
        read_calibration(mended("frequency_hz = 250.0", "frequency_hz = 250")).calibration.frequency_hz
        == 250.0
    )


def test_other_files_are_refused(tmp_path):
    with pytest.raises(CalibrationError, match="cannot be read as a calibration"):
        read_calibration(tmp_path / "none.toml")
    (tmp_path / "deep.toml").write_text("a = " + "[" * 5000)
    with pytest.raises(CalibrationError, match="TOML"):
        read_calibration(tmp_path / "deep.toml")
