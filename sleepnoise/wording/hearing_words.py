"""What can be heard, how loud it is and what is understood, in words and tables for screen and page alike."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import tzinfo

from sleepnoise.hearing.audibility import MODEL_UNCERTAINTY_DB
from sleepnoise.hearing.speech import NOT_UNDERSTOOD_SII, PEAKS_DB, SpeechPrivacy
from sleepnoise.hearing.two_models import Opinion, agreement_db
from sleepnoise.night.events import Event
from sleepnoise.wording.rounding import clock_text, level_text, signed_text
from sleepnoise.wording.tables import Table, column, plain_column

MODELS_SAID = (
    "The band model compares each third octave with what hides it there; the other one follows the sound "
    "along the inner ear (ISO 532-2; Moore, Glasberg & Baer 1997). Both stand for a young adult with normal "
    f"hearing; published thresholds leave either uncertain by {MODEL_UNCERTAINTY_DB:g} dB."
)
"""Said once beside a second opinion."""

SPEECH_SAID = (
    "The index is that of ANSI S3.5-1997 for ordinary talk; up to "
    f"{NOT_UNDERSTOOD_SII:g} it counts as not understood. Heard means that peaks of the talk, "
    f"{PEAKS_DB:g} dB over its mean, rise over the limit of hearing. The uniformly weighted ratio has limits "
    "that are known from memory (unverified), so it gives no verdict. Record other people's voices only as "
    "far as the law lets you."
)
"""Said once beside figures of talk."""


def opinion_table(title: str, events: Sequence[Event], opinions: Sequence[Opinion], zone: tzinfo) -> Table:
    """Return the worst events with both models, one a row; *opinions* are on *events*, by place."""
    columns = (
        plain_column("Event", number=True), plain_column("Time"), column("lafmax"),
        plain_column("over limit, bands", number=True), plain_column("over limit, inner ear", number=True),
        plain_column("alone, sone", number=True), plain_column("left, sone", number=True),
        plain_column("Heard"),
    )  # fmt: skip
    words = {"heard": "yes", "not heard": "no", "cannot tell": "cannot tell"}
    rows = (
        (
            str(event.number),
            clock_text(event.start, zone, seconds=True),
            level_text(event.lafmax),
            signed_text(each.margin_db),
            signed_text(each.excess_db),
            sone_text(each.alone_sone),
            sone_text(each.partial_sone),
            words[each.verdict],
        )
        for each in opinions
        for event in (events[each.place],)
    )
    return Table(title=title, columns=columns, rows=tuple(rows))


def opinion_sentences(opinions: Sequence[Opinion]) -> Iterator[str]:
    """Yield what both models say, and how far they agree."""
    if not opinions:
        yield "There is no event to judge."
        return
    counts = Counter(each.verdict for each in opinions)
    open_ones = counts["cannot tell"]
    doubt = f"about {open_ones} they disagree, so it cannot be told" if open_ones else "they agree about all"
    yield (
        f"Of the {len(opinions)} worst events both models call {counts['heard']} heard and "
        f"{counts['not heard']} not heard; {doubt}."
    )
    agreement = agreement_db(tuple(opinions))
    if agreement is not None:
        low, high = (signed_text(each) for each in agreement)
        yield f"Band model less inner ear: {low} to {high} dB; where positive, the band model is stricter."


def privacy_sentence(found: SpeechPrivacy) -> str:
    """Return one situation as a sentence."""
    if found.understood is None:
        return "Not every band of the talk is known, so it cannot be told whether it is understood."
    index = f"(index {found.sii:.2f}, limit {NOT_UNDERSTOOD_SII:g})"
    if found.understood:
        return f"The talk can be understood, at least in part {index}."
    peaks = f"its peaks lie {signed_text(found.peak_margin_db)} dB from the limit of hearing"
    return f"The talk is not understood {index}, {'but' if found.heard else 'and not'} heard: {peaks}."


def sone_text(sone: float) -> str:
    """Return a loudness for people, two digits that count.

    Examples
    --------
    >>> sone_text(12.34), sone_text(1.234), sone_text(0.0004)
    ('12', '1.2', '0.00')
    """
    if math.isnan(sone):
        return "not known"
    return f"{sone:.0f}" if sone >= 9.95 else f"{sone:.1f}" if sone >= 0.995 else f"{sone:.2f}"
