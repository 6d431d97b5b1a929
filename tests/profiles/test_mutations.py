"""A sample of what ``python -m tests.fuzz.everywhere`` tries in full: profiles changed in every way."""

import tomllib
from pathlib import Path

import pytest

from sleepnoise.profiles.files import read_profile, shipped_folder
from tests.fuzz.mutations import mutations, one_of_each, refusal, toml_text

DEMO = Path(__file__).parents[2] / "demo_audio"
EACH = 41
"""One of so many changes is tried; shares no factor with the number of ways, so that all of them come up."""

SAMPLE = [
    *(shipped_folder() / name for name in (
        "constructions/limp-layers.toml", "guidelines/who-1999-bedroom.toml", "maskers/pink.toml",
        "sounds/music-quiet.toml", "treatments/doorway-curtain-loose.toml",
    )),
    DEMO / "bedroom.toml", DEMO / "door_test.toml",
]  # fmt: skip


@pytest.mark.parametrize("path", SAMPLE, ids=lambda path: path.stem)
def test_a_changed_profile_is_sensible_or_refused_in_one_sentence(path, tmp_path):
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    mine, refused, tried = tmp_path / path.name, 0, 0
    for mutation in mutations(document, toml_text, one_of_each(document), EACH):
        mine.write_bytes(mutation.raw)
        tried += 1
        refused += refusal(read_profile, mine) is not None
    assert refused > tried / 2
    assert list(tmp_path.iterdir()) == [mine]
