"""What a plan says in words, the same for a plan just made and one that was kept."""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import TARGETS_DB
from sleepnoise.planning.bedroom_plan import PublishedLimit, PublishedLimits
from sleepnoise.planning.problem import YOUNG_ADULT
from sleepnoise.wording.rounding import level_text

QUANTITIES = {"laeq": "LAeq", "lafmax": "LAFmax"}
"""Quantities of published values for people."""


class Asked(Protocol):
    """What was asked of a plan; what was left open is infinite."""

    @property
    def margin_db(self) -> float:
        """Over the limit of hearing, dB."""

    @property
    def events_allowed(self) -> int:
        """Events that may stay audible."""

    @property
    def budget(self) -> float:
        """Money."""

    @property
    def cap_dba(self) -> float:
        """Loudest masker, dB(A)."""

    @property
    def laeq_limit_dba(self) -> float:
        """Of LAeq, dB(A)."""

    @property
    def lafmax_limit_dba(self) -> float:
        """Of LAFmax, dB(A)."""


class Sure(Protocol):
    """How surely a plan keeps its count of audible events."""

    @property
    def allowed(self) -> int:
        """Audible events that are counted on."""

    @property
    def probability(self) -> float:
        """That there are no more, 0 to 1."""

    @property
    def audible_10(self) -> float:
        """Which one of ten nights stays below."""

    @property
    def audible_90(self) -> float:
        """Which nine of ten nights stay below."""


def target_sentence(wish: Asked, events: int, listener: Listener) -> str:
    """Return what was asked of a plan for so many events, and for whose ears if not a young adult's."""
    name = next((name for name, each in TARGETS_DB.items() if each == wish.margin_db), "")
    called = f" ({name})" if name else ""
    whose = "" if listener == YOUNG_ADULT else f" at {listener.age_years:g} years of age"
    limits = "".join(
        f"; {symbol} at most {limit:g} dB(A)"
        for symbol, limit in (("LAeq", wish.laeq_limit_dba), ("LAFmax", wish.lafmax_limit_dba))
        if math.isfinite(limit)
    )
    budget = f"; budget {wish.budget:g}" if math.isfinite(wish.budget) else ""
    return (
        f"Target: of {events} events at most {wish.events_allowed} more than {wish.margin_db:.1f} dB over "
        f"the limit of hearing{called}{whose}; masker at most {wish.cap_dba:g} dB(A){limits}{budget}."
    )


def certainty_sentence(sure: Sure) -> str:
    """Return how surely no more events stay audible, and how many may in other nights."""
    return (
        f"That at most {sure.allowed} events stay audible is {100.0 * sure.probability:.0f} % certain for "
        f"nights with these very events; in other nights like these there may be {sure.audible_10:.0f} to "
        f"{sure.audible_90:.0f} (8 of 10 nights)."
    )


def limit_sentences(limits: PublishedLimits) -> tuple[str, ...]:
    """Return which published values a target holds, and why others of the same documents are none."""
    lines = [
        f"{QUANTITIES[each.quantity]} {each.level_db:g} dB is that of {each.guideline}, {each.criterion} "
        f"[{each.document}]"
        + (f"; {each.allowed} events a night may lie above it" if each.allowed else "")
        + ". The plan keeps it with all sound together, masker included; a verdict on a night needs to lie "
        "below it by the uncertainty as well."
        for each in limits.used
    ]
    lines += _taken_together(limits.used)
    if limits.passed_over:
        lines.append(f"No limits for this plan: {' '.join(limits.passed_over)}")
    return tuple(lines)


def _taken_together(used: Sequence[PublishedLimit]) -> Iterator[str]:
    """Yield which criteria were taken, where there are several, and how to take fewer."""
    named = [each.named for each in used if each.named]
    if len(named) < 2:
        return
    counts = Counter(each.quantity for each in used)
    strictest = "".join(
        f" Of {count} for {QUANTITIES[quantity]} the strictest decides."
        for quantity, count in counts.items()
        if count > 1
    )
    yield (
        f"Criteria taken: {', '.join(named)}.{strictest} To take only some, give --guideline once for each, "
        "as NAME:CRITERION."
    )


