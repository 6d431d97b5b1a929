"""Every key of a written document in turn left out, doubled, or given what it must not hold.

Documents are TOML or JSON. A mutation is a text: what a parser would not keep, such as a key that is
there twice, is written all the same.
"""

import copy
import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sleepnoise.errors import SleepNoiseError

DEEP = 10_000
LONG = 1_000_000

HTML = "</script><script>alert(1)</script><img src=x onerror=alert(1)>'\"&"
Place = tuple[str | int, ...]


class Raw(str):
    """Text that is written as it is."""


NUMBERS = {
    "negative": -1, "zero": 0, "fraction": 0.5, "huge": 1e308, "hugely negative": -1e308, "tiny": 5e-324,
    "ten to the 400": Raw("1" + "0" * 400), "64 bits": 2**63, "switch": True,
}  # fmt: skip
TEXTS = {
    "text": "x", "empty": "", "blank": " ", "html": HTML, "way up": "../../../../etc/passwd",
    "device": "/dev/zero", "long": "x" * LONG, "escape": "a\x1b[2J\x1b]0;x\x07b", "right to left": "a\u202eb",
    "null": "a\0b", "line": "a\nb\r", "formula": "=cmd|'/c calc'!A1", "emoji": "👩‍👩‍👧",
    "number as text": "1e999", "percent": "%s%n{0.__class__}",
}  # fmt: skip
PARTS: dict[str, Any] = {"list": [], "table": {}, "list of lists": [[]], "nested": [{"a": [1]}]}
TOML_ONLY = {
    "not a number": math.nan, "infinite": math.inf, "minus infinite": -math.inf, "date": Raw("2026-02-30"),
    "time": Raw("07:00:00"), "year 0": Raw("0001-01-01"), "year 9999": Raw("9999-12-31"),
    "deep": Raw("[" * DEEP + "]" * DEEP),
}  # fmt: skip
JSON_ONLY = {
    "not a number": Raw("NaN"), "infinite": Raw("Infinity"), "overflow": Raw("1e999"), "unknown": None,
    "half a sign": Raw('"\\ud800"'), "silence": "-Infinity", "deep": Raw("[" * DEEP + "]" * DEEP),
    "many digits": Raw("9" * 5000),
}  # fmt: skip

WHOLE: dict[str, Callable[[bytes], bytes]] = {
    "byte order mark": lambda raw: b"\xef\xbb\xbf" + raw,
    "line ends of two": lambda raw: raw.replace(b"\n", b"\r\n"),
    "two bytes a sign": lambda raw: raw.decode().encode("utf-16"),
    "one byte a sign": lambda raw: raw.replace(b"a", b"\xe4", 1),
    "null in front": lambda raw: b"\0" + raw,
    "nothing": lambda _raw: b"",
    "half": lambda raw: raw[: len(raw) // 2],
    "twice": lambda raw: raw + raw,
    "nulls": lambda raw: bytes(len(raw)),
    "only deep": lambda _raw: b"[" * DEEP,
    "large": lambda raw: raw + b"#" * 200_000,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutation:
    """A changed document: which place was changed how, and the bytes."""

    place: Place
    how: str
    raw: bytes


def toml_text(table: dict[str, Any]) -> str:
    """Write a table as TOML, everything below its own keys inline."""
    return "\n".join(f"{_key(key)} = {_toml(value)}" for key, value in table.items()) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, Raw):
        return value
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + "".join(f"\n  {_toml(each)}," for each in value) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def json_text(value: Any) -> str:
    """Write a document as JSON."""
    if isinstance(value, Raw):
        return value
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)}: {json_text(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(json_text, value)) + "]"
    return json.dumps(value)


def _key(key: str) -> str:
    return key if isinstance(key, Raw) else json.dumps(key)


def places(value: Any, at: Place = ()) -> Iterator[Place]:
    """Yield every place below a document: the keys that lead to it."""
    if at:
        yield at
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in pairs:
        yield from places(child, (*at, key))


def one_of_each(document: Any) -> list[Place]:
    """Return one place of each shape: entries of a list, and keys that begin with a digit, are alike."""
    found: dict[tuple[str, ...], Place] = {}
    for place in places(document):
        shape = tuple("#" if isinstance(key, int) or key[:1].isdigit() else key for key in place)
        found.setdefault(shape, place)
    return list(found.values())


def mutations(
    document: dict[str, Any], write: Callable[[Any], str], where: list[Place] | None = None, each: int = 1
) -> Iterator[Mutation]:
    """Yield a document changed at each place in each way, one of so many, then changed as a whole."""
    chosen = list(places(document)) if where is None else where
    others = TOML_ONLY if write is toml_text else JSON_ONLY
    for place, how, change in list(_changes(chosen, NUMBERS | TEXTS | PARTS | others))[::each]:
        yield _made(document, place, how, write, change)
    raw = write(document).encode()
    for how, whole in WHOLE.items():
        yield Mutation(place=(), how=how, raw=whole(raw))


def _changes(
    where: list[Place], values: dict[str, Any]
) -> Iterator[tuple[Place, str, Callable[[Any, Any], None]]]:
    for place in where:
        for how, wrong in values.items():
            yield place, how, lambda parent, last, wrong=wrong: parent.__setitem__(last, wrong)
        yield place, "missing", lambda parent, last: parent.__delitem__(last)
        if isinstance(place[-1], str):
            yield place, "unknown key", _beside("unheard_of")
            yield place, "doubled key", _beside(place[-1])
            yield place, "long key", _beside("k" * LONG)
            yield place, "strange key", _beside("\x1b[31m\n\u202e../x")


def _beside(key: str) -> Callable[[Any, Any], None]:
    def put(parent: Any, last: Any) -> None:
        # Written as it is, a key with the letters of another is another to a dict, not to a parser.
        parent[Raw(json.dumps(key))] = copy.deepcopy(parent[last])

    return put


def _made(
    document: Any, place: Place, how: str, write: Callable[[Any], str], change: Callable[[Any, Any], None]
) -> Mutation:
    changed = copy.deepcopy(document)
    parent = changed
    for key in place[:-1]:
        parent = parent[key]
    change(parent, place[-1])
    return Mutation(place=place, how=how, raw=write(changed).encode())


def refusal(read: Callable[[Path], object], path: Path) -> str | None:
    """Return the sentence by which a file is refused; None if it is accepted.

    Raises
    ------
    AssertionError
        If the sentence does not name the file, is too long, would steer a terminal, or says no remedy.
    """
    try:
        read(path)
    except SleepNoiseError as error:
        said, remedy = error.complaint, error.remedy
    else:
        return None
    assert path.name in said or path.parent.name in said, said[:300]
    assert len(said) < 2500, said[:300]
    assert remedy
    return said
