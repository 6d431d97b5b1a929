"""The words of the trade that a page uses, each with its meaning in one sentence, as `explain` has it."""

import re
from collections.abc import Iterable, Iterator

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.wording.explanations import Explanation, pages
from sleepnoise.wording.tables import Table, plain_column

ALSO = {
    "full-scale": ("full scale",),
    "background": ("background",),
    "event": ("event", "events", "Events"),
    "third-octave": ("Third-octave", "third octave"),
    "audibility-margin": ("audibility margin",),
    "masker": ("masker", "masking sound"),
    "uncertainty": ("uncertainty",),
    "unverified": ("unverified",),
    "lossy": ("coded with loss", "lossy coding"),
}
"""Words that stand on pages without being a symbol or a verdict, by the page that explains them; the first
spelling is shown."""


def words_table(texts: Iterable[str]) -> Table:
    """Return the words that texts use, in the order of the pages that explain them.

    Parameters
    ----------
    texts : iterable of str
        Everything that a page says, table heads included.

    Examples
    --------
    >>> [row[0] for row in words_table(["LAeq is 30 dB", "Verdict", "kept"]).rows]
    ['LAeq', 'kept']
    """
    said = "\n".join(texts)
    rows = tuple(
        (", ".join(used), meaning_in_short(page))
        for page in pages()
        if (used := tuple(word for word, spellings in _words(page) if _stand_in(spellings, said)))
    )
    columns = (plain_column("Word"), plain_column("Meaning"))
    return Table(title="Each in one sentence", columns=columns, rows=rows)


def meaning_in_short(page: Explanation) -> str:
    """Return the first sentence of what a word means."""
    first, stop, _ = page.meaning.partition(". ")
    return first + stop.strip()


def _words(page: Explanation) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield the words that a page explains, each with its spellings."""
    yield from ((word, (word,)) for word in (*(SYMBOLS[name].text for name in page.symbols), *page.words))
    if page.key in ALSO:
        yield ALSO[page.key][0], ALSO[page.key]


def _stand_in(spellings: Iterable[str], said: str) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(each)}(?!\w)", said) for each in spellings)
