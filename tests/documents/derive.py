"""JSON Schemas from the types that documents are made of, as ``sleepnoise.evidence.plain`` writes them.

What a field means is read from the part *Attributes* of its class's docstring, its unit from its name.
"""

import inspect
import re
import types
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import BaseModel

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.evidence.plain import RENAMED

Form = dict[str, Any]


class Ready(dict[str, Any]):
    """A form as it stands, to be told from an outline of keys."""


TEXT = Ready({"type": "string"})
WHOLE = Ready({"type": "integer"})
TRUTH = Ready({"type": "boolean"})
ANYTHING = Ready()
NUMBER = Ready({"$ref": "#/$defs/number"})
NUMBERS = Ready({"$ref": "#/$defs/numbers"})
INSTANT = Ready({"$ref": "#/$defs/instant"})
HASH = Ready({"type": "string", "pattern": "^[0-9a-f]{64}$"})

SHARED: dict[str, Form] = {
    "number": {
        "description": "A number; null is not known, -Infinity is silence or nothing, Infinity has no end.",
        "anyOf": [{"type": ["number", "null"]}, {"enum": ["-Infinity", "Infinity"]}],
    },
    "numbers": {
        "description": "Numbers in rows, or rows of rows.",
        "type": "array",
        "items": {"anyOf": [NUMBER, TRUTH, {"$ref": "#/$defs/numbers"}]},
    },
    "instant": {
        "description": "An instant, ISO 8601 with offset from UTC.",
        "type": "string",
        "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)$",
    },
    "spectrum": {
        "description": "Third-octave levels, unweighted, by nominal mid-band frequency.",
        "type": "object",
        "required": ["nominal_hz", "levels_db"],
        "additionalProperties": False,
        "properties": {
            "nominal_hz": {
                "description": "Nominal mid-band frequencies, Hz, rising.",
                "$ref": "#/$defs/numbers",
            },
            "levels_db": {"description": "One level for each frequency, dB.", "$ref": "#/$defs/numbers"},
        },
    },
}

UNITS = {
    "_LA_dB": "dB(A)", "_dba": "dB(A)", "_dBA": "dB(A)", "_dB": "dB", "_db": "dB", "_hz": "Hz", "_s": "s",
    "_mm": "mm", "_m3": "m³", "_m2": "m²", "_m": "m", "_sone": "sone", "_bytes": "bytes", "_pa": "Pa",
    "_db_per_s": "dB/s", "_semitones": "semitones",
}  # fmt: skip


class Is(NamedTuple):
    """A value with words of its own on what it is."""

    kind: Any
    said: str


class Named(NamedTuple):
    """Values of one kind by names that are not known beforehand."""

    kind: Any


class Maybe(NamedTuple):
    """A value, or null if there is none."""

    kind: Any


class Either:
    """One of several values."""

    def __init__(self, *kinds: Any) -> None:
        self.kinds = kinds


def described(name: str, form: Form, said: str = "") -> Form:
    """Return a form with a description: what is said of it, or its name in words, with its unit."""
    if "description" in form and not said:
        return form
    symbol = next((each for each in SYMBOLS.values() if each.column == name), None)
    words = said or (f"{symbol.text}: {symbol.meaning}" if symbol else name.replace("_", " ").strip())
    ending = next((end for end in sorted(UNITS, key=len, reverse=True) if name.endswith(end)), None)
    unit = UNITS[ending] if ending else ""
    if not said and not symbol and ending:
        words = name.removesuffix(ending).replace("_", " ")
    if unit and f" {unit}" not in words:
        words = f"{words.rstrip('.')}, {unit}"
    words = words[:1].upper() + words[1:]
    return {"description": words if words.endswith((".", "?")) else f"{words}.", **form}


