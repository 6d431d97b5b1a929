"""The JSON documents that the program writes, each with its published JSON Schema (draft 2020-12).

The schemas are files of the package. They are made from the very types that documents are written
from, so that a document and its schema cannot drift apart unnoticed.
"""

import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from sleepnoise.errors import SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentForm:
    """A kind of document.

    Attributes
    ----------
    name : str
        By which its schema is asked for.
    title : str
        What it is, and where it comes from.
    """

    name: str
    title: str


def document_forms() -> tuple[DocumentForm, ...]:
    """Return every kind of document, in the order of the work."""
    read = [(path.name.removesuffix(".json"), json.loads(path.read_bytes())) for path in _FOLDER.iterdir()]
    ordered = sorted(read, key=lambda pair: pair[1]["x-order"])
    return tuple(DocumentForm(name=name, title=schema["title"]) for name, schema in ordered)


def document_schema(name: str) -> dict[str, Any]:
    """Return the schema of a kind of document.

    Raises
    ------
    SettingsError
        If there is no such kind.
    """
    names = [each.name for each in document_forms()]
    if name not in names:
        raise SettingsError(
            f"{name!r}: no document has this name; there are: {', '.join(names)}.",
            remedy="Choose one of these names.",
        )
    schema: dict[str, Any] = json.loads((_FOLDER / f"{name}.json").read_bytes())
    return schema


_FOLDER = files("sleepnoise.evidence") / "schemas"
