"""What tighter doors do to a smoke alarm in the hall: by hand, in the alarm's own band."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.isolation.paths import room_paths
from sleepnoise.isolation.safety import alarm_caution

AT_3_KHZ = np.array([hz == 3150.0 for hz in NOMINAL_HZ])


def cautioned(room, parts, alarm, change_db, *, behind="hall", band=AT_3_KHZ):
    """Return the caution on everything from one side that takes off so much more in some bands."""
    paths = room_paths(room(*parts().values(), alarm=alarm))
    from_side = np.array([path.part.behind == behind for path in paths.paths])
    tighter = np.where(from_side[:, None] & band, 10 ** (-change_db / 10), 1.0)
    return alarm_caution(paths, paths.open_m2 * tighter)


def test_an_alarm_in_the_hall_loses_what_the_door_takes_off_at_3_khz(room, parts):
    told = cautioned(room, parts, {"place": "hall", "at_pillow_dba": 78.0}, 10.0)
    assert "from 78 to about 68 dB(A)" in told
    assert "under the 75 dB(A) asked for: fit an interlinked one" in told


def test_one_that_stays_above_75_db_is_to_be_checked_again(room, parts):
    told = cautioned(room, parts, {"place": "hall", "at_pillow_dba": 86.0}, 10.0)
    assert "from 86 to about 76 dB(A)" in told
    assert "check it again" in told


@pytest.mark.parametrize(("change_db", "worth_a_word"), [(0.4, False), (0.6, True)])
def test_half_a_decibel_is_worth_a_word(change_db, worth_a_word, room, parts):
    alarm = {"place": "hall", "at_pillow_dba": 78.0}
    assert bool(cautioned(room, parts, alarm, change_db)) == worth_a_word


def test_other_bands_and_other_sides_do_not_matter_to_it(room, parts):
    alarm = {"place": "hall", "at_pillow_dba": 78.0}
    assert cautioned(room, parts, alarm, 10.0, band=~AT_3_KHZ) == ""
    assert cautioned(room, parts, alarm, 10.0, behind="outdoors") == ""


def test_where_its_level_or_its_place_is_not_known_it_is_told_what_to_do_first(room, parts):
    assert "Measure it there with the door closed" in cautioned(room, parts, {"place": "hall"}, 10.0)
    told = cautioned(room, parts, {"place": "unknown"}, 10.0)
    assert "about 10 dB quieter here. Fit an interlinked one in the bedroom first" in told


def test_an_alarm_in_the_bedroom_needs_no_caution(room, parts):
    assert cautioned(room, parts, {"place": "bedroom"}, 10.0) == ""


def test_a_door_that_lets_nothing_through_silences_it(room, parts):
    told = cautioned(room, parts, {"place": "hall", "at_pillow_dba": 78.0}, np.inf)
    assert "under the 75 dB(A)" in told
