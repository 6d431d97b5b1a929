"""The page's sections on the sounds themselves: what recurs, whose it is, what it is like, what it does."""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from sleepnoise.assessing.record import NightRecord
from sleepnoise.assessing.sounds import NightSounds
from sleepnoise.hearing.two_models import second_opinions
from sleepnoise.planning.first_plan import heard_events
from sleepnoise.report.sections import DEPTH, NUMBERS, Section
from sleepnoise.wording import character_words, disturbance_words, groups_words, hearing_words, speech_words
from sleepnoise.wording.tables import Table


def sound_sections(record: NightRecord) -> Iterator[Section]:
    """Yield the sections, those without content left out."""
    sounds, zone = record.sounds, record.assessment.window.zone
    yield from _recurring(record, zone)
    yield from _speech(record)
    if sounds.own is not None:
        yield Section(
            key="own",
            title="With and without the sleeper's and the room's own sounds",
            sentences=groups_words.own_sentences(sounds.own),
            tables=(
                groups_words.own_table("Levels of the night", sounds.own),
                groups_words.reason_table("What was left out, and who says so", sounds.own.reasons, zone),
            ),
        )
    if sounds.diary is not None:
        yield Section(
            key="diary-match",
            title="The diary beside the recording",
            sentences=groups_words.diary_sentences(sounds.diary),
            tables=(groups_words.diary_table("Entries", sounds.diary, zone),),
        )
    yield _character(sounds, zone)
    yield _disturbance(sounds)
    yield from _second_opinion(record, zone)


def _recurring(record: NightRecord, zone: ZoneInfo) -> Iterator[Section]:
    recognised = record.sounds.recognised
    if not recognised.events:
        return
    grouped = recognised.grouped
    table = groups_words.group_table("Recurring sounds", grouped, recognised.events, zone)
    yield Section(
        key="recurring",
        title="Recurring sounds",
        sentences=groups_words.group_sentences(grouped),
        tables=(table,) if table.rows else (),
        points=groups_words.suggestion_sentences(recognised.suggestions, zone),
        template="recurring.html",
    )


def _speech(record: NightRecord) -> Iterator[Section]:
    events = record.assessment.events
    if not events:
        return
    found = speech_words.speech_like_events(events)
    yield Section(
        key="speech",
        title="What sounds like speech",
        sentences=(
            speech_words.speech_sentence(events, listened=record.sounds.recognised.grouped.listened),
            *((speech_words.SPEECH_CAUTION,) if found else ()),
        ),
        notes=(speech_words.SPEECH_LIMITS,),
    )


def _second_opinion(record: NightRecord, zone: ZoneInfo) -> Iterator[Section]:
    events = record.assessment.events
    opinions = second_opinions(*heard_events(events)) if record.assessment.absolute and events else ()
    if opinions:
        yield Section(
            key="second-opinion",
            title="A second opinion on what is heard",
            readers=DEPTH,
            sentences=tuple(hearing_words.opinion_sentences(opinions)),
            folded=(hearing_words.opinion_table("By both models of hearing", events, opinions, zone),),
            notes=(hearing_words.MODELS_SAID,),
        )


def _character(sounds: NightSounds, zone: ZoneInfo) -> Section:
    curves = character_words.curve_table(sounds.background.low_frequency)
    return Section(
        key="character",
        title="What the sound is like",
        readers=NUMBERS,
        sentences=character_words.background_sentences(sounds.background),
        points=(
            *(character_words.stretch_sentences(sounds.quiet, zone) if sounds.quiet else ()),
            *(
                [f"Loudest half hour: {character_words.impulse_sentence(sounds.busy, zone)}"]
                if sounds.busy
                else []
            ),
        ),
        folded=(curves,) if curves.rows else (),
    )


def _disturbance(sounds: NightSounds) -> Section:
    found = sounds.disturbance
    tables: tuple[Table, ...] = (
        disturbance_words.estimate_table(found),
        disturbance_words.count_table(found),
    )
    return Section(
        key="disturbance",
        title="What it does to sleep",
        readers=DEPTH,
        sentences=disturbance_words.disturbance_sentences(found),
        tables=tuple(table for table in tables if table.rows),
        points=disturbance_words.CAUTIONS if found.estimates else (),
        notes=disturbance_words.disturbance_sources(found),
    )
