"""A designed masker and its check at the pillow in words and tables, for the terminal and a page alike."""

import math
from collections import Counter
from collections.abc import Iterator

import numpy as np

from sleepnoise.acoustics.bands import band_label
from sleepnoise.hearing.audibility import TARGETS_DB
from sleepnoise.masking.alarm import AlarmCheck, Pitch, RuleOutcome
from sleepnoise.masking.design import EventOutcome, MaskerDesign, Reason
from sleepnoise.masking.offset import CommonOffset
from sleepnoise.trials.masker_check import MaskerCheck, RowCheck
from sleepnoise.trials.masker_study import MaskerStudy
from sleepnoise.wording.rounding import level_text, signed_text
from sleepnoise.wording.tables import Column, Table, plain_column

EVENTS_SHOWN = 12
"""Uncovered events that are shown. Chosen: they fit a screen; the design's file holds all."""

BANDS_ABREAST = 4
"""Bands side by side in the table of the spectrum. Chosen: they fit 80 columns."""

SHAPE_WORDS = {"brown": "brown", "falling-5-db": "falling 5 dB an octave", "pink": "pink", "white": "white"}
"""Standard shapes by the name of their profile."""

PITCH_WORDS: dict[Pitch, str] = {"high": "3.1 kHz", "low": "520 Hz"}

REASON_WORDS: dict[Reason, str] = {
    "loudspeaker": "need a band that the loudspeaker does not play",
    "band limit": "need more than a band may have",
    "cap": "are too loud to be covered below the cap, even alone",
    "together": "could be covered alone, but not with the others below the cap",
    "not known": "have no band that is known",
}
"""Why events stay uncovered, as the end of a sentence about several of them."""

NO_ALL_CLEAR = (
    "No rule says that a sleeper hears an alarm or wakes from it; 'not short' says no more than that. Try "
    "every alarm at the pillow, door shut, masker on. An interlinked alarm in the bedroom, a low one "
    "(520 Hz) for people who hear badly, is the usual cure. Local codes come first."
)

GENERIC_ALARM = (
    "The alarm's level behind a treatment rests on the generic value in that treatment's profile, as if all "
    "of the alarm came through what it treats. 'sleepnoise paths ROOM.toml' computes it from a room's own "
    "paths, so its levels differ. What counts is the alarm measured at the pillow."
)
"""What the levels of an alarm rest on where no room file is known."""

LEVEL_SETTING = (
    "Set it with nobody in bed, everything else quiet and the door shut, by a sound level meter at the "
    "pillow (dB(A), averaged over 30 s or more).",
    "Two loudspeakers, away from the pillow and turned to wall or ceiling, never between bed and door. Tone "
    "controls, automatic volume and effects off.",
    "Begin at the lowest volume and raise it slowly to the level above: the mean of five places within "
    "0.3 m of the pillow, which should differ by no more than 3 dB. Mark the setting.",
    "Record half a minute at each place with it on, and half a minute with it off, and let "
    "'sleepnoise check-masker' compare them with the design. Turn it down rather than up when in doubt.",
)
"""How a masker's level is set. Common practice, no source."""


def shape_text(name: str) -> str:
    """Return how the shape of a masker is called; the fitted one is called by its name.

    Examples
    --------
    >>> shape_text("falling-5-db"), shape_text("shaped to the events")
    ('falling 5 dB an octave', 'shaped to the events')
    """
    return SHAPE_WORDS.get(name, name)


def answers(study: MaskerStudy) -> Iterator[str]:
    """Yield what was found, in sentences, the most important one first."""
    design = study.design
    covered = sum(each.reason == "covered" for each in design.outcomes)
    quiet = sum(each.reason == "never heard" for each in design.outcomes)
    rule = ", all bands together" if design.settings.together else ""
    aim = f"the margin of {target_text(design.settings.margin_db)}{rule}"
    if quiet:
        yield f"{quiet} of {len(design.outcomes)} events stay below {aim} without any masker."
    more = " more" if quiet else ""
    if covered:
        yield (
            f"The quietest masker that keeps {covered}{more} events below {aim} has "
            f"{level_text(design.level_dba)} dB(A) "
            f"at the pillow ({study.loudness_sone:.1f} sone). What can be heard is told to ±"
            f"{study.uncertainty_db:g} dB."
        )
    elif design.level_dba == -np.inf and quiet == len(design.outcomes):
        yield "No masker is needed."
    else:
        yield "No masker within these limits covers any of the others: none is proposed."
    counts = Counter(each.reason for each in design.outcomes)
    for reason, words in REASON_WORDS.items():
        if counts[reason]:
            yield f"{counts[reason]} events {words}."
    if any(counts[reason] for reason in REASON_WORDS if reason != "not known"):
        yield "These need isolation, or quiet at the source."


