"""Door tests from files: calibrated or not, with repeats, a second microphone and mistakes."""

from pathlib import Path

import numpy as np
import pytest

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.profiles.files import door_test_from, read_door_test
from sleepnoise.trials.door_test import study_door_test

DEMO = Path(__file__).parents[2] / "demo_audio" / "door_test.toml"


def asked(steps, **more):
    return door_test_from({"kind": "door-test", "title": "Invented", "step": steps, **more})


def typed(*levels):
    return [{"title": f"step {place}", "laeq": [laeq]} for place, laeq in enumerate(levels, start=1)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory, make_sound, door_sounds):
    """Recordings at full scale = 0.1 Pa: open 60, closed 50 with 2 s of talk, twice, and background."""
    where = tmp_path_factory.mktemp("door")
    rng = np.random.default_rng(8)
    closed = [door_sounds.steady(rng, 9, 50.0) for _ in range(2)]
    sounds = {
        "open": door_sounds.steady(rng, 9, 60.0),
        "closed": door_sounds.added(closed[0], door_sounds.talk(rng, 2, 72.0), 3),
        "closed again": closed[1],
        "off": door_sounds.steady(rng, 9, 20.0),
        "short": door_sounds.steady(rng, 3, 60.0),
        "source loud": door_sounds.steady(rng, 9, 62.0),
        "source soft": door_sounds.steady(rng, 9, 60.0),
    }
    for name, pressure_pa in sounds.items():
        make_sound(where / f"{name}.wav", pressure_pa / 0.1 / 4, door_sounds.rate_hz, subtype="PCM_24")
    both = np.stack([sounds["open"], sounds["source loud"]], axis=1)
    make_sound(where / "both open.wav", both / 0.4, door_sounds.rate_hz, subtype="PCM_24")
    both = np.stack([sounds["closed again"], sounds["source soft"]], axis=1)
    make_sound(where / "both closed.wav", both / 0.4, door_sounds.rate_hz, subtype="PCM_24")
    return where


def recorded(**more):
    return [
        {"title": "open", "recordings": ["open.wav"]},
        {"title": "closed", "recordings": ["closed.wav", "closed again.wav"], **more},
    ]


def test_the_demo_recovers_what_its_note_says():
    result = study_door_test(read_door_test(DEMO), DEMO.parent)
    # NOTE.md: 71, 60, 53 and 49 dB, each with a background of 30 dB in it.
    assert result.test.measured_db[:, 0] == pytest.approx([71.0, 60.0, 53.0, 49.0], abs=0.15)
    assert result.test.ladder.step_gains_db()[:, 0] == pytest.approx([11.0, 7.0, 4.0], abs=0.2)
    assert result.test.background_db[0] == pytest.approx(30.0, abs=0.3)
    assert (result.absolute, result.test.since) == (True, 1)
    assert [mark.role for mark in result.provenance.inputs] == [
        "calibration tone",
        *["recording"] * 4,
        "background",
    ]


def test_recordings_without_calibration_give_the_same_gains(folder):
    background = {"recordings": ["off.wav"]}
    plain = study_door_test(asked(recorded(), background=background), folder)
    # A full-scale sine of 0.4 Pa peak: 83 dB.
    gain = {"full_scale_level_db": 20 * np.log10(0.4 / np.sqrt(2) / 20e-6)}
    scaled = study_door_test(asked(recorded(), background=background, calibration=gain), folder)
    assert (plain.absolute, scaled.absolute) == (False, True)
    for each in (plain, scaled):
        assert each.test.ladder.gain_db(0, 1)[0] == pytest.approx(10.0, abs=0.1)
    assert scaled.test.measured_db[:, 0] == pytest.approx([60.0, 50.0], abs=0.1)
    talked = scaled.test.steps[1].readings[0]
    assert 2.0 < talked.rejected_s < 4.0
    assert any(remark.startswith("closed.wav:") for remark in scaled.remarks)


def test_a_second_microphone_takes_off_what_the_source_changed(folder):
    steps = recorded(source_recordings=["source soft.wav"])
    steps[0]["source_recordings"] = ["source loud.wav"]
    result = study_door_test(asked(steps), folder)
    assert result.test.ladder.gain_db(0, 1)[0] == pytest.approx(8.0, abs=0.1)
    assert any("2.0 dB quieter than during the first step; taken off" in each for each in result.remarks)


def test_both_sides_may_be_channels_of_one_recording(folder):
    steps = [{"title": each, "recordings": [f"both {each}.wav"]} for each in ("open", "closed")]
    result = study_door_test(asked(steps, source_channel=2), folder)
    assert result.test.ladder.gain_db(0, 1)[0] == pytest.approx(8.0, abs=0.1)
    swapped = study_door_test(asked(steps, channel=2, source_channel=1), folder)
    assert swapped.test.ladder.gain_db(0, 1)[0] == pytest.approx(-8.0, abs=0.1)


def test_progress_ends_at_the_whole(folder):
    heard = []
    study_door_test(asked(recorded(), background={"recordings": ["off.wav"]}), folder, heard.append)
    assert heard == [0.25, 0.5, 0.75, 1.0]