class Derivation:
    """Builds one schema; classes met on the way become its definitions."""

    def __init__(self) -> None:
        self.definitions: dict[str, Form] = dict(SHARED)
        self.classes: dict[str, Any] = {}

    def of(self, kind: Any) -> Form:
        """Return the form of whatever a type, an outline or a ready form stands for."""
        if isinstance(kind, Is):
            return described("", self.of(kind.kind), kind.said)
        if isinstance(kind, Maybe):
            return {"anyOf": [self.of(kind.kind), {"type": "null"}]}
        if isinstance(kind, Either):
            return {"anyOf": [self.of(each) for each in kind.kinds]}
        if isinstance(kind, Named):
            return {"type": "object", "additionalProperties": self.of(kind.kind)}
        if isinstance(kind, Ready):
            return dict(kind)
        if isinstance(kind, Mapping):
            return self.object(kind)
        if isinstance(kind, list):
            return {"type": "array", "items": self.of(kind[0])}
        return self.of_type(kind)

    def object(self, outline: Mapping[str, Any]) -> Form:
        """Return the form of an object with just these keys; one that ends in ``?`` may be missing."""
        properties = {
            name.rstrip("?"): self.property(name.rstrip("?"), kind) for name, kind in outline.items()
        }
        return {
            "type": "object",
            "required": [name for name in outline if not name.endswith("?")],
            "additionalProperties": False,
            "properties": properties,
        }

    def property(self, name: str, kind: Any) -> Form:
        if isinstance(kind, Is):
            return described(name, self.of(kind.kind), kind.said)
        return described(name, self.of(kind))

    def of_type(self, kind: Any) -> Form:
        kind = getattr(kind, "__value__", kind)
        origin, inside = get_origin(kind), get_args(kind)
        if origin is Annotated:
            return self.of_type(inside[0])
        if origin is Literal:
            return {"enum": list(inside)}
        if origin in (Union, types.UnionType):
            return self.either([self.of_type(each) for each in inside])
        if origin in (tuple, list) or (inspect.isclass(origin) and issubclass(origin, (list, tuple))):
            return self.listing(inside)
        if inspect.isclass(origin) and issubclass(origin, np.ndarray):
            return NUMBERS
        if inspect.isclass(origin) and issubclass(origin, Mapping):
            return {"type": "object", "additionalProperties": self.of_type(inside[1])}
        if origin is not None and "Sequence" in str(origin):
            return self.listing(inside[:1])
        return self.of_class(kind)

    def listing(self, inside: tuple[Any, ...]) -> Form:
        kinds = [each for each in inside if each is not Ellipsis]
        if Ellipsis in inside or len(kinds) == 1:
            return {"type": "array", "items": self.of_type(kinds[0])}
        return {
            "type": "array",
            "prefixItems": [self.of_type(each) for each in kinds],
            "minItems": len(kinds),
            "maxItems": len(kinds),
        }

    @staticmethod
    def either(forms: list[Form]) -> Form:
        unlike = [form for place, form in enumerate(forms) if form not in forms[:place]]
        return unlike[0] if len(unlike) == 1 else {"anyOf": unlike}

    def of_class(self, kind: Any) -> Form:
        simple: list[tuple[Any, Form]] = [
            (bool, TRUTH), (int, WHOLE), (float, NUMBER), (np.floating, NUMBER), (np.integer, WHOLE),
            (datetime, INSTANT), (date, TEXT), (time, TEXT), (str, TEXT), (Path, TEXT), (ZoneInfo, TEXT),
            (type(None), {"type": "null"}), (np.ndarray, NUMBERS), (dict, {"type": "object"}),
        ]  # fmt: skip
        if kind is Spectrum:
            return {"$ref": "#/$defs/spectrum"}
        if is_dataclass(kind):
            return self.definition(kind, lambda: self.object(fields_of(kind)))
        if inspect.isclass(kind) and issubclass(kind, BaseModel):
            return self.of_model(kind)
        for each, form in simple:
            if inspect.isclass(kind) and issubclass(kind, each):
                return form
        if kind is Any:
            return ANYTHING
        raise TypeError(f"no form for {kind!r}")

    def of_model(self, model: type[BaseModel]) -> Form:
        """Return pydantic's own schema of a model."""
        form = model.model_json_schema(by_alias=True, ref_template="#/$defs/{model}", mode="serialization")
        for name, inner in form.pop("$defs", {}).items():
            self.definitions[name] = _with_descriptions(inner)
        return _with_descriptions(form)

    def definition(self, kind: Any, make: Callable[[], Form]) -> Form:
        name = kind.__name__
        if self.classes.setdefault(name, kind) is not kind:
            name = f"{kind.__module__.rpartition('.')[2]}.{name}"
        if name not in self.definitions:
            self.definitions[name] = {}
            said = (inspect.getdoc(kind) or "").partition("\n\n")[0].replace("\n", " ")
            self.definitions[name] = {"description": said.replace("``", ""), **make()}
        return {"$ref": f"#/$defs/{name}"}

    def schema(self, name: str, title: str, outline: Any) -> Form:
        """Return the whole schema of a document; definitions that nothing needs are left out."""
        form = self.of(outline)
        used: set[str] = set()
        waiting = _references(form)
        while waiting:
            reference = waiting.pop()
            if reference not in used:
                used.add(reference)
                waiting |= _references(self.definitions[reference])
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "$id": f"urn:{name.replace('/', ':').replace(' ', '-')}",
            **form,
            "title": title,
            "$defs": {each: self.definitions[each] for each in sorted(used)},
        }


def _references(form: Any) -> set[str]:
    if isinstance(form, list):
        return set().union(*map(_references, form)) if form else set()
    if not isinstance(form, dict):
        return set()
    own = {form["$ref"].removeprefix("#/$defs/")} if isinstance(form.get("$ref"), str) else set()
    return own.union(*map(_references, form.values()))


def _with_descriptions(form: Form) -> Form:
    properties = {name: described(name, each) for name, each in form.get("properties", {}).items()}
    return {**form, **({"properties": properties, "additionalProperties": False} if properties else {})}


def fields_of(kind: Any, *without: str, **instead: Any) -> dict[str, Any]:
    """Return the outline of a dataclass by its names in files, some left out or told otherwise."""
    hints, said = get_type_hints(kind, include_extras=True), attributes_of(kind)
    outline: dict[str, Any] = {}
    for field in fields(kind):
        name = SYMBOLS[field.name].column if field.name in SYMBOLS else field.name
        name = RENAMED.get(name, name)
        if name in without or field.name in without:
            continue
        outline[name] = Is(hints[field.name], said.get(field.name, ""))
    return {**outline, **instead}


def attributes_of(kind: Any) -> dict[str, str]:
    """Return what the docstring of a class says of each attribute."""
    doc = inspect.getdoc(kind) or ""
    _, _, part = doc.partition("Attributes\n----------\n")
    found: dict[str, str] = {}
    names: list[str] = []
    for line in part.splitlines():
        head = re.match(r"^(\w[\w, ]*?) : ", line)
        if re.match(r"^-+$", line):
            break
        if head:
            names = [each.strip() for each in head[1].split(",")]
        elif line.startswith("    ") and names:
            for name in names:
                text = (
                    re.sub(r":\w+:`~?[\w.]*?(\w+)`", r"\1", line.strip()).replace("``", "").replace("*", "")
                )
                found[name] = f"{found.get(name, '')} {text}".strip()
    return found
