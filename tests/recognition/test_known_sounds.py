"""Known sounds on disk: written and read again they are the same, and strangers' files are checked."""

import json

import pytest

from sleepnoise.errors import RecordingError
from sleepnoise.evidence.plain import document_text
from sleepnoise.recognition.features import SoundFeatures
from sleepnoise.recognition.groups import KnownSound
from sleepnoise.recognition.known_sounds import known_sounds_document, read_known_sounds

KNOWN = (
    KnownSound(
        name="short low sound 1", label="=door", whose="outside", events=5, nights=2,
        features=SoundFeatures(levels=tuple(k / 3 for k in range(16)), audio=tuple(k / 7 for k in range(24))),
    ),
    KnownSound(
        name="long middle sound 12", events=3, nights=1, features=SoundFeatures(levels=(0.0,) * 16)
    ),
)  # fmt: skip


def test_known_sounds_come_back_as_they_were(written):
    path = written(document_text(known_sounds_document(KNOWN)), "known.json")
    assert read_known_sounds(path) == KNOWN


def changed(change):
    document = json.loads(document_text(known_sounds_document(KNOWN)))
    change(document)
    return json.dumps(document)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (lambda file: file.update(version=2), "version"),
        (lambda file: file.update(schema="another"), "schema"),
        (lambda file: file.update(more=1), "more"),
        (lambda file: file["sounds"][0].update(name="door"), "sounds 0 name"),
        (lambda file: file["sounds"][0].update(whose="mine"), "sounds 0 whose"),
        (lambda file: file["sounds"][0].update(events="5"), "sounds 0 events"),
        (lambda file: file["sounds"][0]["features"].update(levels=[1.0]), "features levels"),
        (lambda file: file["sounds"][0]["features"].update(audio=[1.0]), "lacks numbers"),
        (lambda file: file["sounds"][0]["features"]["levels"].__setitem__(0, None), "levels 0"),
        (lambda file: file["sounds"][1].update(name="short low sound 1"), "two sounds have one name"),
    ],
)  # fmt: skip
def test_each_mistake_is_named(written, change, where):
    with pytest.raises(RecordingError, match=where) as refused:
        read_known_sounds(written(changed(change), "known.json"))
    assert "known.json" in refused.value.complaint


def test_files_that_are_missing_or_no_json_are_refused(written, tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_known_sounds(tmp_path / "none.json")
    with pytest.raises(RecordingError, match="file: Invalid JSON"):
        read_known_sounds(written("{", "known.json"))
    with pytest.raises(RecordingError, match="larger than 10 MB"):
        read_known_sounds(written(" " * 10_000_001, "known.json"))


@pytest.mark.parametrize("number", ["NaN", "Infinity"])
def test_numbers_that_are_none_are_refused(written, number):
    text = document_text(known_sounds_document(KNOWN[1:])).replace("0.0", number, 1)
    with pytest.raises(RecordingError, match="levels 0"):
        read_known_sounds(written(text, "known.json"))


def test_a_label_from_another_place_is_cleaned_as_one_from_a_labels_file(written):
    text = changed(lambda file: file["sounds"][0].update(label="a\x1b[2J\u202eb\nc\0"))
    assert read_known_sounds(written(text, "known.json"))[0].label == "a [2J b c"


def test_json_that_is_nested_without_end_is_refused(written):
    with pytest.raises(RecordingError, match="file: Invalid JSON"):
        read_known_sounds(written("[" * 100_000, "known.json"))