def comes_in_sentence(shares: Iterable[tuple[str, float]], guessed: int) -> str:
    """Return by which parts the events' sound comes in; empty where nothing does.

    Parameters
    ----------
    shares : iterable of (str, float)
        Titles of parts and their shares, 0 to 1.
    guessed : int
        Events whose side nobody named.
    """
    parts = "; ".join(f"{title} {100.0 * share:.0f} %" for title, share in shares)
    guess = f" (for {guessed} of them the side is guessed)" if guessed else ""
    return f"The events' sound comes in by: {parts}{guess}." if parts else ""


def afterwards_sentences(
    laeq_dba: float, background_dba: float, now: tuple[float, float] | None
) -> tuple[str, ...]:
    """Return how loud the nights are behind a plan, and whether they were quieter without it.

    Parameters
    ----------
    laeq_dba, background_dba : float, dB(A)
        Behind the plan, masker included.
    now : tuple of (float, float), optional, dB(A)
        The same two as the room is; none for documents that do not have them.
    """
    laeq, background = ("", "") if now is None else (f" (now {level_text(each)})" for each in now)
    said = (
        f"Afterwards LAeq is {level_text(laeq_dba)}{laeq} and the background {level_text(background_dba)} "
        f"dB(A){background}, masker included."
    )
    louder = now is not None and level_text(laeq_dba) != level_text(now[0]) and laeq_dba > now[0]
    return (said, "The masker makes the night louder than it is.") if louder else (said,)


def step_note(masker_step_db: float | None) -> str:
    """Return why a masker's level in a table of trade-offs may lie above that of the plan itself."""
    steps = "steps" if masker_step_db is None else f"steps of {masker_step_db:g} dB"
    return (
        f"Masker levels in tables go up in {steps}: a masker shaped to the events is no louder than it needs "
        "to be, so the plan itself may name a lower level than its row."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherPlan:
    """A plan that could be had instead.

    Attributes
    ----------
    money : float
    cost : str
        The same with its currency.
    level_dba : float, dB(A)
        Of the masker, ``-inf`` for none.
    audible : int
    done : str
        Its treatments; empty for none.
    """

    money: float
    cost: str
    level_dba: float
    audible: int
    done: str


def isolation_first(others: Iterable[OtherPlan], level_dba: float, *, enough: int, events: int) -> str:
    """Return what isolation could be had instead of a masker alone; empty where none helps.

    Parameters
    ----------
    others : iterable of OtherPlan
        What can be paid for.
    level_dba : float, dB(A)
        Of the masker that is proposed.
    enough : int
        Audible events with which a plan is no worse than the one proposed.
    events : int
        All events.

    Notes
    -----
    Told is the cheapest plan that leaves as few audible, without a masker or with a quieter one. Where no
    masker at all leaves more of them, that is told as well: what isolation alone comes to.
    """
    treated = [each for each in others if each.done and each.level_dba < level_dba]
    without = _cheapest([each for each in treated if math.isinf(each.level_dba)], enough)
    quieter = _cheapest([each for each in treated if not math.isinf(each.level_dba)], enough)
    if without is not None and quieter is not None:
        as_good_for_less = without.audible <= enough and without.money <= quieter.money
        quieter = None if as_good_for_less or quieter.audible > enough else quieter
    said = [
        f"{name}: {each.done}{masker}, costs {each.cost}, leaves {each.audible} of {events} audible."
        for name, each in (("Without one", without), ("With a quieter one", quieter))
        if each is not None
        for masker in ["" if each is without else f", masker {level_text(each.level_dba, 0)} dB(A)"]
    ]
    if not said:
        return ""
    opening = "This is a masker alone, which is a last resort: isolation comes first where it can be had."
    if without is None:
        said.insert(0, "Without one no plan was found that leaves fewer audible than the room as it is.")
    if any(each.audible <= enough for each in (without, quieter) if each is not None):
        said.append("Such a plan is chosen when 1 dB less of masker is worth more: --masker-worth.")
    return " ".join((opening, *said))


def _cheapest(plans: Sequence[OtherPlan], enough: int) -> OtherPlan | None:
    """Return the cheapest plan that leaves few enough events; where none does, that which leaves fewest."""
    return min(plans, key=lambda each: (max(each.audible, enough), each.money), default=None)
