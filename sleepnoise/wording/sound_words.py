"""What the sounds of a night are, in short: what recurs, whose it is, what the background is like."""

from collections.abc import Iterator

from sleepnoise.assessing.record import NightRecord
from sleepnoise.wording.character_words import background_sentences
from sleepnoise.wording.disturbance_words import disturbance_sentences
from sleepnoise.wording.groups_words import (
    diary_sentences,
    group_sentences,
    own_sentences,
    suggestion_sentences,
)
from sleepnoise.wording.speech_words import SPEECH_CAUTION, speech_like_events, speech_sentence
from sleepnoise.wording.verdicts import verdict_counts


def sounds_in_short(record: NightRecord) -> Iterator[str]:
    """Yield what the sounds of a night are, a sentence or two for each thing that can be told."""
    sounds, zone = record.sounds, record.assessment.window.zone
    if record.assessment.events:
        yield " ".join(group_sentences(sounds.recognised.grouped))
    if speech_like_events(record.assessment.events):
        yield f"{speech_sentence(record.assessment.events, listened=True)} {SPEECH_CAUTION}"
    if sounds.own is not None:
        yield " ".join(own_sentences(sounds.own))
        yield f"Without them: {_counts(record)}."
    yield from suggestion_sentences(sounds.recognised.suggestions, zone)
    if sounds.diary is not None:
        yield " ".join(diary_sentences(sounds.diary))
    yield from background_sentences(sounds.background)
    if sounds.disturbance.estimates:
        yield " ".join(disturbance_sentences(sounds.disturbance))


def _counts(record: NightRecord) -> str:
    counts = verdict_counts(record.sounds.verdicts_without_own)
    return ", ".join(f"{word} {counts[word]}" for word in ("exceeded", "kept", "cannot tell") if counts[word])