@pytest.mark.parametrize(
    ("steps", "more", "error", "complaint"),
    [
        ([*typed(70.0), {"title": "b", "recordings": ["closed.wav"]}], {}, SettingsError, "no scale in"),
        (recorded(), {"background": {"laeq": [20.0]}}, SettingsError, "no scale in common"),
        (recorded(), {"background": {"recordings": ["open.wav"]}}, SettingsError, "'open.wav' is given"),
        ([*recorded(), {"title": "b", "recordings": ["none.wav"]}], {}, RecordingError, "no such file"),
        ([*recorded(), {"title": "b", "recordings": ["short.wav"]}], {}, RecordingError, "at least 5 s"),
        (recorded(), {"channel": 2}, RecordingError, "channel must be 1 to 1"),
    ],
)  # fmt: skip
def test_mistakes_are_named(steps, more, error, complaint, folder):
    with pytest.raises(error, match=complaint) as raised:
        study_door_test(asked(steps, **more), folder)
    assert raised.value.remedy


def test_a_night_is_no_door_test(tmp_path, write_sound):
    write_sound(tmp_path / "night.wav", np.zeros(8_000 * 601), 8_000)
    with pytest.raises(RecordingError, match="at most 600 s"):
        study_door_test(asked([*typed(70.0), {"title": "b", "recordings": ["night.wav"]}],
                              calibration={"full_scale_level_db": 100.0}), tmp_path)  # fmt: skip


def test_overloaded_recordings_are_told(tmp_path, write_sound, door_sounds):
    rng = np.random.default_rng(1)
    for name, laeq in (("open", 60.0), ("closed", 50.0)):
        write_sound(tmp_path / f"{name}.wav", door_sounds.steady(rng, 8, laeq) / 0.1, door_sounds.rate_hz)
    steps = [{"title": name, "recordings": [f"{name}.wav"]} for name in ("open", "closed")]
    remarks = study_door_test(asked(steps), tmp_path).remarks
    assert any(each.startswith("open.wav: The recorder overloaded") for each in remarks)
    assert not any(each.startswith("closed.wav") for each in remarks)


def test_a_dropout_is_left_out_and_told(tmp_path, write_sound, door_sounds):
    rng = np.random.default_rng(1)
    for name, laeq in (("open", 60.0), ("closed", 50.0)):
        sound = door_sounds.steady(rng, 10, laeq) / 0.4
        if name == "open":
            sound[4 * door_sounds.rate_hz : 5 * door_sounds.rate_hz] = 0.0
        write_sound(tmp_path / f"{name}.wav", sound, door_sounds.rate_hz)
    steps = [{"title": name, "recordings": [f"{name}.wav"]} for name in ("open", "closed")]
    result = study_door_test(asked(steps), tmp_path)
    assert any(each.startswith("open.wav: The samples stand still") for each in result.remarks)
    assert result.test.ladder.gain_db(0, 1)[0] == pytest.approx(10.0, abs=0.1)


def test_a_bang_that_overloads_is_left_out_and_not_worth_a_word(tmp_path, write_sound, door_sounds):
    rng = np.random.default_rng(1)
    for name, laeq in (("open", 60.0), ("closed", 50.0)):
        sound = door_sounds.added(door_sounds.steady(rng, 10, laeq), door_sounds.bang(rng, 90.0), 4)
        write_sound(tmp_path / f"{name}.wav", sound / 0.3, door_sounds.rate_hz)
    steps = [{"title": name, "recordings": [f"{name}.wav"]} for name in ("open", "closed")]
    result = study_door_test(asked(steps), tmp_path)
    assert not any("overloaded" in each for each in result.remarks)
    assert result.test.ladder.gain_db(0, 1)[0] == pytest.approx(10.0, abs=0.1)


def said(profile):
    return " ".join(study_door_test(profile, Path()).remarks)


def test_what_weakens_a_test_is_said():
    assert "No background was read" in said(asked(typed(70.0, 60.0)))
    assert "No step was repeated" in said(asked(typed(70.0, 60.0)))
    drowned = said(asked(typed(70.0, 45.0), background={"laeq": [40.0]}))
    assert "step 2: 6 dB or less above the background" in drowned
    assert "No background" not in drowned
    repeats = [{"title": "open", "laeq": [70.0, 73.0]}, {"title": "closed", "laeq": [60.0]}]
    assert "open: repeats scatter by 2.1 dB" in said(asked(repeats))
    assert "No step was repeated" not in said(asked(repeats))
    half = [{"title": "open", "laeq": [70.0], "source_laeq": [80.0]}, {"title": "closed", "laeq": [60.0]}]
    assert "Nothing was read beside the noise during: closed" in said(asked(half))


def test_totals_count_from_the_closed_door_unless_told_otherwise():
    assert study_door_test(asked(typed(70.0, 60.0)), Path()).test.since == 0
    assert study_door_test(asked(typed(70.0, 60.0, 53.0)), Path()).test.since == 1
    assert study_door_test(asked(typed(70.0, 60.0, 53.0), since=1), Path()).test.since == 0
