"""Door-test files: what they may say, and what contradicts itself."""

from pathlib import Path

import pytest

from sleepnoise.errors import ProfileError
from sleepnoise.profiles.files import door_test_from, read_door_test

DEMO = Path(__file__).parents[2] / "demo_audio" / "door_test.toml"
OPEN, CLOSED = {"title": "open", "laeq": [70.0]}, {"title": "closed", "laeq": [60.0, 60.5]}


def asked(*steps, **more):
    return door_test_from({"kind": "door-test", "title": "Invented", "step": list(steps), **more})


def test_the_demo_file_names_recordings_that_lie_beside_it():
    profile = read_door_test(DEMO)
    names = [name for step in profile.step for name in step.recordings]
    assert len(names) == 4
    assert profile.calibration.tone is not None
    for name in (*names, profile.calibration.tone, *profile.background.recordings):
        assert (DEMO.parent / name).is_file()


def test_the_least_that_a_test_can_say():
    profile = asked(OPEN, CLOSED)
    assert [step.laeq for step in profile.step] == [[70.0], [60.0, 60.5]]
    assert (profile.bands, profile.since, profile.channel, profile.background) == (
        "third-octave",
        None,
        1,
        None,
    )


@pytest.mark.parametrize(
    ("steps", "more", "complaint"),
    [
        ([OPEN], {}, "at least two steps"),
        ([OPEN, {"title": "closed"}], {}, "step 2: give one of recordings, laeq and levels_db"),
        ([OPEN, {**CLOSED, "recordings": ["a.wav"]}], {}, "step 2: give one of"),
        ([OPEN, {"title": "closed", "levels_db": [{}]}], {}, "must not hold an empty table"),
        ([OPEN, {"title": "closed", "levels_db": [{"130": 5.0}]}], {}, "nominal third-octave"),
        ([OPEN, {**CLOSED, "title": "open"}], {}, "titles must differ"),
        ([OPEN, {**CLOSED, "laeq": [250.0]}], {}, "laeq 1"),
        ([OPEN, CLOSED], {"since": 2}, "since must be the number of a step before the last"),
        ([OPEN, CLOSED], {"source_channel": 2}, "source_channel belongs to recordings"),
        ([{**OPEN, "source_laeq": [80.0], "source_recordings": ["a.wav"]}, CLOSED], {}, "give either"),
        (
            [{**OPEN, "source_laeq": [80.0]}, {**CLOSED, "source_recordings": ["a.wav"]}],
            {},
            "must not be mixed",
        ),
        (
            [{"title": "open", "recordings": ["a.wav"]}, {"title": "closed", "recordings": ["b.wav"]}],
            {"source_channel": 1},
            "must differ",
        ),
        (
            [{"title": "open", "recordings": ["a.wav"], "source_recordings": ["c.wav"]}, CLOSED],
            {"source_channel": 2},
            "leave the sources of steps out",
        ),
        ([OPEN, CLOSED], {"colour": "pink"}, "colour: is not a key"),
        ([OPEN, CLOSED], {"background": {}}, "background: give one of"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_named(steps, more, complaint):
    with pytest.raises(ProfileError, match=complaint) as raised:
        asked(*steps, **more)
    assert raised.value.remedy
