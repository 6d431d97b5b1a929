"""A night before, a plan, and another night after the work: other slams at other times, behind the treatment.

Both nights are synthesised from the demo's own sounds with different seeds; what the treatment takes off
the slams is known.
"""

import json
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.cli.program import app
from sleepnoise.demo.scenario import Scenario, ScheduledSound
from sleepnoise.demo.synthesis import Synthesis
from sleepnoise.dossier.document import assessment_document
from sleepnoise.dossier.plan_document import plan_document
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_plan import plan_bedroom
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
from sleepnoise.planning.problem import Wish
from sleepnoise.planning.room_study import study_room
from sleepnoise.proving.filtering import filtered
from sleepnoise.proving.kept_plan import read_plan
from sleepnoise.proving.night_gain import prove_gain_by_nights
from sleepnoise.proving.night_proof import prove_by_night

ROOM = Path(__file__).parents[2] / "demo_audio" / "bedroom.toml"
RATE, SLAMS = 16_000, 6
FULL_SCALE_PA = 2.0 * np.sqrt(2.0)
SETTINGS = AssessSettings(
    start="2026-02-11T02:00",
    zone="Europe/Vienna",
    full_scale_level_db=100.0,
    guidelines=("who-1999-bedroom",),
)
MASKERS = MaskerChoices(shapes=masker_shapes(), shaped=False, lowest_hz=100.0)
WISHES = RoomWishes(origins={"slam": "hall"}, required=("doorway-curtain-closed-edges",))


def night_of(folder, seed, loss_db=None):
    """Write and assess a night of slams behind a loss; everything that is heard is labelled as a slam."""
    folder.mkdir()
    rng, sounds, start_s = np.random.default_rng(seed), [], 40.0
    for number in range(SLAMS):
        at_s = round(start_s + rng.uniform(0.0, 2.0), 3)
        sounds.append(
            ScheduledSound(
                number=number, kind="stairwell door", start_s=at_s, seconds=2.5, lafmax=rng.uniform(56, 62)
            )
        )
        start_s += 13.0
    scenario = Scenario(seed=seed, first_s=0.0, seconds=start_s, sounds=tuple(sounds), hum=())
    synthesis = Synthesis(scenario, RATE)
    pressure_pa = synthesis.background_pa(0, synthesis.last)
    for sound in sounds:
        alone = PressureBlock(
            pressure_pa=synthesis.alone_pa(sound).astype(np.float32),
            sample_rate_hz=RATE,
            start=scenario.start + timedelta(seconds=sound.start_s),
        )
        loss = np.zeros(len(MODEL_BANDS_HZ)) if loss_db is None else loss_db
        heard = filtered([alone], lambda when, loss=loss: np.tile(loss, (when.size, 1)))
        samples = np.concatenate([block.pressure_pa for block in heard])
        first = synthesis.sample(sound.start_s)
        pressure_pa[first : first + samples.size] += samples
    soundfile.write(folder / "night.wav", pressure_pa / FULL_SCALE_PA, RATE, subtype="PCM_24")
    document = assessment_document(assess_recording(folder / "night.wav", SETTINGS))
    for event in document["events"]:
        event["label"] = "slam"
    (folder / "assessment.json").write_text(document_text(document))
    return folder


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """Return the plan's file and promise, the night before, and nights after the work and without it."""
    base = tmp_path_factory.mktemp("case")
    before = night_of(base / "before", 1)
    wish = Wish(margin_db=13.0, events_allowed=SLAMS)
    plan = plan_bedroom([read_kept_night(before)], study_room(ROOM), WISHES, MASKERS, wish)
    path = base / "plan.json"
    path.write_text(document_text(plan_document(plan, ROOM, [before], (WISHES, MASKERS))))
    promise = read_plan(path).promise
    loss_db = promise.loss_db[promise.sides.index("hall")]
    after = night_of(base / "after", 2, loss_db)
    undone = night_of(base / "undone", 3)
    return path, promise, before, after, undone


def test_a_treatment_that_brings_what_was_planned_keeps_its_promise(case):
    _, promise, _, after, _ = case
    proof = prove_by_night(promise, read_kept_night(after), same_recorder=True)
    rows = {row.name: row for row in proof.rows}
    assert rows["mean LAFmax, slam"].word != "not kept"
    assert abs(rows["mean LAFmax, slam"].difference) < rows["mean LAFmax, slam"].expanded


def test_nights_tell_the_gain_of_the_treatment_in_every_band_that_is_heard(case):
    _, promise, before, after, _ = case
    nights = ([read_kept_night(before)], [read_kept_night(after)])
    proof = prove_gain_by_nights(promise, *nights, same_recorder=True)
    true_db = promise.loss_db[promise.sides.index("hall")]
    measured = np.array([each.measured for each in proof.bands])
    expanded = np.array([each.expanded for each in proof.bands])
    told = ~np.isnan(measured) & ~proof.gain.at_least[1:]
    assert told.sum() >= 10
    # Two standard uncertainties hold nineteen of twenty bands, which err together here.
    assert np.mean(np.abs(measured - true_db)[told] <= expanded[told]) > 0.8
    assert proof.word == "kept"


def test_without_the_work_nights_tell_no_gain(case):
    _, promise, before, _, undone = case
    nights = ([read_kept_night(before)], [read_kept_night(undone)])
    proof = prove_gain_by_nights(promise, *nights, same_recorder=True)
    assert abs(proof.overall.measured) < proof.overall.expanded
    assert proof.overall.word == "not kept"


def test_nights_with_other_sounds_cannot_tell(case, tmp_path):
    _, promise, before, after, _ = case
    first = read_kept_night(before)

    def changed(**fields):
        document = json.loads((after / "assessment.json").read_text())
        for event in document["events"]:
            event.update(fields)
        (tmp_path / "assessment.json").write_text(json.dumps(document))
        return read_kept_night(tmp_path)

    for fields, reason in (
        ({"label": "van"}, "heard 6 and 0 times"),
        ({"duration_s": 60.0}, "need not be the same sound"),
        ({"equivalent_spectrum": {"nominal_hz": [], "levels_db": []}}, "older version"),
    ):
        with pytest.raises(SettingsError, match=reason) as caught:
            prove_gain_by_nights(promise, [first], [changed(**fields)])
        assert "door test" in caught.value.remedy


def test_the_next_plan_rests_on_what_the_nights_measured(case):
    path, _, before, after, undone = case
    outcomes = []
    for night in (after, undone):
        words = ["check-plan", path, "--night", night, "--before", before, "--room", ROOM]
        done = CliRunner().invoke(app, [*map(str, words), "--same-recorder", "--json"])
        assert done.exit_code == 0, done.output
        document = json.loads(done.stdout)
        assert document["schema"] == {"name": "sleepnoise/plan-checked", "version": 1}
        anew = document["planned_anew"]
        outcomes.append(np.mean([each["LAFmax_dB"]["promised"] for each in anew["events"]]))
    assert outcomes[0] < outcomes[1] - 3.0
    done = CliRunner().invoke(app, [*map(str, words[:6]), "--same-recorder"])
    text = " ".join(done.output.split())
    assert "What the nights say about the installed treatment" in text
