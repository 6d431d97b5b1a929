from dataclasses import replace
from pathlib import Path

import pytest

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import SettingsError
from sleepnoise.portfolio.task import checked_name, fingerprint

SETTINGS = AssessSettings(zone="Europe/Vienna")


@pytest.fixture
def night(tmp_path):
    path = tmp_path / "a" / "night.wav"
    path.parent.mkdir()
    path.write_bytes(b"sound")
    return path


def test_a_result_depends_on_content_name_and_settings_but_not_on_place_and_threads(night, tmp_path):
    made_from = fingerprint([night], SETTINGS)
    elsewhere = tmp_path / "b" / "night.wav"
    elsewhere.parent.mkdir()
    elsewhere.write_bytes(b"sound")
    assert fingerprint([elsewhere], replace(SETTINGS, threads=7)) == made_from
    renamed = night.rename(night.with_name("other.wav"))
    assert fingerprint([renamed], SETTINGS) != made_from
    elsewhere.write_bytes(b"sounD")
    assert fingerprint([elsewhere], SETTINGS) != made_from


def test_every_file_that_is_read_counts_by_its_content(night, tmp_path):
    calibration = tmp_path / "kept.json"
    calibration.write_bytes(b"1")
    settings = replace(SETTINGS, calibration_file=calibration)
    before = fingerprint([night], settings)
    calibration.write_bytes(b"2")
    assert fingerprint([night], settings) != before
    assert fingerprint([night], SETTINGS) != before
    diary = tmp_path / "diary.csv"
    diary.write_bytes(b"x")
    said = replace(SETTINGS, statements=replace(SETTINGS.statements, diary=diary))
    assert fingerprint([night], said) != fingerprint([night], SETTINGS)


def test_guidelines_count_and_their_place_does_not(night, tmp_path):
    assert fingerprint([night], replace(SETTINGS, guidelines=("who-2009-night",))) != fingerprint(
        [night], SETTINGS
    )
    shipped = Path(__file__).parents[2] / "profiles" / "guidelines" / "who-2009-night.toml"
    marks = []
    for name in ("one", "two"):
        copy = tmp_path / name / shipped.name
        copy.parent.mkdir()
        copy.write_bytes(shipped.read_bytes())
        marks.append(fingerprint([night], replace(SETTINGS, guidelines=(str(copy),))))
    assert marks[0] == marks[1]


@pytest.mark.parametrize("name", ["", " ", "a/b", "a\\b", "..", ".hidden", "~", "a:b", "a\nb", "x" * 101])
def test_a_name_that_no_folder_may_have_is_refused(name):
    with pytest.raises(SettingsError, match="list"):
        checked_name(name, "list")
