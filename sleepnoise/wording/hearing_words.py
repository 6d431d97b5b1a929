"""What can be heard, how loud it is and what is understood, in words and tables for screen and page alike."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import MODEL_UNCERTAINTY_DB
from sleepnoise.hearing.critical_bands import critical_band_sone
from sleepnoise.hearing.loudness import loudness_sone
from sleepnoise.hearing.speech import NOT_UNDERSTOOD_SII, PEAKS_DB, SpeechPrivacy
from sleepnoise.hearing.two_models import Opinion, agreement_db
from sleepnoise.night.events import Event
from sleepnoise.wording.rounding import clock_text, level_text, signed_text
from sleepnoise.wording.tables import Table, column, plain_column

YES_NO = {True: "yes", False: "no", None: "cannot tell"}
"""Answers, the third one included."""

MODELS_SAID = (
    "The band model compares each third octave with what hides it there; the other one follows the sound "
    "along the inner ear (ISO 532-2; Moore, Glasberg & Baer 1997). Both stand for a young adult with normal "
    f"hearing; published thresholds leave either uncertain by {MODEL_UNCERTAINTY_DB:g} dB."
)
"""Said once beside a second opinion."""

LOUDNESS_SAID = (
    "Twice the sone is about twice as loud. The two methods of ISO 532 differ by half as much again, and "
    "rank steep and flat spectra differently: build nothing on less than 20 %."
)
"""Said once beside figures of loudness."""

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
    yield (
        f"Of the {len(opinions)} worst events both models call {counts['heard']} heard and "
        f"{counts['not heard']} not heard; about {counts['cannot tell']} they disagree, so it cannot be told."
    )
    agreement = agreement_db(tuple(opinions))
    if agreement is not None:
        low, high = (signed_text(each) for each in agreement)
        yield f"Band model less inner ear: {low} to {high} dB; where positive, the band model is stricter."


def loudness_table(title: str, sounds: Mapping[str, tuple[Spectrum, Spectrum]]) -> Table:
    """Return how loud sounds were before and are after, by both methods of ISO 532, in a diffuse field."""
    columns = (
        plain_column("Sound"),
        plain_column("before, sone", number=True), plain_column("after, sone", number=True),
        plain_column("after / before", number=True),
        plain_column("before, critical bands", number=True),
        plain_column("after, critical bands", number=True),
    )  # fmt: skip
    rows = []
    for name, pair in sounds.items():
        before, after = (loudness_sone(sound) for sound in pair)
        share = f"{100 * after / before:.0f} %" if before > 0 else "–"
        by_band = (sone_text(critical_band_sone(sound)) for sound in pair)
        rows.append((name, sone_text(before), sone_text(after), share, *by_band))
    return Table(title=title, columns=columns, rows=tuple(rows))


def privacy_table(title: str, findings: Mapping[str, SpeechPrivacy]) -> Table:
    """Return what gets across of somebody's talk, one situation a row."""
    columns = (
        plain_column("Talk"), plain_column("Index", number=True), plain_column("Understood"),
        plain_column("Peaks over limit, dB", number=True), plain_column("Heard"),
        plain_column("Uniform ratio, dB (unverified)", number=True),
    )  # fmt: skip
    rows = (
        (
            name,
            "not known" if math.isnan(found.sii) else f"{found.sii:.2f}",
            YES_NO[found.understood],
            signed_text(found.peak_margin_db),
            YES_NO[found.heard],
            signed_text(found.uniform_snr_db),
        )
        for name, found in findings.items()
    )
    return Table(title=title, columns=columns, rows=tuple(rows))


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
