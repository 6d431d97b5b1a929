"""A night of steady noise and chords: one spectrum from beginning to end, so that the model holds exactly."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.dossier.document import assessment_document
from sleepnoise.evidence.plain import document_text
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.proving.after_night import after_night
from sleepnoise.proving.promise import promise_of

ROOM = Path(__file__).parents[2] / "demo_audio" / "bedroom.toml"
RATE, SECONDS, LASTS_S = 16_000, 240, 6
SIDES = {120: "hall", 150: "outdoors", 180: "inside", 210: "neighbour"}
"""Second at which each chord begins, and its side."""


@pytest.fixture(scope="module")
def chords(tmp_path_factory):
    """Return the record of the night, and its folder."""
    folder = tmp_path_factory.mktemp("chords")
    samples = np.random.default_rng(5).normal(0.0, 10 ** (-75 / 20), RATE * SECONDS)
    time_s = np.arange(LASTS_S * RATE) / RATE
    chord = sum(np.sin(2 * np.pi * hz * time_s + hz) for hz in (125.0, 501.0, 1259.0, 3162.0))
    ends = np.clip(np.minimum(time_s, LASTS_S - time_s) / 0.2, 0.0, 1.0)
    for place, second in enumerate(SIDES):
        first = second * RATE
        samples[first : first + chord.size] += chord * ends * 10 ** ((-50 + 2 * place) / 20)
    soundfile.write(folder / "night.wav", samples, RATE, subtype="PCM_24")
    settings = AssessSettings(
        start="2026-02-11T02:00", zone="Europe/Vienna", full_scale_level_db=100.0,
        guidelines=("who-1999-bedroom",),
    )  # fmt: skip
    record = assess_recording(folder / "night.wav", settings)
    (folder / "assessment.json").write_text(document_text(assessment_document(record)))
    return record, folder


@pytest.mark.parametrize("inside", [0.0, 0.5])
def test_computed_and_measured_levels_agree_without_any_explanation(chords, inside):
    record, folder = chords
    wishes = RoomWishes(
        origins={str(number): side for number, side in enumerate(SIDES.values(), start=1)},
        background_inside=inside,
        required=("doorway-curtain-closed-edges",),
    )
    maskers = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
    plan = plan_bedroom([read_kept_night(folder)], study_room(ROOM), wishes, maskers, Wish(events_allowed=4))
    after = after_night(record, promise_of(plan))
    assert [each.side for each in after.events] == list(SIDES.values())
    assert after.events[0].lafmax.computed < after.events[0].lafmax.before - 8.0
    for each in (*after.levels, *(event.lafmax for event in after.events)):
        assert each.measured == pytest.approx(each.computed, abs=0.5)
        assert each.explanation == ""
    for event in after.events:
        assert event.margin_db == pytest.approx(event.computed_margin_db, abs=1.0)
