"""Words of the trade explained: one home for what a term means, how it is worked out here, and from where.

The pages are the TOML files of the folder ``explained``, one for each theme. What a level is
called comes from the symbols' register. Nothing heavy is loaded, so that looking up is instant.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any

from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.errors import PageError

FOLDER = Path(__file__).with_name("explained")

PRACTICE = "common practice, no source"
"""Said of a page that no document stands behind."""

NEAREST = 5
"""Near misses that are offered. Chosen: more is a list, not a hint."""

ALIKE = 0.6
"""How alike a near miss is, 0 to 1. Chosen: one wrong letter in a word of four still finds it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One page.

    Attributes
    ----------
    key : str
        Its name: small letters, digits and hyphens.
    theme : str
    name : str
        What it is called for people.
    meaning, formula, here, caution : str
        What it is in plain words; its formula; how this program comes by it; what to beware of.
        All but the first may be empty.
    typical : tuple of (str, Source)
        Values to expect, each with where it comes from.
    sources : tuple of Source
        None: common practice.
    see : tuple of str
        Keys of pages that go with it.
    symbols, words, columns, also : tuple of str
        What it explains: level symbols by their name in code, verdicts, column heads, and other
        names that people look for.
    """

    key: str
    theme: str
    name: str
    meaning: str
    formula: str = ""
    here: str = ""
    caution: str = ""
    typical: tuple[tuple[str, Source], ...] = ()
    sources: tuple[Source, ...] = ()
    see: tuple[str, ...] = ()
    symbols: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Everything that the page is found by."""
        symbols = [SYMBOLS[name] for name in self.symbols]
        heads = [head for symbol in symbols for head in (symbol.text, symbol.column)]
        return (self.key, self.name, *heads, *self.words, *self.columns, *self.also)


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """What belongs together: a name to ask for, a title, and pages in the order of reading."""

    name: str
    title: str
    pages: tuple[Explanation, ...]


@cache
def themes() -> tuple[Theme, ...]:
    """Return all pages by theme, in the order of the work."""
    sources = {key: Source(**entry) for key, entry in _table(FOLDER / "sources.toml").items()}
    files = sorted(FOLDER.glob("[0-9]*.toml"))
    return tuple(_theme(_table(path), sources) for path in files)


def pages() -> tuple[Explanation, ...]:
    """Return all pages, theme by theme."""
    return tuple(page for theme in themes() for page in theme.pages)


def page(words: str) -> Explanation:
    """Return the page that explains a word, a symbol, a column's head or a verdict.

    Parameters
    ----------
    words : str
        Case, blanks and signs do not matter; the beginning of one name is enough.

    Raises
    ------
    PageError
        If there is none; the remedy names the nearest.

    Examples
    --------
    >>> page("laf MAX").key, page("L90").key, page("highest_63Hz_dB").key
    ('lafmax', 'la90', 'third-octave')
    """
    wanted = _folded(re.sub(r"_(\d+|\d+\.\d+)k?Hz", "_..Hz", words))
    known = _known()
    if wanted in known:
        return known[wanted]
    begun = {each.key: each for name, each in known.items() if len(wanted) > 1 and name.startswith(wanted)}
    if len(begun) == 1:
        return next(iter(begun.values()))
    near = tuple(begun) or tuple(dict.fromkeys(_nearest(wanted, known)))
    raise PageError(
        f"{words!r:.60}: no page explains this.",
        remedy=f"Near it: {', '.join(near[:NEAREST])}." if near else "See all with 'sleepnoise explain'.",
    )


def theme(word: str) -> Theme | None:
    """Return the theme of that name, if there is one."""
    return next((each for each in themes() if each.name == word.casefold()), None)


def source_texts(of: Iterable[Source]) -> tuple[str, ...]:
    """Return sources for people, each with the doubt that goes with it."""
    doubts = {"memory": " (unverified: from memory)", "assumption": " (assumed)"}
    return tuple(f"{each.document}, {each.place}{doubts.get(each.how_known, '')}" for each in of)


@cache
def _known() -> dict[str, Explanation]:
    return {_folded(name): each for each in pages() for name in each.names}


def _nearest(wanted: str, known: dict[str, Explanation]) -> Iterator[str]:
    yield from (known[name].key for name in get_close_matches(wanted, known, NEAREST, ALIKE))
    yield from (each.key for name, each in known.items() if len(wanted) > 2 and wanted in name)


def _folded(name: str) -> str:
    r"""Return a name without case, blanks and signs; as it is if there is nothing else.

    Examples
    --------
    >>> _folded("Third octave"), _folded("R'w"), _folded("±")
    ('thirdoctave', 'rw', '±')
    """
    return re.sub(r"[\W_]", "", name.casefold()) or name.strip()


def _table(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _theme(table: dict[str, Any], sources: dict[str, Source]) -> Theme:
    name = table["theme"]
    return Theme(
        name=name, title=table["title"], pages=tuple(_page(entry, name, sources) for entry in table["page"])
    )


def _page(entry: dict[str, Any], theme: str, sources: dict[str, Source]) -> Explanation:
    """Return one page; it has sources, or says that it has none."""
    named = entry.pop("sources", [])
    if entry.pop("practice", False) == bool(named):
        raise ValueError(f"{entry['key']}: give sources or practice = true, and not both.")
    typical = tuple((value, sources[key]) for value, key in entry.pop("typical", []))
    if "symbols" in entry and "name" not in entry:
        symbol = SYMBOLS[entry["symbols"][0]]
        entry["name"] = f"{symbol.text}: {symbol.meaning}"
    flat: dict[str, Any] = {key: _flat(value) for key, value in entry.items()}
    return Explanation(theme=theme, typical=typical, sources=tuple(sources[key] for key in named), **flat)


def _flat(value: str | list[str]) -> str | tuple[str, ...]:
    return " ".join(value.split()) if isinstance(value, str) else tuple(value)
