"""A door test as a document."""

import json
import tomllib
from pathlib import Path

import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.dossier.door_test_document import door_test_document, room_file_block
from sleepnoise.evidence.plain import document_text
from sleepnoise.planning.room_study import study_room
from sleepnoise.profiles.files import door_test_from, read_door_test
from sleepnoise.trials.door_test import ORDER, study_door_test


def asked(steps, **more):
    return door_test_from({"kind": "door-test", "title": "Invented", "step": steps, **more})


def typed(*levels):
    return [{"title": f"step {place}", "laeq": [laeq]} for place, laeq in enumerate(levels, start=1)]


def test_the_document_holds_everything_unrounded():
    profile = asked(typed(70.0, 60.0, 53.0, 46.0), background={"laeq": [41.0]})
    document = json.loads(document_text(door_test_document(study_door_test(profile, Path()))))
    assert document["conventions"]["removed"] == ORDER
    first, closed, curtain, last = document["steps"]
    assert (first["step_gain"], first["gain_since"], closed["gain_since"]) == (None, None, None)
    assert closed["step_gain"]["gain_db"] == pytest.approx([10.0])
    assert closed["step_gain"]["loudness_ratio"] == pytest.approx(0.5)
    assert curtain["removed_share_of_since"] == pytest.approx([1 - 10**-0.7])
    # 5 dB over the background: a limit.
    assert last["at_background_limit"] == [True]
    assert last["gain_since"]["at_least"] == [True]
    assert last["gain_since"]["expanded_uncertainty_db"] == [None]
    assert last["corrected_db"] == pytest.approx([44.7])
    shares = [
        curtain["removed_share_of_since"][0],
        last["removed_share_of_since"][0],
        document["left_share_of_since"][0],
    ]
    assert sum(shares) == pytest.approx(1.0)
    assert last["readings"] == [
        {"name": "typed", "levels_db": {"A": 46.0}, "used_s": None, "rejected_s": None}
    ]


def test_after_a_step_that_drowned_no_share_can_be_told():
    profile = asked(typed(60.0, 45.0, 44.0), background={"laeq": [41.0]}, since=1)
    steps = door_test_document(study_door_test(profile, Path()))["steps"]
    assert steps[1]["removed_share_of_since"] == pytest.approx([1 - 10**-1.63])
    assert steps[2]["removed_share_of_since"] == [None]


def test_what_a_room_file_needs_comes_back_out_of_it(tmp_path):
    """The invented door test: open, closed; a room file with its table moves the door by just that."""
    demo = Path(__file__).parents[2] / "demo_audio"
    result = study_door_test(read_door_test(demo / "door_test.toml"), demo)
    block = room_file_block(result, "hall-door")
    text = (demo / "bedroom.toml").read_text()
    first, last = text.index("[door_test]"), text.index("[air]")
    (tmp_path / "room.toml").write_text(text[:first] + block + "\n" + text[last:])
    tested = study_room(tmp_path / "room.toml").comparison
    test = result.test
    expected = test.ladder.gain_db(0, test.since)[1:]
    places = [NOMINAL_HZ.index(hz) for hz in test.nominal_hz]
    assert tested.measured_db[places] == pytest.approx(expected, abs=0.006)
    entry = tomllib.loads(block)["door_test"]
    u_db = test.expanded_db(0, test.since)[1:].max() / 2.0
    assert entry["uncertainty_db"] == pytest.approx(u_db, abs=0.006)
    # The number differs from the one that the door test prints, so its reason stands before it.
    lines = block.splitlines()
    (place,) = (row for row, line in enumerate(lines) if line.startswith("uncertainty_db"))
    expanded_db = test.expanded_db(0, test.since)
    worst_hz = test.nominal_hz[int(expanded_db[1:].argmax())]
    reason = " ".join(lines[place - 2 : place])
    assert f"the least certain band, {worst_hz:g} Hz: half of its ±{2 * u_db:.1f} dB (k = 2)" in reason
    assert f"The A-weighted gain is known to ±{expanded_db[0]:.1f} dB" in reason


def test_levels_read_from_a_meter_give_a_room_file_one_number():
    profile = asked(typed(70.0, 60.0))
    block = room_file_block(study_door_test(profile, Path()), "hall-door")
    entry = tomllib.loads(block)["door_test"]
    assert entry["open_minus_closed_dba"] == pytest.approx(10.0, abs=0.01)
    expanded_db = 2 * entry["uncertainty_db"]
    assert f"half of the ±{expanded_db:.1f} dB (k = 2) of the A-weighted gain" in block
