"""Plain values as TOML: the same values give the same text."""

import json
from collections.abc import Mapping
from datetime import date
from typing import Any


def toml_text(values: Mapping[str, Any]) -> str:
    """Return values as TOML: plain ones first, then tables and lists of tables in their order.

    Parameters
    ----------
    values : mapping
        Of text on one line without control characters, numbers, booleans, dates, lists of these, mappings
        and lists of mappings.

    Examples
    --------
    >>> print(toml_text({"title": "Flat 3", "sound": [{"size_bytes": 4}]}))
    title = "Flat 3"
    <BLANKLINE>
    [[sound]]
    size_bytes = 4
    <BLANKLINE>
    """
    lines, tables = [], []
    for key, value in values.items():
        if isinstance(value, Mapping):
            tables.append(f"\n[{key}]\n{toml_text(value)}")
        elif isinstance(value, list) and value and isinstance(value[0], Mapping):
            tables += [f"\n[[{key}]]\n{toml_text(each)}" for each in value]
        else:
            lines.append(f"{key} = {_value(value)}\n")
    return "".join(lines + tables)


def _value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    # JSON writes strings and numbers as TOML does, save for control characters.
    return value.isoformat() if isinstance(value, date) else json.dumps(value, ensure_ascii=False)
