"""A studied room in sentences and tables, the same on every screen and page."""

import math

import numpy as np

from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.isolation.advice import SMALLEST_GAIN_DB, Advice, RoomAdvice
from sleepnoise.isolation.door_test import DoorComparison
from sleepnoise.isolation.safety import ALARM_BAND_HZ
from sleepnoise.planning.room_study import RoomStudy
from sleepnoise.wording.path_words import BEHIND, doubt_text, path_text
from sleepnoise.wording.rounding import level_text
from sleepnoise.wording.tables import Table, plain_column

ROOM_CAUTIONS = (
    "Each gain is that of one treatment by itself, before any other; what comes second often gains more.",
    "Values are generic and gaps are estimates: prove each step with a door test, before and after.",
    "Local codes and licensed practice come first: fire doors, escape windows, ventilation, air for "
    "combustion, alarms.",
)
"""Said of every room."""

MONEY = 100.0
"""Gain is shown for this much money. Chosen: gains for one unit are too small to read."""


def room_sentences(study: RoomStudy) -> tuple[str, ...]:
    """Return what matters most, in sentences."""
    now = study.advice.now
    sounds = "; ".join(
        f"{each.sound.title}{doubt_text(each.sound.source.how_known)}, "
        f"{level_text(each.level_dba, 0)} dB(A) {BEHIND[each.behind]}"
        for each in study.standing
    )
    strongest = now.strongest
    share = f"{100.0 * now.shares[strongest]:.0f} %"
    gain = now.gains_without_db[strongest]
    without = f"; without it the room gains {level_text(float(gain))} dB" if math.isfinite(gain) else ""
    return (
        f"Behind the room: {sounds}.",
        f"In the room: {level_text(now.room_dba)} ± {level_text(COVERAGE_95 * now.u_db)} dB(A).",
        f"Strongest path: {path_text(now.paths.paths[strongest])}, {share} of the sound{without}.",
        *([] if study.comparison is None else [door_test_text(study.comparison)]),
    )


def door_test_text(comparison: DoorComparison) -> str:
    """Return what a door test says beside the tables."""
    known = ~np.isnan(comparison.measured_db)
    measured, tabulated = (
        float(np.mean(each[known] if each.ndim else each))
        for each in (comparison.measured_db, comparison.tabulated_db)
    )
    mean = " on average over the bands measured" if comparison.measured_db.ndim else ""
    least = " at least, for other paths decide" if np.any(comparison.at_limit) else ""
    better_db = measured - tabulated
    word = "more" if better_db >= 0 else "less"
    return (
        f"Door test: {comparison.part} takes off {level_text(measured)} dB{least}, the tables say "
        f"{level_text(tabulated)} dB{mean}: {level_text(abs(better_db))} dB {word}. The measured door counts."
    )


def advice_table(advice: RoomAdvice, currency: str) -> Table:
    """Return what may be done, greatest gain of the room first."""
    columns = [
        plain_column("Treatment"), plain_column("Gain ±, dB", number=True),
        plain_column("Then, dB(A)", number=True),
        plain_column("Price" if advice.by_money else "Cost (guess)", number=True),
    ]  # fmt: skip
    if advice.by_money:
        # Heads are never made from a user's text, so the currency stands with the numbers.
        columns.append(plain_column(f"dB for {MONEY:g}", number=True))
    rows = []
    for each in advice.allowed:
        title = f"{each.treatment.title}{doubt_text(each.treatment.source.how_known)} – {each.part.title}"
        gain = f"{level_text(each.gain_db)} ± {level_text(COVERAGE_95 * each.u_db)}"
        money = [_per_money(each)] if advice.by_money else []
        rows.append((title, gain, level_text(each.room_dba), _cost(each, currency), *money))
    return Table(
        title="What may be done, greatest gain of the room first", columns=tuple(columns), rows=tuple(rows)
    )


def advice_sentences(advice: RoomAdvice) -> tuple[str, ...]:
    """Return what gains most for its money, and what is not worth it."""
    lines = [] if advice.allowed else ["Nothing that is allowed gains enough."]
    if len(advice.by_money) > 1:
        named = "; ".join(f"{each.treatment.title} ({each.part.title})" for each in advice.by_money[:3])
        lines.append(f"Most gain for the money: {named}.")
    if advice.too_little:
        named = "; ".join(f"{each.treatment.title} ({each.part.title})" for each in advice.too_little)
        lines.append(f"Under {SMALLEST_GAIN_DB:g} dB here, so not worth it: {named}.")
    return tuple(lines)


def _cost(advice: Advice, currency: str) -> str:
    if advice.price is None:
        return f"~ {advice.treatment.cost_class}"
    return f"{advice.price:g} {currency}".rstrip()


def _per_money(advice: Advice) -> str:
    gain = advice.gain_per_money_db
    if gain is None:
        return ""
    return level_text(MONEY * gain) if math.isfinite(gain) else "free"


def refused_sentences(advice: RoomAdvice) -> tuple[str, ...]:
    """Return what must not be advised, with every reason."""
    by_reasons: dict[tuple[tuple[str, ...], str], list[str]] = {}
    for each in advice.refused:
        by_reasons.setdefault((each.reasons, each.part.title), []).append(each.treatment.title)
    return tuple(
        f"{part}: {'; '.join(names)}. Why: {'; '.join(reasons)}."
        for (reasons, part), names in by_reasons.items()
    )


ALARM_BASIS = (
    "What becomes of the smoke alarm is computed from this room's own paths: what its parts and gaps let in "
    f"from the hall in the band of {ALARM_BAND_HZ:g} Hz. 'design-masker' takes one generic value for a "
    "treatment instead, so its levels differ. What counts is the alarm measured at the pillow."
)
"""What the levels of an alarm rest on where a room file is known."""


def room_cautions(advice: RoomAdvice) -> tuple[str, ...]:
    """Return each caution of the treatments that may be done once; what alarms lose comes first."""
    alarms = [f"{each.treatment.title}. {each.alarm}" for each in advice.allowed if each.alarm]
    others = [caution for each in advice.allowed for caution in each.cautions]
    basis = (ALARM_BASIS,) if alarms else ()
    return tuple(dict.fromkeys([*ROOM_CAUTIONS, *basis, *alarms, *others]))
