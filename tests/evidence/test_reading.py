"""Documents read back: whatever is no JSON object is refused in one sentence."""

import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.reading import json_object


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", "f.json: is no JSON document."),
        (b"\xff", "f.json: is no JSON document."),
        (b"[" * 200_000, "f.json: is no JSON document."),
        (b"[]", "f.json: is no plan."),
        (b"3", "f.json: is no plan."),
    ],
    ids=["nothing", "no UTF-8", "nested without end", "a list", "a number"],
)
def test_what_is_no_json_object_is_refused(content, complaint):
    with pytest.raises(SettingsError) as caught:
        json_object("f.json", content, what="plan", remedy="Give another.")
    assert caught.value.complaint == complaint


def test_a_json_object_is_read():
    assert json_object("f.json", b'{"a": [1]}', what="plan", remedy="") == {"a": [1]}
