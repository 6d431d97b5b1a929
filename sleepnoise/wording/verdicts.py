"""Verdicts in words, document by document."""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from sleepnoise.judgement.guidelines import Verdict, Word
from sleepnoise.wording.rounding import DOUBTS, level_text, signed_text

MARKS: dict[Word, str] = {"exceeded": "▲", "kept": "●", "cannot tell": "?", "shown only": "·"}
"""A shape for each verdict, so that nobody needs to tell colours apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRow:
    """One verdict in words."""

    mark: str
    word: Word
    criterion: str
    allowed: str
    measured: str
    margin: str
    uncertainty: str
    reason: str
    applies_to: str
    source: str
    url: str
    note: str
    doubt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictGroup:
    """The verdicts on the values of one document."""

    guideline: str
    jurisdiction: str
    rows: tuple[VerdictRow, ...]


def verdict_groups(verdicts: Iterable[Verdict]) -> tuple[VerdictGroup, ...]:
    """Return all verdicts in words, by document, in the order they were given."""
    rows: dict[tuple[str, str], list[VerdictRow]] = {}
    for verdict in verdicts:
        document = (verdict.criterion.guideline, verdict.criterion.jurisdiction)
        rows.setdefault(document, []).append(_verdict_row(verdict))
    return tuple(
        VerdictGroup(guideline=guideline, jurisdiction=jurisdiction, rows=tuple(of_document))
        for (guideline, jurisdiction), of_document in rows.items()
    )


def _verdict_row(verdict: Verdict) -> VerdictRow:
    criterion = verdict.criterion
    return VerdictRow(
        mark=MARKS[verdict.word],
        word=verdict.word,
        criterion=criterion.title,
        allowed=_allowed_text(verdict),
        measured=_measured_text(verdict),
        margin="–" if criterion.rule == "count" else signed_text(verdict.margin_db),
        uncertainty=f"±{verdict.uncertainty_db:.1f}" if math.isfinite(verdict.uncertainty_db) else "–",
        reason=verdict.reason,
        applies_to=criterion.applies_to,
        source=f"{criterion.source.document}, {criterion.source.place}",
        # An address from a profile becomes a link only if it is one.
        url=criterion.source.url if criterion.source.url.startswith(("https://", "http://")) else "",
        note=criterion.note,
        doubt=DOUBTS.get(criterion.source.how_known, ""),
    )


def _allowed_text(verdict: Verdict) -> str:
    criterion = verdict.criterion
    if criterion.level_db is None:
        return "by band"
    value_db = criterion.level_db
    if math.isfinite(verdict.margin_db) and criterion.rule in _RAISED:
        # How long a sound lasts, or how quiet it is otherwise, raises what is allowed.
        value_db = round(verdict.measured_db - verdict.margin_db, 2)
    return f"{'+' if criterion.rule == 'emergence' else ''}{value_db:g}"


_RAISED = ("emergence", "over underlying")


def _measured_text(verdict: Verdict) -> str:
    if verdict.criterion.rule == "emergence":
        return signed_text(verdict.measured_db)
    if verdict.criterion.rule == "count" and verdict.count is not None:
        return f"{verdict.count} above"
    return level_text(verdict.measured_db) if math.isfinite(verdict.measured_db) else "–"


def verdict_counts(verdicts: Iterable[Verdict]) -> dict[Word, int]:
    """Return how often each verdict was given, in the order of ``MARKS``."""
    given = Counter(verdict.word for verdict in verdicts)
    return {word: given[word] for word in MARKS}