def target_text(margin_db: float) -> str:
    """Return a margin with its name, if it has one.

    Examples
    --------
    >>> target_text(0.0), target_text(2.0)
    ('0.0 dB (inaudible)', '2.0 dB')
    """
    names = [name for name, named_db in TARGETS_DB.items() if math.isclose(named_db, margin_db, abs_tol=0.01)]
    return level_text(margin_db) + " dB" + "".join(f" ({name})" for name in names)


def shape_table(design: MaskerDesign) -> Table:
    """Return what standard shapes would need for the same events."""
    rows = [("shaped to the events", level_text(design.level_dba), "")]
    for each in design.standard_shapes:
        level = level_text(each.level_dba) if math.isfinite(each.level_dba) else "silent where needed"
        saved = level_text(each.saved_db) if math.isfinite(each.saved_db) else "–"
        rows.append((shape_text(each.name), level, saved))
    return Table(
        title="Standard shapes that cover the same events",
        columns=(plain_column("Shape"), _number("dB(A)"), _number("Saved, dB")),
        rows=tuple(rows),
    )


def spectrum_columns(design: MaskerDesign) -> Table:
    """Return the sounding bands and their levels, several bands a row, downwards first."""
    pairs = [
        (band_label(hz), level_text(float(db)))
        for hz, db in zip(design.spectrum.nominal_hz, design.spectrum.levels_db, strict=True)
        if np.isfinite(db)
    ]
    height = -(-len(pairs) // BANDS_ABREAST)
    rows = [sum(pairs[row::height], ()) for row in range(height)]
    width = max((len(row) for row in rows), default=0)
    return Table(
        title="Masker at the pillow",
        columns=(_number("Band, Hz"), _number("dB")) * (width // 2),
        rows=tuple((*row, *([""] * (width - len(row)))) for row in rows),
    )


def uncovered_table(study: MaskerStudy) -> Table:
    """Return the events that stay above the margin, the most audible first."""
    pairs = zip(study.events, study.design.outcomes, strict=True)
    left = sorted(
        (pair for pair in pairs if pair[1].reason in REASON_WORDS), key=lambda pair: -pair[1].lacking_db
    )
    rows = [
        (
            str(event.number),
            event.start_local[11:19],
            level_text(event.lafmax),
            level_text(outcome.lacking_db),
            band_label(outcome.band_hz),
            reason_text(outcome),
        )
        for event, outcome in left[:EVENTS_SHOWN]
    ]
    more = f" (the {EVENTS_SHOWN} most audible of {len(left)})" if len(left) > EVENTS_SHOWN else ""
    return Table(
        title=f"Events that stay above the margin{more}",
        columns=(
            _number("Event"), plain_column("Time"), _number("LAFmax"), _number("Lacking, dB"),
            _number("in, Hz"), plain_column("Why"),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def reason_text(outcome: EventOutcome) -> str:
    """Return in a few words why an event stays uncovered."""
    alone = level_text(outcome.alone_dba)
    return {
        "loudspeaker": f"needs {outcome.unplayed_hz:g} Hz, not played",
        "band limit": "a band's limit",
        "cap": f"alone needs {alone} dB(A)",
        "together": f"alone {alone} dB(A), not with others",
    }.get(outcome.reason, outcome.reason)


def night_sentences(study: MaskerStudy) -> Iterator[str]:
    """Yield the night's LAeq without and with the masker, and what published values say."""
    without, with_it = level_text(study.laeq_without), level_text(study.laeq_with)
    yield f"LAeq of the night: {without} dB as measured, {with_it} dB with the masker on all through it."
    for each in study.values:
        yield (
            f"{each.value.guideline}, {level_text(each.value.level_db)} dB ({each.value.title}): "
            f"{_above(each.above_without_db)} without, {_above(each.above_with_db)} with the masker."
        )


def alarm_tables(checks: tuple[AlarmCheck, ...]) -> Iterator[Table]:
    """Yield for each kind of alarm how far it falls short of each rule."""
    columns = (
        plain_column("Behind"),
        *map(_number, ("dB(A)", "75 dB(A)", "15 dB over", "A *", "B *", "Older ear")),
    )
    for pitch in dict.fromkeys(check.pitch for check in checks):
        rows = [
            (
                check.title,
                level_text(check.level_dba),
                *map(_short, check.rules),
                signed_text(check.older_margin_db),
            )
            for check in checks
            if check.pitch == pitch
        ]
        title = f"Alarm of {PITCH_WORDS[pitch]} at the pillow, masker on: short by, dB"
        yield Table(title=title, columns=columns, rows=tuple(rows))


def rule_sentences(check: AlarmCheck) -> Iterator[str]:
    """Yield what the rules at the heads of the columns are, and who they come from."""
    heads = ("75 dB(A)", "15 dB over", "A *", "B *")
    for head, outcome in zip(heads, check.rules, strict=True):
        doubt = "" if outcome.source.verified else ": unverified, no verdict"
        yield f"{head}: {outcome.rule.removeprefix('A: ').removeprefix('B: ')} [{outcome.source}]{doubt}."
    yield (
        "Older ear: over the limit of hearing of a man of 70 whose ears are worse than those of nine in ten "
        "healthy ones of his age [ISO 7029:2017]."
    )


def check_answers(check: MaskerCheck) -> Iterator[str]:
    """Yield what a check at the pillow found, in sentences."""
    row = check.level
    if check.offset is not None:
        yield _offset_sentence(check.offset)
    if check.absolute:
        yield (
            f"{level_text(row.measured_db)} dB(A) at the pillow, {level_text(row.design_db)} designed: "
            f"{_word(row)}."
        )
    counts = Counter(each.word for each in check.bands)
    told = ", ".join(
        f"{counts[word]} {word}" for word in ("kept", "too loud", "too quiet", "cannot tell") if counts[word]
    )
    tolerance_db = check.bands[0].tolerance_db
    yield f"Third octaves within ±{tolerance_db:g} dB of the design's shape or level: {told}."


def _offset_sentence(offset: CommonOffset) -> str:
    size, quiet = level_text(abs(offset.offset_db)), offset.offset_db < 0
    bands = f"{offset.bands} {'band' if offset.bands == 1 else 'bands'}"
    return (
        f"Shape right within {level_text(offset.shape_within_db)} dB ({bands} known), {size} dB too "
        f"{'quiet' if quiet else 'loud'}: {'raise' if quiet else 'lower'} the playback by {size} dB "
        f"(U = {level_text(offset.uncertainty_db)} dB), then check again."
    )


def check_table(check: MaskerCheck) -> Table:
    """Return every level beside its design."""
    rows = [
        (
            "all, A-weighted" if math.isnan(row.nominal_hz) else band_label(row.nominal_hz),
            level_text(row.design_db),
            ("≤ " if row.at_limit else "") + level_text(row.measured_db),
            signed_text(row.difference_db),
            "–" if math.isnan(row.uncertainty_db) else level_text(row.uncertainty_db),
            row.word,
        )
        for row in (check.level, *check.bands)
    ]
    heads = ("Design, dB", "Measured, dB", "Difference", "U, dB")
    return Table(
        title="Masker without background, beside its design",
        columns=(_number("Band, Hz"), *map(_number, heads), plain_column("")),
        rows=tuple(rows),
    )


def _word(row: RowCheck) -> str:
    within = {"kept": "within", "cannot tell": "it cannot be told whether this is within"}
    words = within.get(row.word, f"{row.word}, outside")
    return f"{words} ±{row.tolerance_db:g} dB (U = {level_text(row.uncertainty_db)} dB)"


def _above(difference_db: float) -> str:
    if math.isnan(difference_db):
        return "not known"
    return f"{level_text(abs(difference_db))} dB {'above' if difference_db > 0 else 'below'}"


def _short(outcome: RuleOutcome) -> str:
    """Return what is lacking; a rule known from memory clears nothing."""
    if outcome.short_by_db > 0.0:
        return level_text(outcome.short_by_db)
    return "not short" if outcome.source.verified else "–"


def _number(text: str) -> Column:
    return plain_column(text, number=True)
