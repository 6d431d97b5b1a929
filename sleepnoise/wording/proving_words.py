"""A plan heard, measured anew and held against what came of it, in words and tables."""

from collections.abc import Iterable

from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.planning.outcome import Outcome
from sleepnoise.proving.after_night import AfterNight
from sleepnoise.proving.agreement import AGREEING_DB, MeasuredAnew
from sleepnoise.proving.door_proof import DoorProof
from sleepnoise.proving.excerpts import Excerpt
from sleepnoise.proving.held import Held, Word
from sleepnoise.proving.promise import Promise
from sleepnoise.wording.planning_words import masker_words, treatments_text
from sleepnoise.wording.rounding import level_text, signed_text
from sleepnoise.wording.tables import Table, plain_column

WORDS: dict[Word, str] = {
    "kept": "The promise was kept, as far as this can tell.",
    "not kept": "The promise was not kept.",
    "cannot tell": "Whether the promise was kept, this cannot tell.",
}
"""Verdicts on a whole plan."""


def after_sentences(after: AfterNight) -> tuple[str, ...]:
    """Return what the night is like behind the plan, in sentences."""
    count, left = len(after.events), after.audible
    names = ", ".join(_name(each.number, each.source) for each in left)
    found = len(after.assessment.events)
    return (
        f"Of {count} events {len(left)} stay more than {after.promise.margin_db:.1f} dB over the limit of "
        f"hearing{f': {names}' if left else ''}. By the plan: {_planned(after)}.",
        f"Measured anew, {found} of them stand out from background and masker far enough to be found at all.",
        _agreement(after),
    )


def _planned(after: AfterNight) -> int:
    return sum(each.computed_margin_db > after.promise.margin_db for each in after.events)


def _agreement(after: AfterNight) -> str:
    compared = [*after.levels, *(each.lafmax for each in after.events)]
    apart = [each for each in compared if not each.agrees]
    if not apart:
        return f"Every level is the plan's within {AGREEING_DB:g} dB."
    widest = max(apart, key=lambda each: abs(each.difference_db))
    return (
        f"{len(compared) - len(apart)} of {len(compared)} levels are the plan's within {AGREEING_DB:g} dB; "
        f"the others differ by up to {signed_text(widest.difference_db)} dB, for the reasons below."
    )


def anew_table(after: AfterNight) -> Table:
    """Return every level: before, by the plan, measured anew."""
    columns = (
        plain_column("dB(A)"),
        plain_column("Before", number=True),
        plain_column("Plan", number=True),
        plain_column("Measured", number=True),
        plain_column("Differs", number=True),
    )
    rows = [_anew_row(each.name, each) for each in after.levels]
    rows += [
        _anew_row(f"LAFmax, event {_name(each.number, each.source)}", each.lafmax) for each in after.events
    ]
    return Table(title="Before, by the plan and measured anew", columns=columns, rows=tuple(rows))


def _anew_row(name: str, each: MeasuredAnew) -> tuple[str, ...]:
    before = level_text(each.before)
    return name, before, level_text(each.computed), level_text(each.measured), signed_text(each.difference_db)


def explanations(after: AfterNight) -> tuple[str, ...]:
    """Return why levels differ, one sentence each."""
    named = [(each.name, each) for each in after.levels]
    named += [(f"Event {_name(each.number, each.source)}", each.lafmax) for each in after.events]
    return tuple(f"{name}: {each.explanation}" for name, each in named if each.explanation)


def verdict_table(after: AfterNight) -> Table:
    """Return the verdicts on published values, before and after."""
    columns = (plain_column("Published value"), plain_column("Before"), plain_column("After"))
    rows = tuple(
        (f"{one.criterion.guideline}: {one.criterion.title}", one.word, other.word)
        for one, other in zip(after.before.assessment.verdicts, after.assessment.verdicts, strict=True)
        if one.word != "shown only"
    )
    return Table(title="Verdicts", columns=columns, rows=rows)


def excerpt_sentences(excerpts: Iterable[Excerpt]) -> tuple[str, ...]:
    """Return what lies in each file, and how loud it has to be played."""
    return tuple(
        f"{each.path.name}: {each.seconds:.0f} s as it was, then behind the plan. As loud as it was: "
        f"LAFmax {level_text(each.lafmax_before)} dB in the first half (then {level_text(each.lafmax_after)} "
        f"in the second); a sine at full scale would be {level_text(each.full_scale_db)} dB. Never louder."
        for each in excerpts
    )


GAIN_BY_NIGHTS = (
    "Measured on the sounds of one named source, before and after. Sounds that the treatment hides are no "
    "events any more, so that the gain is rather too small; a door test tells it better."
)
"""Said with every gain that nights tell. Common practice, no source."""


def bands_sentence(proof: DoorProof) -> tuple[str, ...]:
    """Return in which bands the promise was not kept; nothing if in none."""
    fewer = [each.name for each in proof.bands if each.word == "not kept"]
    if not fewer:
        return ()
    return (
        f"Less than promised, by more than the uncertainty, at {', '.join(fewer)}: sounds of that pitch lose "
        "less than planned, whatever the A-weighted gain of this noise says.",
    )


def held_table(title: str, rows: Iterable[Held]) -> Table:
    """Return quantities held against their promise, one a row."""
    columns = (
        plain_column("Quantity"),
        plain_column("Before", number=True),
        plain_column("Promised", number=True),
        plain_column("Measured", number=True),
        plain_column("Differs", number=True),
        plain_column("± (k = 2)", number=True),
        plain_column("Promise"),
    )
    return Table(title=title, columns=columns, rows=tuple(_held_row(each) for each in rows))


def _held_row(each: Held) -> tuple[str, ...]:
    return (
        each.name,
        level_text(each.before),
        level_text(each.promised),
        level_text(each.measured),
        signed_text(each.difference),
        level_text(each.expanded),
        each.word,
    )


def reasons(rows: Iterable[Held]) -> tuple[str, ...]:
    """Return why each verdict is what it is; the same reason once, with all that it holds for."""
    by_reason: dict[str, list[str]] = {}
    for each in rows:
        by_reason.setdefault(f"{each.word}. {each.reason}", []).append(each.name)
    return tuple(f"{', '.join(names)}: {reason}" for reason, names in by_reason.items())


def planned_anew(old: Promise, new: Promise | None, plan: BedroomPlan) -> tuple[str, ...]:
    """Return what changes in a plan that is made anew with what was measured."""
    best = plan.optimum.plan
    if best is None or new is None:
        return ("With what was measured no plan keeps what was asked.",)
    same = {each.key: each.treatments for each in old.treated} == {
        each.key: each.treatments for each in new.treated
    }
    done = "What is done stays the same" if same else f"What is done becomes: {treatments_text(plan, best)}"
    return (
        f"{done}; {masker_words(best)} (before: {_masker_of(old)}).",
        f"{_stay(old.allowed)} by the old plan, {new.allowed} by the new one. {_levels(old, best.outcome)}",
    )


def _stay(count: int) -> str:
    return f"{count} event{'' if count == 1 else 's'} may stay audible"


def _levels(old: Promise, new: Outcome) -> str:
    return (
        f"LAeq becomes {level_text(new.laeq_dba)} instead of {level_text(old.laeq.promised)} dB, the "
        f"background {level_text(new.background_dba)} instead of {level_text(old.background.promised)} dB(A)."
    )


def _masker_of(promise: Promise) -> str:
    return "none" if promise.masker is None else f"{level_text(promise.masker_dba)} dB(A)"


def _name(number: int, source: str) -> str:
    return f"{number} {source}".rstrip()
