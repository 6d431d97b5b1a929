"""Event settings: what is allowed, and how a mistake is told."""

from dataclasses import fields

import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.night.event_settings import EventSettings

NAMES = [field.name for field in fields(EventSettings)]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("value", [-1.0, 1e6, float("nan"), float("inf")])
def test_every_setting_has_bounds_and_its_complaint_names_it(name, value):
    with pytest.raises(SettingsError, match=f"{name} must lie between") as error:
        EventSettings(**{name: value})
    assert "default" in error.value.remedy


@pytest.mark.parametrize(
    "wrong", [{"release_db": 7.0}, {"onset_db": 2.0}, {"scatter_release": 9.0}, {"scatter_onset": 1.0}]
)
def test_release_must_not_lie_above_onset(wrong):
    with pytest.raises(SettingsError, match="must not lie above"):
        EventSettings(**wrong)


def test_the_same_threshold_for_both_is_allowed():
    assert EventSettings(onset_db=10.0, release_db=10.0).release_db == 10.0
